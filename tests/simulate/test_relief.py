"""The slopes are those of a surface: a sphere inside, a ridge outside, one height at the edge."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimread.simulate import Indent, Scene, Surface
from rimread.simulate.relief import cylinder_ovality, ground

ROUND = st.builds(
    Indent,
    d1_mm=st.just(4.0),
    d2_mm=st.just(4.0),
    recovery=st.floats(1.0, 1.3),
    pile=st.floats(-0.3, 0.4),
    pile_width=st.floats(0.1, 0.6),
    crest=st.floats(0, 1.5),
    lobes=st.floats(0, 0.6),
    lobe_count=st.integers(1, 4),
    lobe_deg=st.floats(0, 360),
    angle_deg=st.floats(0, 180),
    edge_round_mm=st.just(1e-5),
)


def _slopes(scene, x, y):
    relief = ground(scene, np.asarray(x, np.float32), np.asarray(y, np.float32))
    return relief.gx.astype(float), relief.gy.astype(float)


def _round_trip(scene, radius):
    """Height gained along a closed circle, and the largest height on the way."""
    t = (np.arange(4000) + 0.5) * (2 * math.pi / 4000)
    gx, gy = _slopes(scene, radius * np.cos(t), radius * np.sin(t))
    along = (gy * np.cos(t) - gx * np.sin(t)) * radius * (t[1] - t[0])
    return along.sum(), np.abs(np.cumsum(along)).max(), along


@settings(max_examples=40, deadline=None)
@given(ROUND, st.floats(0.2, 0.999) | st.floats(1.001, 3))
def test_a_walk_around_the_indent_ends_at_the_height_it_began(indent, rho):
    gained, _, _ = _round_trip(Scene(indents=(indent,)), 2.0 * rho)
    assert gained == pytest.approx(0.0, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(ROUND)
def test_bowl_and_ridge_meet_at_one_height(indent):
    scene = Scene(indents=(indent,))
    _, _, inner = _round_trip(scene, 2.0 * (1 - 1e-4))
    _, _, outer = _round_trip(scene, 2.0 * (1 + 1e-4))
    steepest = np.abs(outer).max()
    assert np.abs(inner - outer).max() <= 2e-3 * steepest + 1e-9


@settings(max_examples=40, deadline=None)
@given(ROUND, st.floats(0.3, 0.95) | st.floats(1.05, 2.5), st.floats(0, 2 * math.pi))
def test_the_slopes_have_no_curl(indent, rho, turn):
    x, y, h = 2 * rho * math.cos(turn), 2 * rho * math.sin(turn), 0.02
    scene = Scene(indents=(indent,))
    gx, gy = _slopes(scene, [x, x, x - h, x + h], [y - h, y + h, y, y])
    curl = (gy[3] - gy[2]) / (2 * h) - (gx[1] - gx[0]) / (2 * h)
    size = np.abs([*gx, *gy]).max() / 0.2
    assert abs(curl) < 0.02 * size + 1e-4


WAVES = st.lists(
    st.tuples(st.floats(-0.002, 0.002), st.floats(-0.002, 0.002)), min_size=1, max_size=12
).map(tuple)


def _boundary(indent, t):
    """ρ of a ragged boundary, from its definition."""
    parts = enumerate(indent.waves, start=3)
    return 1 + sum(a * np.cos(n * t) + b * np.sin(n * t) for n, (a, b) in parts)


@settings(max_examples=40, deadline=None)
@given(ROUND, WAVES, st.floats(0.3, 0.95) | st.floats(1.05, 2.5), st.floats(0, 2 * math.pi))
def test_nor_have_those_about_a_ragged_boundary(indent, waves, rho, turn):
    x, y, h = 2 * rho * math.cos(turn), 2 * rho * math.sin(turn), 0.005
    scene = Scene(indents=(replace(indent, waves=waves),))
    gx, gy = _slopes(scene, [x, x, x - h, x + h], [y - h, y + h, y, y])
    curl = (gy[3] - gy[2]) / (2 * h) - (gx[1] - gx[0]) / (2 * h)
    assert abs(curl) < 0.002 * np.abs([*gx, *gy]).max() + 2e-4


@settings(max_examples=40, deadline=None)
@given(ROUND, WAVES)
def test_the_ground_meets_the_bowl_where_a_ragged_boundary_cuts_it(indent, waves):
    indent = replace(indent, lobes=0.0, angle_deg=0.0, waves=waves)
    t = np.linspace(0, 2 * math.pi, 8001)
    heights = []
    for rho in (_boundary(indent, t) - 1e-4, _boundary(indent, t) + 1e-4):
        x, y = 2 * rho * np.cos(t), 2 * rho * np.sin(t)
        gx, gy = (
            (g[1:] + g[:-1]) / 2 for g in _slopes(Scene(indents=(indent,)), x, y)
        )  # fmt: skip
        heights.append(np.cumsum(gx * np.diff(x) + gy * np.diff(y)))
    inner, outer = heights
    assert np.abs(inner - outer).max() <= 0.05 * np.abs(inner).max() + 1e-6


@settings(max_examples=30, deadline=None)
@given(ROUND, WAVES)
def test_half_of_a_ragged_boundary_is_bowl(indent, waves):
    indent = replace(indent, angle_deg=0.0, waves=waves)
    t = np.linspace(0, 2 * math.pi, 500)
    for off, share in ((-1e-3, 1.0), (0.0, 0.5), (1e-3, 0.0)):
        rho = _boundary(indent, t) + off
        at = (2 * rho * np.cos(t), 2 * rho * np.sin(t))
        found = ground(Scene(indents=(indent,)), *(v.astype(np.float32) for v in at)).inside
        assert found.mean() == pytest.approx(share, abs=0.02)


@settings(max_examples=30, deadline=None)
@given(ROUND)
def test_the_height_of_the_ridge_is_what_was_asked_for(indent):
    x = np.linspace(2.0001, 2.0 * (1 + 20 * indent.pile_width), 40_001)
    turn = math.radians(indent.lobe_deg)
    gx, gy = _slopes(Scene(indents=(indent,)), x * math.cos(turn), x * math.sin(turn))
    fall = -np.sum(gx * math.cos(turn) + gy * math.sin(turn)) * (x[1] - x[0])
    expected = indent.pile * indent.depth_mm * (1 + indent.lobes)
    assert fall == pytest.approx(expected, abs=2e-4 + 0.003 * abs(expected))


@pytest.mark.parametrize("recovery", [1.0, 1.25])
def test_the_bowl_is_a_sphere_flatter_than_the_ball_by_the_recovery(recovery):
    indent = Indent(d1_mm=4.0, d2_mm=4.0, recovery=recovery, pile=0.0, edge_round_mm=0.0)
    x = np.linspace(0, 1.99, 2000)
    gx, _ = _slopes(Scene(indents=(indent,)), x, np.zeros_like(x))
    radius = 5.0 * recovery
    assert gx == pytest.approx(x / np.sqrt(radius**2 - x**2), abs=1e-6)
    if recovery == 1.0:
        # ISO 6506-1, table 1: depth h = (D - sqrt(D² - d²)) / 2
        assert indent.depth_mm == pytest.approx((10 - math.sqrt(10**2 - 4**2)) / 2)


@settings(max_examples=30, deadline=None)
@given(st.floats(20, 100), st.floats(1.5, 6.0))
def test_cylinder_ovality_is_that_of_the_exact_section(cylinder_mm, bowl_mm):
    # ball and cylinder touch along z; the ball is pressed 0.02 mm below the crest
    deep = 0.02

    def half(curvature_drop):
        x = np.linspace(0, 1.4, 200_001)
        ball = bowl_mm - np.sqrt(bowl_mm**2 - x**2) - deep
        return x[np.argmax(ball > -curvature_drop(x))]

    across = half(lambda x: cylinder_mm - np.sqrt(cylinder_mm**2 - x**2))
    along = half(lambda x: 0 * x)
    found = cylinder_ovality(bowl_radius_mm=bowl_mm, cylinder_mm=cylinder_mm)
    assert found == pytest.approx(across / along, rel=2e-3)


def test_a_cylinder_falls_away_on_both_sides_and_a_tilt_is_a_slope():
    bent = Scene(surface=Surface(cylinder_mm=50, cylinder_deg=0))
    gx, gy = _slopes(bent, [0.0, 0.0], [-1.0, 1.0])
    assert gx == pytest.approx([0, 0])
    assert gy == pytest.approx([1 / math.sqrt(50**2 - 1), -1 / math.sqrt(50**2 - 1)], rel=1e-5)
    tilted = Scene(surface=Surface(tilt_deg=2, tilt_toward_deg=90))
    gx, gy = _slopes(tilted, [0.3], [0.4])
    assert [gx[0], gy[0]] == pytest.approx([0, math.tan(math.radians(2))], abs=1e-7)


def test_a_later_indent_wins_where_two_overlap():
    first, later = (
        Indent(d1_mm=2, d2_mm=2, x_mm=x, pile=0.0, edge_round_mm=0.0) for x in (-0.5, 0.5)
    )
    gx, _ = _slopes(Scene(indents=(first, later)), [0.0], [0.0])
    alone, _ = _slopes(Scene(indents=(later,)), [0.0], [0.0])
    assert gx == pytest.approx(alone)
