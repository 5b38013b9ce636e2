"""The light of the metal outside a rim, from the bowl's charts."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimread.rim.ridge import LOBES, TYPICAL_LOBE, ridge_chart
from rimread.rim.shading import CHART_SLOPES, RADIAL_SLOPES

ARCS = 96
T = (np.arange(ARCS)[:, None] + 0.5) * (2 * np.pi / ARCS)


def mirror(slopes, lamp, turn, width, *, level=0.05):
    """Light of facets with a Gaussian of slopes about (lamp, turn): chart over polar `slopes`."""
    x, y = slopes * np.cos(T), slopes * np.sin(T)
    off2 = (x - lamp * np.cos(turn)) ** 2 + (y - lamp * np.sin(turn)) ** 2
    return (level + np.exp(-0.5 * off2 / width**2) / width**2).astype(np.float32)


def told(radial, outside):
    return ridge_chart(radial, np.full(ARCS, outside, np.float32))


def off(got, metal):
    """Largest difference, of what the light varies by, short of the rim's slope."""
    within = np.abs(CHART_SLOPES) < 0.7
    return np.abs(got - metal)[:, within].max() / np.ptp(metal)


@pytest.mark.parametrize("lamp", [0.0, 0.4, 0.7])
def test_rougher_metal_shows_the_wider_lobe(lamp):
    """A Gaussian averaged with a Gaussian is one with the variances' sum, in two dimensions."""
    typical = min(LOBES, key=lambda one: abs(np.log(one / TYPICAL_LOBE)))
    metal = mirror(CHART_SLOPES, lamp, 0.7, np.hypot(0.3, typical))
    got = told(mirror(RADIAL_SLOPES, lamp, 0.7, 0.3), metal[:, len(CHART_SLOPES) // 2].mean())
    assert off(got, metal) < 0.04


@pytest.mark.parametrize("lobe", [*LOBES[:2], *LOBES[-3:]])
@pytest.mark.parametrize("lamp", [0.0, 0.9])
def test_the_light_outside_tells_the_lobe(lobe, lamp):
    """Most of the way from the typical lobe to the true one."""
    metal, plain = (
        mirror(CHART_SLOPES, lamp, 0.7, np.hypot(0.2, one)) for one in (lobe, TYPICAL_LOBE)
    )
    got = told(mirror(RADIAL_SLOPES, lamp, 0.7, 0.2), metal[:, len(CHART_SLOPES) // 2].mean())
    assert off(got, metal) < 0.5 * off(plain, metal)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.02, 20.0), st.floats(0.05, 0.9), st.floats(0.05, 0.9))
def test_light_and_chart_scale_together(factor, level, outside):
    bowl = mirror(RADIAL_SLOPES, 0.3, 2.0, 0.3, level=level)
    np.testing.assert_allclose(
        told(np.float32(factor) * bowl, factor * outside), factor * told(bowl, outside), rtol=1e-4
    )


@pytest.mark.parametrize("outside", [0.01, 0.4, 3.0])
def test_an_even_bowl_stays_even(outside):
    even = np.full((ARCS, len(RADIAL_SLOPES)), 0.4, np.float32)
    np.testing.assert_allclose(told(even, outside), 0.4, rtol=1e-5)


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_a_turned_lamp_turns_the_charts(quarters):
    step = quarters * ARCS // 4
    turns = (0.3, 0.3 + quarters * np.pi / 2)
    one, other = (mirror(RADIAL_SLOPES, 0.4, turn, 0.3) for turn in turns)
    got = np.roll(told(one, 0.5), step, axis=0)
    np.testing.assert_allclose(got, told(other, 0.5), atol=2e-3 * got.max())


def test_opposite_rays_share_one_chart():
    got = told(mirror(RADIAL_SLOPES, 0.4, 0.3, 0.3), 0.5)
    np.testing.assert_allclose(np.roll(got, ARCS // 2, axis=0), got[:, ::-1], atol=1e-4 * got.max())


def test_brighter_flanks_than_the_middle_tell_a_broad_lobe():
    """A lamp from the side: the level metal outside is lit only when its facets tilt widely."""
    bowl = mirror(RADIAL_SLOPES, 0.9, 0.0, 0.2, level=0.1)
    dim, bright = told(bowl, 0.1), told(bowl, 2.0)
    assert np.ptp(bright) < 0.7 * np.ptp(dim)
