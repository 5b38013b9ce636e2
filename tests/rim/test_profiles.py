"""Means over neighbouring arcs, against scipy."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from rimread.rim.profiles import pool


@pytest.mark.parametrize("arcs", [1.6, 5.0])
def test_arcs_are_pooled_by_a_gaussian_that_closes_on_itself(arcs):
    values = np.random.default_rng(0).normal(0, 1, (3, 96))
    expected = gaussian_filter1d(values, arcs, axis=1, mode="wrap", truncate=8)
    np.testing.assert_allclose(pool(values, arcs), expected, atol=1e-4)


def test_a_mean_of_equal_arcs_is_their_value():
    np.testing.assert_allclose(pool(np.full((2, 96), 0.37), 1.6), 0.37, rtol=1e-6)
