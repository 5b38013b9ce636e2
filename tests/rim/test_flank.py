"""A crest that shines as a line along the rim: its outer flank is as good an edge as the rim."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from tests.rim.drawn import light_about, taken

from rimread.diameters import diameters
from rimread.refusal import Refusal
from rimread.rim import Rim, contest, find_rim
from rimread.rim.ellipse import Ellipse
from rimread.rim.locate import log_likelihood
from rimread.rim.shading import CHART_SLOPES, dark_feet
from rimread.rim.trace import edge_inside
from rimread.simulate import Camera, Indent, Light, Scene, Surface, simulate

TRUE = Ellipse(x=200.3, y=199.6, m=120.0, e=1.2, f=-0.8)
CREST = Scene(
    indents=(Indent(d1_mm=2.4, d2_mm=2.4, ball_mm=5.0, pile_width=0.23, crest=0.06, texture=0.9),),
    surface=Surface(finish="milled", finish_um=0.16, alpha_inside=0.085, alpha_outside=0.1),
    light=Light(kind="coaxial"),
    camera=Camera(
        width_px=800, height_px=760, px_per_mm=266.0, blur_px=0.74, motion_px=3.5, exposure=0.19
    ),
)
"""Light along the axis, a steep smooth bowl and ridge, dark both, and an edge of 5 px."""


def crest(pile, edge_round_mm):
    indent = replace(CREST.indents[0], pile=pile, edge_round_mm=edge_round_mm)
    return simulate(replace(CREST, indents=(indent,)), rng=np.random.default_rng(1))


def off(shot):
    """Error of the mean diameter and its U, in parts of it."""
    return off_of(find_rim(shot.photo()), shot)


def off_of(rim, shot):
    assert isinstance(rim, Rim), rim
    found, true = diameters(rim, shot.scale), shot.truth[0].mean_mm
    return found.mean_mm / true - 1, found.budget.U / true


@pytest.mark.parametrize("edge_round_mm", [0.01, 0.0135, 0.018])
@pytest.mark.parametrize("pile", [0.2, 0.3])
def test_the_rim_is_the_inner_flank_of_a_shining_crest(pile, edge_round_mm):
    error, U = off(crest(pile, edge_round_mm))
    assert abs(error) <= U


@pytest.mark.parametrize("edge_round_mm", [0.0135, 0.018])
def test_a_wide_crest_without_a_ridge_is_not_read_wrongly(edge_round_mm):
    """Its flanks lie too far apart for one line: rivals."""
    rim = find_rim(crest(0.1, edge_round_mm).photo())
    assert isinstance(rim, Refusal), rim
    assert rim.code == "rival-rings"


def test_the_outer_flank_would_be_taken_otherwise(monkeypatch):
    shot = crest(0.25, 0.018)
    monkeypatch.setattr(contest, "edge_inside", lambda *_: None)
    error, U = off(shot)
    assert error > 3 * U


@pytest.mark.parametrize(
    ("ahead", "sharp", "taken_is"),
    [
        (3.1, 2.5, "inner"),
        (2.9, 2.5, "none"),
        (-2.9, 2.5, "none"),
        (-2.9, 0.1, "none"),
        (-3.1, 2.5, "none"),  # as sharp
        (-3.1, 0.1, "outer"),
    ],
)
def test_one_flank_must_be_twenty_times_likelier(monkeypatch, ahead, sharp, taken_is):
    """The inner one; and the outer one far sharper besides. Otherwise they are rivals."""
    shot = crest(0.25, 0.018)
    told = iter([0.0, ahead])  # of the outer, of the inner
    monkeypatch.setattr(contest, "log_likelihood", lambda *_, **__: next(told))
    monkeypatch.setattr(contest, "AS_SHARP", sharp)
    rim = find_rim(shot.photo())
    assert next(told, None) is None  # both were asked for
    if taken_is == "none":
        assert isinstance(rim, Refusal)
        assert rim.code == "rival-rings"
    else:
        error, U = off_of(rim, shot)
        assert (abs(error) <= U) == (taken_is == "inner")


def drawn(light):
    return taken(light_about(TRUE, light, size=400, noise=0.004, seed=5))


def line(width_px):
    """Dark, a bright line that ends on the ellipse, and a little less dark."""
    return drawn(lambda q: 0.1 + 0.4 * ndtr((q + width_px) / 1.2) - 0.35 * ndtr(q / 1.2))


@pytest.mark.parametrize("width_px", [5.0, 7.0, 9.0])
def test_the_inner_flank_of_a_line_is_seen_from_the_outer_one(width_px):
    inside = edge_inside(line(width_px), TRUE)
    assert inside is not None
    assert TRUE.m - inside.m == pytest.approx(width_px, abs=1.5)


def test_the_inner_flank_of_a_line_of_uneven_width_is_seen():
    """A crest 5 to 11 px wide: at no one distance inside is its inner flank an edge."""
    middle = replace(TRUE, x=TRUE.x + 3.0, m=TRUE.m - 8.0)
    y, x = np.indices((400, 400), dtype=float)
    spots = np.column_stack([x.ravel(), y.ravel()])
    outer, inner = (one.distance(spots).reshape(x.shape) for one in (TRUE, middle))
    light = 0.1 + 0.4 * ndtr(inner / 1.2) - 0.35 * ndtr(outer / 1.2)
    grain = np.random.default_rng(5).normal(0, 0.004, x.shape)
    inside = edge_inside(taken(light + grain), TRUE)
    assert inside is not None
    assert (inside.x, inside.m) == pytest.approx((middle.x, middle.m), abs=1.0)


def test_a_step_has_no_edge_inside():
    assert edge_inside(drawn(lambda q: 0.4 - 0.2 * ndtr(q / 1.2)), TRUE) is None


@pytest.mark.parametrize("inside_px", [8.0, 9.0])
def test_a_line_all_round_the_bowl_is_a_rival(inside_px):
    """As sharp as the rim: which of the two is it? Both are named."""
    photo = drawn(
        lambda q: 0.35 - 0.3 * ndtr(q / 1.2) + 0.2 * np.exp(-0.5 * ((q + inside_px) / 0.8) ** 2)
    )
    inside = edge_inside(photo, TRUE)
    assert inside is not None
    assert TRUE.m - inside.m == pytest.approx(inside_px, abs=1.0)
    rim = find_rim(photo)
    assert isinstance(rim, Refusal), rim
    assert rim.code == "rival-rings"
    named = sorted((rim.evidence["diameter_px"] / 2, rim.evidence["rival_px"] / 2))
    assert named == pytest.approx([TRUE.m - inside_px, TRUE.m], abs=2.0)


@pytest.mark.parametrize("m", [15.0, 19.9, 30.0, 34.0, 35.0, 41.0, 42.0, 61.0, 62.0])
def test_a_slope_of_light_has_no_edge_however_small_the_rim(m):
    y, x = np.indices((400, 400), dtype=float)
    away = np.hypot(x - 200, y - 200) - m
    light = np.where(away < 0, 0.5 + 0.006 * away, 0.5) - 0.2 * ndtr(away / 1.2)
    photo = replace(
        drawn(lambda q: 0 * q),
        grey=np.round(65535 * np.clip(light, 0, 1)).astype(np.uint16),
    )
    assert edge_inside(photo, Ellipse(x=200.0, y=200.0, m=m)) is None


@pytest.mark.parametrize("span_px", [(0.0, 0.0), (3.0, 8.0), (8.0, 3.0), (-8.0, -1.0)])
def test_a_stretch_beside_the_ellipse_is_misuse(span_px):
    with pytest.raises(ValueError, match="either side"):
        log_likelihood(line(5.0), TRUE, blur_px=1.2, span_px=span_px)


def test_the_edge_of_a_step_is_likelier_than_any_other_place():
    step = drawn(lambda q: 0.4 - 0.2 * ndtr(q / 1.2))
    likely = [
        log_likelihood(
            step, replace(TRUE, m=TRUE.m + off), blur_px=1.2, span_px=(-14.0 - off, 14.0 - off)
        )
        for off in (-5.0, 0.0, 5.0)
    ]
    assert likely[1] > max(likely[0], likely[2]) + 3  # odds of twenty to one


BOWL = np.abs(CHART_SLOPES)


@pytest.mark.parametrize(
    ("chart", "dark"),
    [
        (0.05 + 0.4 * np.exp(-((BOWL / 0.2) ** 2)), 1.0),  # light along the axis, a smooth bowl
        (0.05 + 0.4 * np.exp(-((BOWL / 0.8) ** 2)), 0.0),  # a rough one, grey to the rim
        (0.45 - 0.4 * BOWL, 0.0),
        (0.05 + 0.4 * BOWL, 0.0),  # a ring of light: dark in the middle
        (np.full_like(BOWL, 0.3), 0.0),
        (np.zeros_like(BOWL), 0.0),
    ],
)
def test_a_dark_foot_is_a_bowl_that_shines_in_its_middle_alone(chart, dark):
    assert dark_feet(chart[None]) == pytest.approx([dark], abs=0.05)
    assert dark_feet(0.3 * chart[None]) == pytest.approx([dark], abs=0.05)


@pytest.mark.parametrize("least", [0.05, 0.15])
def test_a_foot_gets_dark_without_a_jump(least):
    """Two photos of one indent have about the same uncertainty, whatever their noise."""
    wide = np.linspace(0.9, 0.1, 200)[:, None]
    dark = dark_feet(least + 0.4 * np.exp(-((BOWL / wide) ** 2)))
    assert np.all(np.diff(dark) > -1e-6)
    assert np.all(np.diff(dark) < 0.03)
    assert dark[0] == 0.0
    assert dark[-1] > 0.8
