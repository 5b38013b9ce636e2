"""The least misfit between the places searched, and what all of them say."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.rim.ellipse import Ellipse
from rimread.rim.locate import Settled, locate
from rimread.rim.places import least_misfits, places_of
from rimread.simulate import Camera, Indent, Light, Scene, Surface, simulate

SHIFTS = np.arange(-3.0, 3.01, 0.5)
SAMPLES = 17


def misfits(at, *, rest=0.3, power=1.0):
    """One shape, one arc: the logarithm of a parabola in the place."""
    left = rest + power * (SHIFTS - at) ** 2
    return np.log(left).astype(np.float32)[None, :, None]


@given(st.floats(-2.4, 2.4), st.floats(0.2, 5.0), st.floats(0.1, 3.0))
def test_a_parabola_is_found_wherever_it_lies_on_the_grid(at, rest, power):
    least = least_misfits(misfits(at, rest=rest, power=power), SHIFTS)
    assert least.within.all()
    assert least.q_px.item() == pytest.approx(at, abs=1e-3)
    assert least.misfit.item() == pytest.approx(np.log(rest), abs=2e-3)


@given(st.floats(-1.5, 1.5))
def test_a_sharp_place_has_the_uncertainty_of_its_parabola(at):
    """With n samples of variance v left, an offset costs n ln(1 + p q² / v) / 2 nats."""
    rest, power = 0.05, 1.0
    told = misfits(at, rest=rest, power=power)
    places = places_of(told, least_misfits(told, SHIFTS), SHIFTS, samples=SAMPLES)
    assert places.u_px.item() == pytest.approx(np.sqrt(rest / power / SAMPLES), rel=0.15)


@given(st.integers(2, len(SHIFTS) - 3), st.floats(1e-3, 1.0), st.floats(0.1, 3.0))
def test_a_place_on_the_grid_has_what_is_left_there_however_sharp(at, rest, power):
    least = least_misfits(misfits(SHIFTS[at], rest=rest, power=power), SHIFTS)
    assert least.q_px.item() == pytest.approx(SHIFTS[at], abs=1e-3)
    assert least.misfit.item() == pytest.approx(np.log(rest), abs=1e-3)


def test_the_least_of_some_shapes_is_that_of_their_own_misfits():
    told = np.random.default_rng(7).normal(0, 1, (5, len(SHIFTS), 40)).astype(np.float32)
    some, alone = least_misfits(told, SHIFTS).of(slice(2, 4)), least_misfits(told[2:4], SHIFTS)
    assert 0 < alone.within.mean() < 1
    for name in ("q_px", "misfit", "bend", "within"):
        np.testing.assert_array_equal(getattr(some, name), getattr(alone, name))


def test_a_place_nearest_the_end_of_the_span_is_still_within():
    least = least_misfits(misfits(-2.8), SHIFTS)
    assert least.within.all()
    assert least.q_px.item() == pytest.approx(-2.8, abs=1e-3)


@pytest.mark.parametrize("beyond", [-5.0, -3.2, 4.5])
def test_a_place_beyond_the_span_is_not_trusted(beyond):
    told = misfits(beyond)
    least = least_misfits(told, SHIFTS)
    places = places_of(told, least, SHIFTS, samples=SAMPLES)
    assert not least.within.any()
    assert least.misfit.item() == pytest.approx(told.min(), abs=1e-3)
    assert np.sign(places.q_px.item()) == np.sign(beyond)
    assert places.u_px.item() >= 1.0


def test_where_all_places_are_alike_the_uncertainty_is_that_of_the_span():
    """Rectangular over ±3 px: 3/√3 about its middle, and never more than its half."""
    told = np.zeros((1, len(SHIFTS), 1), np.float32)
    told[0, len(SHIFTS) // 2] = -1e-4
    places = places_of(told, least_misfits(told, SHIFTS), SHIFTS, samples=SAMPLES)
    assert 3 / np.sqrt(3) <= places.u_px.item() <= 3


@pytest.mark.parametrize(("one", "other"), [(-0.5, 0.5), (-0.75, 0.75), (0.25, -2.25), (-0.6, 1.4)])
@pytest.mark.parametrize("worse", [0.01, 0.1])
def test_two_places_about_as_likely_make_either_unsure_by_their_distance(one, other, worse):
    """Root mean square distance from the likelier one, the likelihood integrated finely.

    Where between the places searched the two lie does not matter.
    """

    def left(q):
        return 0.3 + np.minimum((q - one) ** 2, 0.3 * worse + (q - other) ** 2)

    told = np.log(left(SHIFTS)).astype(np.float32)[None, :, None]
    places = places_of(told, least_misfits(told, SHIFTS), SHIFTS, samples=SAMPLES)
    q = np.linspace(-3, 3, 6001)
    likely = left(q) ** (-SAMPLES / 2)
    u = np.sqrt((likely * (q - one) ** 2).sum() / likely.sum())
    assert u > 0.5
    assert places.q_px.item() == pytest.approx(one, abs=1e-3)
    assert places.u_px.item() == pytest.approx(u, rel=0.05)


def test_evidence_is_the_mean_likelihood():
    told = np.random.default_rng(3).normal(0, 0.3, (4, len(SHIFTS), 6)).astype(np.float32)
    places = places_of(told, least_misfits(told, SHIFTS), SHIFTS, samples=SAMPLES)
    mean = np.log(np.exp(-0.5 * SAMPLES * told.astype(float)).mean(axis=1))
    np.testing.assert_allclose(places.evidence, mean, atol=1e-3)


@pytest.mark.parametrize(("blur_px", "elevation_deg"), [(0.8, 50.0), (1.2, 35.0)])
def test_the_rim_does_not_hang_on_where_the_grid_of_places_begins(blur_px, elevation_deg):
    """A rim without texture, from ellipses an eighth of a pixel apart: a quarter of the grid."""
    scene = Scene(
        indents=(Indent(d1_mm=2.0, d2_mm=2.0, ball_mm=5.0, edge_round_mm=0.0),),
        surface=Surface(finish="polished", finish_um=0.0),
        light=Light(kind="ring", elevation_deg=elevation_deg),
        camera=Camera(
            width_px=360, height_px=340, px_per_mm=130.0, blur_px=blur_px, tone="linear", bits=16
        ),
    )
    shot = simulate(scene, rng=np.random.default_rng(0))
    true = shot.truth[0]
    start = Ellipse(x=true.centre_x_px, y=true.centre_y_px, m=true.axis1_px / 2)
    radii = []
    for off in np.arange(-0.25, 0.26, 0.125):
        off_rim = replace(start, m=start.m + off)
        located = locate(shot.photo(), Settled(off_rim, 1.1 * blur_px, 2.5))
        radii.append(off_rim.m + np.mean(located.q_px))
    assert np.ptp(radii) < 0.03
