"""Bands, rays and reduced pictures: positions are kept to the pixel's centre."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import map_coordinates

from rimread.photo import Photo
from rimread.rim.ellipse import Ellipse
from rimread.rim.sampling import band_along, halved, rays_from, reduced

RING = Ellipse(150.2, 120.7, 60.0, 1.0, -0.5)


def photo(grey):
    return Photo(grey=grey, tone="linear", name="", sha256="")


def ramp(height=240, width=300):
    """Grey value 40 x + 90 y + 1000 in 16 bits: bilinear samples of it are exact."""
    y, x = np.mgrid[:height, :width]
    return (40 * x + 90 * y + 1000).astype(np.uint16)


def test_a_band_samples_where_it_says():
    band = band_along(photo(ramp()), RING, half_px=8, arcs=90, rays=1)
    points = RING.points(band.t)[:, None] + band.q_px[:, None] * RING.normals(band.t)[:, None]
    told = (40 * points[..., 0] + 90 * points[..., 1] + 1000) / 65535
    np.testing.assert_allclose(band.grey, told, atol=2e-6)
    assert band.inside.all()
    assert band.q_px[0] == -8
    assert band.q_px[-1] == 8


def test_rays_of_an_arc_are_averaged():
    one = band_along(photo(ramp()), RING, half_px=5, arcs=30, rays=4)
    many = band_along(photo(ramp()), RING, half_px=5, arcs=120, rays=1)
    np.testing.assert_allclose(one.grey, many.grey.reshape(30, 4, -1).mean(axis=1), atol=1e-6)
    np.testing.assert_allclose(one.t, many.t.reshape(30, 4).mean(axis=1))


def test_what_lies_outside_the_picture_is_told():
    band = band_along(photo(ramp()), Ellipse(20, 120, 60), half_px=5, arcs=40, rays=1)
    x = 20 + (60 + band.q_px) * np.cos(band.t)[:, None]
    np.testing.assert_array_equal(band.inside, x >= 0)


def test_rays_run_from_the_centre_to_the_ellipse():
    t, u = np.array([0.0, 1.0, 4.0]), np.linspace(0, 1, 5)
    values, inside = rays_from(ramp().astype(np.float32), RING, t, u)
    on = RING.points(t)
    assert inside.all()
    np.testing.assert_allclose(values[:, 0], 40 * RING.x + 90 * RING.y + 1000, rtol=1e-5)
    np.testing.assert_allclose(values[:, -1], 40 * on[:, 0] + 90 * on[:, 1] + 1000, rtol=1e-5)


@pytest.mark.parametrize("times", [0, 1, 2, 3])
@pytest.mark.parametrize(("height", "width"), [(53, 71), (200, 96)])
def test_halving_is_the_mean_of_squares(times, height, width):
    grey = np.random.default_rng(0).integers(0, 256, (height, width)).astype(np.uint8)
    small, n = halved(photo(grey), times), 2**times
    rows, columns = small.shape
    assert (rows, columns) == (height // n, width // n)
    told = grey[: rows * n, : columns * n].reshape(rows, n, columns, n).mean(axis=(1, 3)) / 255
    np.testing.assert_allclose(small, told, atol=1e-6)


def test_bilinear_values_are_those_of_a_library():
    rng = np.random.default_rng(1)
    grey = rng.integers(0, 256, (240, 300)).astype(np.uint8)
    ring = Ellipse(295.0, 120.0, 90.0, 3.0, 1.0)  # a third of it outside
    band = band_along(photo(grey), ring, half_px=9, arcs=90, rays=1)
    at = ring.points(band.t)[:, None] + band.q_px[:, None] * ring.normals(band.t)[:, None]
    told = map_coordinates(grey.astype(float), np.moveaxis(at, 2, 0)[::-1], order=1, mode="nearest")
    np.testing.assert_allclose(band.grey, told / 255, atol=1e-6)
    assert 0.5 < band.inside.mean() < 0.8


def test_eight_and_sixteen_bits_sample_the_same():
    """The same numbers, so that no path found on them can differ."""
    eight = photo(np.random.default_rng(2).integers(0, 256, (240, 300)).astype(np.uint8))
    sixteen = photo(eight.grey.astype(np.uint16) * 257)
    one, two = (band_along(p, RING, half_px=9, arcs=90, rays=2).grey for p in (eight, sixteen))
    np.testing.assert_array_equal(one, two)
    one, two = (reduced(p, RING, radius_px=25, reach=1.5).grey for p in (eight, sixteen))
    np.testing.assert_array_equal(one, two)


@given(
    st.floats(80, 220), st.floats(80, 160), st.floats(10, 120), st.floats(12, 60), st.floats(1, 2)
)
def test_reduced_pictures_shrink_and_grow_back(x, y, m, radius, reach):
    ring = Ellipse(x, y, m, 0.02 * m, -0.01 * m)
    small = reduced(photo(ramp()), ring, radius_px=radius, reach=reach)
    back = small.grow(small.shrink(ring))
    for name in ("x", "y", "m", "e", "f"):
        assert getattr(back, name) == pytest.approx(getattr(ring, name), abs=1e-9)


@given(st.floats(100, 200), st.floats(90, 150), st.floats(20, 80))
def test_a_reduced_ramp_has_its_value_where_the_full_one_has(x, y, m):
    """No half-pixel shift: the light at the ring's centre is the same in both."""
    ring = Ellipse(x, y, m)
    small = reduced(photo(ramp()), ring, radius_px=15, reach=1.1)
    there = small.shrink(ring)
    values, inside = rays_from(small.grey, there, np.array([0.3]), np.array([0.0]))
    assert inside.all()
    assert 65535 * values[0, 0] == pytest.approx(40 * x + 90 * y + 1000, abs=2.0)
