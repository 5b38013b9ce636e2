"""How badly predicted edges explain the light, wherever their break may lie."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm
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


def flat(measured, *, level=0.3):
    """The same with metal that returns one light at any slope: no break is predicted."""
    sides, arcs = measured.sides, len(measured.t)
    even = np.full(arcs, level, np.float32)
    charts = {name: np.full_like(getattr(sides, name), level) for name in ("chart", "ridge")}
    return replace(
        measured, sides=replace(sides, **charts, outside=even, outward=np.zeros_like(even))
    )


@pytest.mark.parametrize("variances", [(4e-4, 4e-4), (1e-4, 9e-4), (9e-4, 1e-4)])
@pytest.mark.parametrize("clipped", [0, 4])
def test_misfit_is_the_gaussian_likelihood_of_the_finish_on_either_side(variances, clipped):
    """-2 log L a sample, greatest over level and size of the scatter, which either side shares.

    Of light blurred over a break by 1.28 px; what is clipped says next to nothing.
    """
    measured = flat(profiles(step))
    arcs, q = len(measured.t), measured.q_px
    seen = np.ones((arcs, len(q)), np.float32)
    seen[:, len(q) - clipped :] = 1e-3
    light = 0.3 + np.random.default_rng(1).normal(0, 0.02, seen.shape)
    light[:, len(q) - clipped :] = 0.32
    inside, outside = (np.full(arcs, v, np.float32) for v in variances)
    measured = replace(
        measured,
        light=light.astype(np.float32),
        seen=seen,
        variance_in=inside,
        variance_out=outside,
    )
    told = misfits_of(measured, (0.95, 1.28, 1.72), TURNS[:1], SHIFTS, pooled=0.01)
    used = slice(0, len(q) - clipped)
    for arc, at in ((0, 2), (7, 8), (40, 14)):
        exact = []
        for shift in (SHIFTS[8], SHIFTS[at]):
            inner = norm.cdf(shift, q[used], 1.28)
            sd = np.sqrt(inner * variances[0] + (1 - inner) * variances[1])
            y = light[arc, used]
            level = np.average(y, weights=sd**-2)
            size = np.sqrt(np.mean(((y - level) / sd) ** 2))
            exact.append(-2 * norm.logpdf(y, level, size * sd).mean())
        found = told[1, at, arc] - told[1, 8, arc]
        assert found == pytest.approx(exact[1] - exact[0], abs=0.01)


def least_with_contrast(factor, *, clipped=False):
    """Least misfit of the step it was drawn as, predicted with a contrast `factor` times less."""
    measured = profiles(step)
    sides = measured.sides
    charts = {
        name: sides.outside[:, None] + (getattr(sides, name) - sides.outside[:, None]) / factor
        for name in ("chart", "ridge")
    }
    seen = measured.seen.copy()
    seen[:, 0] = 1e-3 if clipped else 1.0
    measured = replace(measured, sides=replace(sides, **charts), seen=seen)
    misfits = misfits_of(measured, (0.95, 1.28, 1.72), TURNS[:1], SHIFTS, pooled=POOLED_DEG)
    return least_misfits(misfits, SHIFTS).misfit[1].mean()


@pytest.mark.parametrize(
    ("factor", "clipped", "explained"),
    [
        (0.6, False, True),
        (1.7, False, True),
        (0.3, False, False),
        (4.0, False, False),
        (4.0, True, True),  # a clipped side may be brighter than it shows
        (0.3, True, False),
    ],
)
def test_a_contrast_is_right_within_a_factor_of_two(factor, clipped, explained):
    found, right = (least_with_contrast(k, clipped=clipped) for k in (factor, 1.0))
    if explained:
        assert found == pytest.approx(right, abs=0.05)
    else:
        assert found > right + 1


@pytest.mark.parametrize("light", [0.0, 0.002])
def test_where_all_is_black_no_place_is_likelier_than_another(light):
    measured = profiles(lambda q: light + 0 * q, noise=0.0)
    misfits = misfits_of(measured, (0.95, 1.28, 1.72), TURNS, SHIFTS, pooled=POOLED_DEG)
    assert np.isfinite(misfits).all()
    assert np.ptp(misfits) < 1e-3
    assert np.isfinite(no_break_evidence(measured)).all()


def test_a_straight_slope_of_light_needs_no_break():
    tilted, broken = (
        no_break_evidence(profiles(light)) for light in (lambda q: 0.4 + 0.004 * q, step)
    )
    assert tilted.min() > broken.max() + 10


def test_no_break_is_the_likelihood_of_a_straight_line_through_what_is_seen():
    """By least squares; of clipped samples that lie far off it hardly anything is left."""
    measured = profiles(step)
    q = measured.q_px
    clipped = q > 3
    seen = np.where(clipped, 1e-3, 1.0) * np.ones((len(measured.t), 1))
    grain = np.random.default_rng(2).normal(0, 0.03, seen.shape)
    lights = [0.4 + 0.01 * q + size * grain + 0.05 * clipped for size in (1.0, 2.0)]
    told = [no_break_evidence(replace(measured, light=light, seen=seen)) for light in lights]
    rests = [np.polyfit(q[~clipped], light.T[~clipped], 1, full=True)[1] for light in lights]
    lost = -0.5 * len(q) * np.log(rests[1] / rests[0])
    assert np.mean(told[1] - told[0]) == pytest.approx(lost.mean(), rel=0.05)


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


def test_a_half_of_the_turn_tells_as_much_of_the_outer_slope_as_all_of_it():
    """Its arcs share what they tell: it is one light and one ridge."""
    whole, half = (slope_misfit(sloping(0.15, seen=seen), SLOPES) for seen in (1.0, 0.5))
    np.testing.assert_allclose(half, whole, rtol=1e-3, atol=1e-6)


@pytest.mark.parametrize("unknown", [{"seen": 0.2}, {"seen": 0.0}, {"level": 0.002}])
def test_without_level_metal_no_outer_slope_is_likelier(unknown):
    assert not slope_misfit(sloping(0.4, **unknown), SLOPES).any()


def test_a_black_shadow_beside_the_rim_does_not_tell_the_outer_slope():
    """There no more is known of it than where level metal is out of the picture."""
    clean = sloping(0.15)
    shadow = np.arange(len(clean.t)) % 3 == 0
    dark, unseen = (
        replace(
            clean,
            sides=replace(
                clean.sides, **{name: np.where(shadow, value, getattr(clean.sides, name))}
            ),
        )
        for name, value in (("outside", 0.002), ("level", np.nan))
    )
    np.testing.assert_array_equal(slope_misfit(dark, SLOPES), slope_misfit(unseen, SLOPES))


def test_a_stained_part_of_the_turn_does_not_tell_the_outer_slope():
    clean = sloping(0.15)
    dirty = np.where(np.arange(len(clean.t)) % 3 == 0, 0.05, 1.0)
    stained = replace(clean, sides=replace(clean.sides, level=clean.sides.level * dirty))
    assert SLOPES[np.argmin(slope_misfit(stained, SLOPES))] == 0.15
