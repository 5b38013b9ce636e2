"""Profiles predicted across a rim from the bowl's own shading."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d
from scipy.special import expit, ndtr

from rimread.rim.shading import (
    CHART_SLOPES,
    MOST_GAIN,
    Sides,
    Turn,
    bowl_chart,
    predicted,
    radial_chart,
)

Q = np.arange(-12, 12.25, 0.5)
ARCS = 24


RADIUS = 200.0


def profile(chart, outside, blur, rounding, slope, *, ridge=None, outward=0.0, radius=1e9, q=Q):
    """Round a large bowl, in metal like that of the bowl, unless told otherwise."""
    bowl = chart.astype(np.float32)
    metal = bowl if ridge is None else ridge.astype(np.float32)
    sides = Sides(bowl, metal, outside, np.full(len(chart), outward), outside, radius)
    return predicted(sides, (blur,), (Turn(rounding, slope),), q)[:, :, 0, 0]


def even_chart(level):
    """A bowl that looks the same at every slope."""
    return np.full((ARCS, len(CHART_SLOPES)), level)


def tilted_chart(seed=0):
    rng = np.random.default_rng(seed)
    slope = CHART_SLOPES
    return (
        0.4 + 0.2 * rng.uniform(-1, 1, (ARCS, 1)) * slope + 0.1 * rng.random((ARCS, 1)) * slope**2
    )


@pytest.mark.parametrize("blur", [0.7, 1.2, 2.5])
@pytest.mark.parametrize("outer_slope", [-0.35, -0.05, 0.1])
def test_an_even_bowl_gives_a_blurred_step(blur, outer_slope):
    """As the rounding goes to nothing: the error function (Gaussian blur of a step)."""
    outside = np.full(ARCS, 0.2)
    told = profile(even_chart(0.5), outside, blur, 1e-3, outer_slope)
    step = 0.2 + 0.3 * ndtr(-Q / blur)
    np.testing.assert_allclose(told[0], step, atol=0.3 * 1e-3)


@pytest.mark.parametrize("rounding", [0.05, 0.5, 2.0])
def test_an_even_bowl_crosses_half_way_at_the_break(rounding):
    told = profile(even_chart(0.6), np.full(ARCS, 0.3), 1.0, rounding, -0.1)
    assert np.interp(-0.45, -told[3], Q) == pytest.approx(0.0, abs=0.01)


@given(st.floats(0.1, 4.0), st.integers(0, 20))
def test_profiles_are_in_proportion_to_the_light(factor, seed):
    chart, outside = tilted_chart(seed), np.random.default_rng(seed).random(ARCS)
    shape = (1.1, 0.4, -0.2)
    whole = profile(factor * chart, factor * outside, *shape)
    np.testing.assert_allclose(whole, factor * profile(chart, outside, *shape), atol=3e-5)


@given(st.floats(0.1, 4.0), st.integers(0, 20))
def test_stray_light_is_added_where_the_metal_outside_shines_as_the_bowl_does(stray, seed):
    chart, shape = tilted_chart(seed), (1.1, 0.4, -0.2)
    outside = np.array([np.interp(shape[2], CHART_SLOPES, row) for row in chart])
    whole = profile(chart + stray, outside + stray, *shape)
    np.testing.assert_allclose(whole, profile(chart, outside, *shape) + stray, atol=3e-5)


@given(st.floats(0, 1.0), st.floats(0.05, 3.0), st.floats(-0.35, 0.1))
def test_no_slope_returns_less_than_no_light(outside, rounding, outer_slope):
    """A bright line in the bowl and metal as dim or bright: the ridge is so all over."""
    told = profile(lit_when_flat(0.1), np.full(ARCS, outside), 1.0, rounding, outer_slope)
    assert told.min() > -1e-6


def test_far_from_the_rim_each_side_is_itself():
    chart, outside = tilted_chart(2), np.linspace(0.1, 0.6, ARCS)
    told = profile(chart, outside, 0.8, 0.1, -0.2)
    np.testing.assert_allclose(told[:, 0], chart[:, -1], atol=1e-3)
    np.testing.assert_allclose(told[:, -1], outside, atol=1e-3)


def test_mirrored_light_gives_the_mirrored_profiles():
    """A lamp on the other side: each ray sees what the opposite ray saw."""
    half = ARCS // 2
    t = (np.arange(ARCS) + 0.5) * (2 * np.pi / ARCS)
    u = np.linspace(0, 1, 65)

    def charted(lamp):
        rays = 0.5 + 0.3 * np.cos(t - lamp)[:, None] * u
        return bowl_chart(radial_chart(rays.astype(np.float32), u, known_to=0.95))

    one, other = charted(0.4), charted(0.4 + np.pi)
    np.testing.assert_allclose(np.roll(one, half, axis=0), other, atol=1e-5)
    np.testing.assert_allclose(one[:, ::-1], other, atol=1e-5)
    shape = (1.0, 0.3, -0.2)
    np.testing.assert_allclose(
        np.roll(profile(one, np.full(ARCS, 0.5), *shape), half, axis=0),
        profile(other, np.full(ARCS, 0.5), *shape),
        atol=1e-5,
    )


def test_a_lit_bowl_is_its_own_chart():
    """Slope rises evenly along a ray: what a ray shows at u is the chart at slope u."""
    u = np.linspace(0, 1, 65)
    rays = np.repeat((0.3 + 0.2 * u + 0.1 * u**2)[None], ARCS, axis=0).astype(np.float32)
    chart = bowl_chart(radial_chart(rays, u, known_to=0.9))
    known = (np.abs(CHART_SLOPES) < 0.9) & (CHART_SLOPES >= 0)
    s = CHART_SLOPES[known]
    np.testing.assert_allclose(chart[3, known], 0.3 + 0.2 * s + 0.1 * s**2, atol=2e-3)


def test_what_lies_beyond_the_known_part_follows_the_trend():
    u = np.linspace(0, 1, 65)
    rays = np.repeat((0.4 + 0.2 * u)[None], ARCS, axis=0).astype(np.float32)
    spoiled = rays.copy()
    spoiled[:, u > 0.92] = 0.9  # light of the rim, not of the bowl
    chart = bowl_chart(radial_chart(spoiled, u, known_to=0.9))
    np.testing.assert_allclose(chart[0, -1], 0.6, atol=0.01)


def lit_when_flat(width, *, level=0.2, height=0.6):
    """Metal that glints where it is flat, within `width` slopes of the rim."""
    light = level + height * np.exp(-0.5 * (CHART_SLOPES / width) ** 2)
    return np.repeat(light[None], ARCS, axis=0)


def test_a_ridge_shows_the_opposite_slopes():
    """The rounding passes from the slope of the bowl through flat to that of the ridge.

    With a chart that is bright where the surface is flat, a rounded edge shows a bright line; a
    dish, whose slope never reaches flat, does not. Where slope(q) = s + (1 - s) w is 0 the bowl's
    share w is -s / (1 - s), a third for s = -0.5: that much is the bowl's line, the rest the
    metal's, as much dimmer as the light outside is than it would be at s. Blurred little, as the
    turn is slow.
    """
    width, s, rounding = 0.15, -0.5, 8.0
    share = -s / (1 - s)
    flat = rounding * np.log(1 / share - 1)
    metal = lit_when_flat(0.3, height=0.4)
    line, at_s = 0.4 * np.exp(-0.5 * (np.array([0, s]) / 0.3) ** 2)
    line = 0.2 / (0.2 + at_s) * (line - at_s)
    expected = share * 0.8 + (1 - share) * (0.2 + line)
    even = np.full(ARCS, 0.2)
    ridge = profile(lit_when_flat(width), even, 0.7, rounding, s, ridge=metal, q=np.array([flat]))
    dish = profile(lit_when_flat(width), even, 0.7, rounding, 0.6)
    assert share == pytest.approx(1 / 3)
    assert ridge[0, 0] == pytest.approx(expected, abs=0.01)
    assert dish[0].max() < 0.25


@given(st.floats(0.7, 4.0), st.floats(0.04, 3.0), st.floats(-0.35, 0.1))
def test_blur_and_rounding_widen_the_step(blur, rounding, slope):
    """Standard deviation of the step's derivative: blur and logistic rounding add in squares."""
    q = np.arange(-60, 60.25, 0.5)
    told = profile(even_chart(1.0), np.zeros(ARCS), blur, rounding, slope, q=q)[0].astype(float)
    weight, place = -np.diff(told), q[:-1] + 0.25
    mean = np.sum(weight * place) / weight.sum()
    sd = np.sqrt(np.sum(weight * (place - mean) ** 2) / weight.sum())
    whole = np.sqrt(blur**2 + (np.pi**2 / 3) * rounding**2)
    assert mean == pytest.approx(0, abs=0.02)
    assert sd == pytest.approx(whole, rel=0.06)


def integrated(light, metal, outside, shape):
    """The formula at the head of `rimread.rim.shading` round a large bowl, over 400 001 places."""
    blur, rounding, outer_slope = shape
    fine = np.linspace(-20, 20, 400_001)
    w = 1 / (1 + np.exp(np.clip(fine / rounding, -500, 500)))
    slope = outer_slope + (1 - outer_slope) * w
    at_outer = np.interp(outer_slope, CHART_SLOPES, metal)
    gain = min(MOST_GAIN, outside / at_outer)
    ridge = gain * (np.interp(slope, CHART_SLOPES, metal) - at_outer) + outside
    sharp = w * np.interp(slope, CHART_SLOPES, light) + (1 - w) * ridge
    kernel = np.exp(-0.5 * ((Q[:, None] - fine) / blur) ** 2)
    return kernel @ sharp / kernel.sum(axis=1)


@pytest.mark.parametrize("rounding", [0.02, 0.1, 0.4])
@pytest.mark.parametrize("blur", [0.7, 2.0])
@pytest.mark.parametrize("outside", [0.15, 0.3, 1.0])
def test_a_narrow_line_of_light_keeps_its_power(blur, rounding, outside):
    """A glint that the turn passes through, far narrower than a pixel, against a fine integral.

    In metal that shines as the bowl does, less, and more than `MOST_GAIN` times as much.
    """
    chart, metal = lit_when_flat(0.2), lit_when_flat(0.3, height=0.4)
    true = integrated(chart[0], metal[0], outside, (blur, rounding, -0.3))
    told = profile(chart, np.full(ARCS, outside), blur, rounding, -0.3, ridge=metal)
    np.testing.assert_allclose(told[0], true, atol=0.6 * 0.01)


def test_the_bowl_flattens_towards_its_centre():
    """Inside the rim the light is what the chart shows at the slope 1 + q / radius."""
    chart, outside = tilted_chart(4), np.full(ARCS, 0.3)
    told = profile(chart, outside, 0.8, 0.1, -0.1, radius=RADIUS)
    inside = Q < -5
    seen = [np.interp(1 + Q[inside] / RADIUS, CHART_SLOPES, row) for row in chart]
    np.testing.assert_allclose(told[:, inside], seen, atol=1e-4)


def test_light_outside_goes_on_as_it_begins():
    told = profile(even_chart(0.5), np.full(ARCS, 0.2), 0.8, 0.1, -0.1, outward=0.004)
    beyond = Q > 5
    np.testing.assert_allclose(
        told[:, beyond], 0.2 + 0.004 * Q[None, beyond].repeat(ARCS, 0), atol=1e-4
    )


@pytest.mark.parametrize("rounding", [0.3, 2.0])
def test_light_that_turns_straight_passes_no_slope_of_the_chart(rounding):
    """A logistic step from the light just inside to that just outside, whatever lies between."""
    outside = np.full(ARCS, 0.2)
    chart = lit_when_flat(0.1)
    told = profile(chart, outside, 0.7, rounding, None)
    sloped = profile(chart, outside, 0.7, rounding, -0.1)
    fine = np.arange(-40, 40, 0.01)
    step = outside[0] + (chart[0, -1] - outside[0]) * expit(-fine / rounding)
    blurred = gaussian_filter1d(step, 0.7 / 0.01)
    np.testing.assert_allclose(told[0], np.interp(Q, fine, blurred), atol=1e-3)
    assert np.abs(sloped - told).max() > 0.02
