"""How badly predicted edges explain the light, wherever their break may lie."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from tests.rim.drawn import light_about, taken

from rimread.rim.ellipse import Ellipse
from rimread.rim.misfit import misfits_of, no_break_evidence, slope_misfit
from rimread.rim.places import least_misfits
from rimread.rim.profiles import POOLED_DEG, profiles_across
from rimread.rim.shading import CHART_SLOPES, Turn

TRUE = Ellipse(x=150.2, y=149.7, m=100.0)
SHIFTS = np.arange(-4.0, 4.25, 0.5)
TURNS = (Turn(0.05, -0.1), Turn(2.0, -0.1))


def profiles(light, *, noise=0.002, seed=0):
    """Profiles across a drawn outline of light over the distance outside it."""
    photo = taken(light_about(TRUE, light, size=300, noise=noise, seed=seed))
    return profiles_across(photo, TRUE, blur_px=1.2)


def step(q, *, off=0.0, blur=1.3):
    return 0.5 - 0.25 * ndtr((q - off) / blur)


@pytest.mark.parametrize("off", [-2.3, 0.0, 1.6])
def test_the_least_misfit_lies_at_the_break(off):
    measured = profiles(lambda q: step(q, off=off))
    misfits = misfits_of(measured, (0.95, 1.28, 1.72), TURNS, SHIFTS, pooled=POOLED_DEG)
    assert misfits.shape == (6, len(SHIFTS), len(measured.t))
    least = least_misfits(misfits, SHIFTS)
    best = least.misfit.mean(axis=1).argmin()
    assert (best // 2, best % 2) == (1, 0)  # the blur and the sharp turn it was drawn with
    assert least.q_px[best] == pytest.approx(off, abs=0.2)


@pytest.mark.parametrize("share", [0.25, 0.5])
def test_exposure_changes_no_misfit_but_by_its_own_logarithm(share):
    """What is left unexplained goes with the light squared."""
    one, other = (
        misfits_of(
            profiles(lambda q, k=k: k * step(q), noise=0.002 * k),
            (0.95, 1.28, 1.72),
            TURNS,
            SHIFTS,
            pooled=POOLED_DEG,
        )
        for k in (1.0, share)
    )
    np.testing.assert_allclose(other - one, 2 * np.log(share), atol=0.05)


def test_a_straight_slope_of_light_needs_no_break():
    tilted, broken = (
        no_break_evidence(profiles(light)) for light in (lambda q: 0.4 + 0.004 * q, step)
    )
    assert tilted.min() > broken.max() + 10


SLOPES = np.array([-0.6, -0.25, -0.05, 0.15, 0.4])


def sloping(slope, *, seen=1.0, level=0.3):
    """Profiles of metal that shines e-fold more for each unit of slope, `slope` at the rim.

    Level metal is seen on the share `seen` of the turn.
    """
    measured = profiles(step)
    arcs = len(measured.t)
    sides = replace(
        measured.sides,
        ridge=np.tile(0.2 * np.exp(CHART_SLOPES), (arcs, 1)).astype(np.float32),
        outside=np.full(arcs, level * np.exp(slope)),
        level=np.where(np.arange(arcs) < seen * arcs, level, np.nan),
    )
    return replace(measured, sides=sides)


@pytest.mark.parametrize("slope", SLOPES)
@pytest.mark.parametrize("seen", [1.0, 0.5])
def test_the_light_beside_level_metal_tells_the_outer_slope(slope, seen):
    told = slope_misfit(sloping(slope, seen=seen), SLOPES)
    assert SLOPES[np.argmin(told)] == slope
    assert told.min() == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("unknown", [{"seen": 0.2}, {"seen": 0.0}, {"level": 0.002}])
def test_without_level_metal_no_outer_slope_is_likelier(unknown):
    assert not slope_misfit(sloping(0.4, **unknown), SLOPES).any()


def test_a_stained_part_of_the_turn_does_not_tell_the_outer_slope():
    clean = sloping(0.15)
    dirty = np.where(np.arange(len(clean.t)) % 3 == 0, 0.05, 1.0)
    stained = replace(clean, sides=replace(clean.sides, level=clean.sides.level * dirty))
    assert SLOPES[np.argmin(slope_misfit(stained, SLOPES))] == 0.15
