"""The colours of a file, decoded beside its grey values."""

import cv2
import numpy as np
import pytest
from PIL import Image

from rimread.colour import half_size_colour, in_channel
from rimread.photo import read_photo

LOSSLESS = [".png", ".bmp", ".tif"]
PATCH = (20, 40, 230)


def patch(dtype=np.uint8, times=1):
    """Red on grey, of odd height."""
    picture = np.full((101, 160, 3), 120, dtype)
    picture[60:80, 20:60] = PATCH
    return picture * np.asarray(times, dtype)


def read_back(picture, path, *params):
    cv2.imwrite(str(path), picture, params)
    return read_photo(path)


@pytest.mark.parametrize("suffix", [".jpg", *LOSSLESS])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_picture_without_colour_has_none(tmp_path, suffix, dtype):
    grey = np.random.default_rng(1).integers(0, 255, (80, 90)).astype(dtype)
    if dtype == np.uint8 or suffix in {".png", ".tif"}:
        photo = read_back(grey, tmp_path / f"grey{suffix}")
        assert half_size_colour(photo) is None
        with pytest.raises(ValueError, match="a photo in colour"):
            in_channel(photo, "red")


@pytest.mark.parametrize("suffix", [".jpg", *LOSSLESS])
def test_colour_is_that_of_the_place(tmp_path, suffix):
    photo = read_back(patch(), tmp_path / f"patch{suffix}", cv2.IMWRITE_JPEG_QUALITY, 95)
    colour = half_size_colour(photo).astype(float)
    assert abs(colour.shape[0] - 101 / 2) <= 0.5
    assert colour.shape[1:] == (80, 3)
    assert np.allclose(colour[32:38, 12:28].mean(axis=(0, 1)), PATCH, atol=3)
    assert np.allclose(colour[:20], 120, atol=2)


@pytest.mark.parametrize(("bits", "times"), [(12, 16), (14, 64), (16, 256)])
@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_deep_colour_is_scaled_by_the_full_light_of_its_brightest_channel(
    tmp_path, bits, times, suffix
):
    """The luma of the red patch alone would do with two bits less."""
    picture = patch(np.uint16, times)
    picture[..., :2] //= 16
    picture[0, 0] = (0, 0, 2**bits - 2)  # an odd value: no 8 bits stored in 16
    photo = read_back(picture, tmp_path / f"deep{suffix}")
    assert photo.full_scale == (65535 if bits == 16 else 2**bits - 1)
    assert float(half_size_colour(photo)[35, 20, 2]) == pytest.approx(230, abs=1)


@pytest.mark.parametrize("suffix", LOSSLESS)
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_channel_is_as_stored(tmp_path, suffix, dtype):
    if dtype == np.uint8 or suffix != ".bmp":
        picture = np.random.default_rng(2).integers(0, 2**8, (81, 90, 3)).astype(dtype)
        photo = read_back(picture, tmp_path / f"noise{suffix}")
        for index, channel in enumerate(("blue", "green", "red")):
            one = in_channel(photo, channel)
            assert np.array_equal(one.grey, picture[..., index])
            assert (one.channel, one.sha256, one.tone) == (channel, photo.sha256, photo.tone)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["TIFF", "JPEG"])
def test_a_channel_lies_as_the_luma_does(tmp_path, orientation, form):
    """However the file says it is turned."""
    exif = Image.Exif()
    exif[274] = orientation
    path = tmp_path / "turned"
    Image.fromarray(patch()[..., ::-1].copy()).save(
        path, form, exif=exif, quality=95, subsampling=0
    )
    photo = read_photo(path)
    red = in_channel(photo, "red").grey
    assert red.shape == photo.grey.shape == (101, 160)
    assert np.abs(red[62:78, 22:58].astype(int) - 230).max() <= 6
    assert float(half_size_colour(photo)[35, 20, 2]) == pytest.approx(230, abs=4)


@pytest.mark.parametrize(("subsampling", "blur"), [(0, False), (1, True), (2, True)])
def test_where_colours_are_coarse_a_channel_is_as_coarse_as_they(tmp_path, subsampling, blur):
    """So that an edge of the luma does not show through: green clips in a step of grey light."""
    light = np.where(np.arange(160) < 80, 0.3, 1.0)
    picture = np.zeros((100, 160, 3), np.uint8)
    picture[...] = np.clip(np.outer(light, (100, 400, 100)), 0, 255).astype(np.uint8)  # red, ...
    path = tmp_path / "step.jpg"
    Image.fromarray(picture).save(path, quality=98, subsampling=subsampling)
    row = in_channel(read_photo(path), "red").grey.astype(float).mean(axis=0)
    assert row.shape == (160,)
    assert row[:70].mean() == pytest.approx(30, abs=3)
    assert row[90:].mean() == pytest.approx(100, abs=3)
    assert (np.interp(80, np.arange(160), row) < 95) == blur
    assert row[[78, 79, 80, 81]].mean() == pytest.approx(65, abs=4)  # and in the same place


def test_there_are_three_channels(tmp_path):
    photo = read_back(patch(), tmp_path / "patch.png")
    with pytest.raises(ValueError, match="a channel of a photo"):
        in_channel(photo, "cyan")
