"""Means over neighbouring arcs, against scipy."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from rimread.rim.profiles import pool


@pytest.mark.parametrize("degrees", [6.0, 18.75])
def test_arcs_are_pooled_by_a_gaussian_that_closes_on_itself(degrees):
    values = np.random.default_rng(0).normal(0, 1, (3, 96))
    expected = gaussian_filter1d(values, degrees * 96 / 360, axis=1, mode="wrap", truncate=8)
    np.testing.assert_allclose(pool(values, degrees), expected, atol=1e-4)


def test_a_mean_of_equal_arcs_is_their_value():
    np.testing.assert_allclose(pool(np.full((2, 96), 0.37), 6.0), 0.37, rtol=1e-6)
