"""What profiles hold: the light of level metal farther out; means over arcs, against scipy."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from tests.rim.drawn import light_about, taken

from rimread.rim.ellipse import Ellipse
from rimread.rim.profiles import LEVEL_RADII, pool, profiles_across


@pytest.mark.parametrize("degrees", [6.0, 18.75])
def test_arcs_are_pooled_by_a_gaussian_that_closes_on_itself(degrees):
    values = np.random.default_rng(0).normal(0, 1, (3, 96))
    expected = gaussian_filter1d(values, degrees * 96 / 360, axis=1, mode="wrap", truncate=8)
    np.testing.assert_allclose(pool(values, degrees), expected, atol=1e-4)


def test_a_mean_of_equal_arcs_is_their_value():
    np.testing.assert_allclose(pool(np.full((2, 96), 0.37), 6.0), 0.37, rtol=1e-6)


def test_level_metal_is_that_farther_out_where_it_is_in_the_picture():
    """Light that falls evenly with the distance from the rim; the picture ends to the right."""
    rim = Ellipse(x=190.3, y=179.6, m=100.0)
    photo = taken(light_about(rim, lambda q: 0.5 - 0.002 * np.abs(q), size=361, noise=0.0, seed=0))
    level = profiles_across(photo, rim, blur_px=1.2).sides.level
    t = profiles_across(photo, rim, blur_px=1.2).t
    farthest = rim.x + 100 * LEVEL_RADII[-1] * np.cos(t)
    down = rim.y + 100 * LEVEL_RADII[-1] * np.sin(t)
    inside = (farthest < 358) & (farthest > 2) & (down > 2) & (down < 358)
    beyond = (farthest > 363) | (farthest < -3)
    expected = 0.5 - 0.002 * 100 * (np.median(LEVEL_RADII) - 1)
    np.testing.assert_allclose(level[inside], expected, atol=0.004)
    assert np.isnan(level[beyond]).all()
    assert 0.5 < inside.mean() < 1
