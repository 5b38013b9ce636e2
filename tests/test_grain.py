"""Grain: noise by what neighbouring pixels differ in."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.grain import BLOCK, block_means, grain_of


@given(st.floats(0.1, 50.0), st.integers(0, 999))
def test_its_mean_over_white_noise_is_the_standard_deviation(sd, seed):
    """Immerkaer 1996, as in the module: unbiased, within some 1 % of 160 x 160 pixels."""
    noise = sd * np.random.default_rng(seed).standard_normal((160, 160))
    assert grain_of(noise.astype(np.float32)).mean() == pytest.approx(sd, rel=0.05)


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(0, 200))
def test_a_plane_has_none(across, down, level):
    y, x = np.mgrid[:40, :50]
    plane = (level + across * x + down * y).astype(np.float32)
    assert grain_of(plane)[1:-1, 1:-1].max() < 1e-3


def test_blocks_are_whole_ones_within_the_margin():
    values = np.arange(35 * 70, dtype=np.float32).reshape(35, 70)
    means = block_means(values)
    assert means.shape == (2 * 4,)
    assert means[0] == pytest.approx(values[1 : 1 + BLOCK, 1 : 1 + BLOCK].mean())
    assert means[-1] == pytest.approx(values[17:33, 49:65].mean())
