"""Light clipped below full scale: told from what is merely bright, and then never a wrong edge."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.diameters import diameters
from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim import find_rim
from rimread.rim.white import with_white

SIZE = (240, 320)


def bright(level, *, noise=2.0, share=0.1, seed=0, size=SIZE):
    """Grey values of light that rises across the picture, in its brightest `share` over `level`."""
    rise = np.interp(np.linspace(0, 1, size[1]), [0, 1 - share, 1], [0.2, 1.0, 1.5]) * level
    grey = np.broadcast_to(rise, size) + noise * np.random.default_rng(seed).standard_normal(size)
    return np.asarray(grey)


def photo_of(grey, kind=np.uint8, **more):
    coded = grey.round().clip(0, np.iinfo(kind).max).astype(kind)
    return Photo(grey=coded, tone="srgb", name="", sha256="", **more)


@given(st.integers(100, 245), st.floats(1.0, 5.0), st.floats(0.1, 0.6), st.integers(0, 99))
def test_where_light_was_clipped_is_found(level, noise, share, seed):
    grey = np.minimum(bright(level, noise=noise, share=share, seed=seed), level)
    assert with_white(photo_of(grey)).white == pytest.approx(level, abs=1)


@pytest.mark.parametrize("quality", [95, 85, 70])
@pytest.mark.parametrize("level", [180, 235])
def test_compression_does_not_hide_it(quality, level):
    grey = np.minimum(bright(level), level).round().astype(np.uint8)
    _, data = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, quality])
    photo = photo_of(cv2.imdecode(data, cv2.IMREAD_GRAYSCALE))
    assert with_white(photo).white == pytest.approx(level, abs=1)


@pytest.mark.parametrize(("white", "level"), [(None, 60_000), (4095, 3900)])
def test_of_deep_pixels_too(white, level):
    """A sensor may end before its digits do."""
    grey = np.minimum(bright(level, noise=level / 100), level)
    photo = photo_of(grey, np.uint16, white=white)
    assert with_white(photo).white == pytest.approx(level, rel=0.005)


@given(st.integers(100, 245), st.floats(0.4, 6.0), st.floats(0.0, 0.3), st.integers(0, 99))
def test_bright_light_is_not_clipped(level, noise, slope, seed):
    """Even metal, a slope of light: however level, it is no more so than what is darker."""
    rng = np.random.default_rng(seed)
    ground = level * np.linspace(1 - slope, 1, SIZE[1]) * np.ones((SIZE[0], 1))
    cv2.circle(ground, (160, 120), 70, 0.5 * level, -1)
    photo = photo_of(ground + noise * rng.standard_normal(SIZE))
    assert with_white(photo) is photo


@pytest.mark.parametrize("level", [0, 128, 235, 255])
def test_of_a_picture_of_one_value_nothing_is_said(level):
    photo = photo_of(np.full(SIZE, float(level)))
    assert with_white(photo) is photo


def test_light_clipped_at_full_scale_is_left_alone():
    photo = photo_of(np.minimum(bright(255), 255))
    assert with_white(photo) is photo


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("foot", "white"), [(16, 235), (0, 200)])
def test_clipped_light_moves_no_rim_when_its_white_is_lowered(simulated, seed, foot, white):
    """Video levels, or a photo darkened afterwards: refused as before, or read as before."""
    shot = simulated("clean", seed)
    grey = shot.picture.astype(np.float32) * np.float32(255 / np.iinfo(shot.picture.dtype).max)
    full = replace(
        photo_of(np.minimum(1.4 * grey, 255)), tone=shot.scene.camera.tone, tone_stated=True
    )
    lowered = replace(full, grey=(foot + full.grey * ((white - foot) / 255)).astype(np.uint8))
    before, after = find_rim(full), find_rim(lowered)
    if isinstance(before, Refusal):
        assert isinstance(after, Refusal)
        assert after.code == before.code
        return
    assert not isinstance(after, Refusal), after
    one, other = (diameters(rim, shot.scale) for rim in (before, after))
    assert abs(other.mean_mm - shot.truth[0].mean_mm) < other.budget.U
    assert abs(other.mean_mm - one.mean_mm) < 0.25 * one.budget.U
    assert after.clipped.mean() == pytest.approx(before.clipped.mean(), abs=0.05)
