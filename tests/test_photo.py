"""Reading pictures of every kind a shop's camera or archive may hold."""

import contextlib
import errno
import hashlib
import struct
import sys
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from rimread.photo import MOST_PIXELS, Photo, PhotoError, linear_light, read_photo

HEIGHT, WIDTH = 80, 120


@pytest.fixture
def grey() -> np.ndarray:
    """A smooth picture, so that compression leaves it nearly as it was."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    return (100 + 60 * np.sin(x / 17) + 40 * np.cos(y / 11)).astype(np.uint8)


def saved(picture: Image.Image, path: Path, **options: object) -> Path:
    picture.save(path, **options)
    return path


# -- what can be read ---------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif", ".bmp", ".webp"])
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_reads_common_formats(tmp_path, grey, suffix, mode):
    path = saved(Image.fromarray(grey).convert(mode), tmp_path / f"a{suffix}", quality=95)
    photo = read_photo(path)
    assert (photo.width_px, photo.height_px) == (WIDTH, HEIGHT)
    assert photo.grey.dtype == np.uint8
    assert np.abs(photo.grey.astype(int) - grey).mean() < 1.5
    assert photo.name == path.name
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("mode", ["P", "LA", "RGBA", "CMYK", "1"])
def test_reads_other_colour_modes(tmp_path, grey, mode):
    suffix = ".tif" if mode == "CMYK" else ".png"
    picture = Image.fromarray(grey if mode != "1" else (grey > 100).astype(np.uint8) * 255)
    path = saved(picture.convert(mode), tmp_path / f"a{suffix}")
    assert np.abs(read_photo(path).grey.astype(int) - np.asarray(picture)).max() <= 2


def test_reads_cmyk_jpeg(tmp_path, grey):
    path = saved(Image.fromarray(grey).convert("CMYK"), tmp_path / "a.jpg", quality=95)
    assert np.abs(read_photo(path).grey.astype(int) - grey).max() <= 6


def test_transparency_is_ignored(tmp_path, grey):
    picture = Image.fromarray(grey).convert("RGBA")
    picture.putalpha(Image.fromarray(np.zeros_like(grey)))
    assert np.array_equal(read_photo(saved(picture, tmp_path / "a.png")).grey, grey)


@pytest.mark.parametrize("suffix", [".png", ".tif"])
@pytest.mark.parametrize("channels", [1, 3, 4])
def test_keeps_16_bits(tmp_path, grey, suffix, channels):
    deep = grey.astype(np.uint16) * 257
    path = tmp_path / f"a{suffix}"
    cv2.imwrite(str(path), deep if channels == 1 else np.dstack([deep] * channels))
    photo = read_photo(path)
    assert photo.grey.dtype == np.uint16
    assert np.abs(photo.grey.astype(int) - deep).max() <= 2
    assert photo.full_scale == 65535


def test_16_bit_tiff_with_white_as_zero_is_turned_round(tmp_path, grey):
    deep = grey.astype(np.uint16) * 257
    path = saved(Image.fromarray(65535 - deep), tmp_path / "a.tif", tiffinfo={262: 0})
    assert np.array_equal(read_photo(path).grey, deep)


@pytest.mark.parametrize("full", [1023, 4095, 16383, 65535])  # 10, 12, 14 and 16 bits
def test_full_scale_of_sensor_values(tmp_path, grey, full):
    deep = (grey.astype(np.uint32) * full // 255).astype(np.uint16)
    path = saved(Image.fromarray(deep), tmp_path / "a.png")
    assert read_photo(path, tone="linear").full_scale == full
    assert read_photo(path, tone="srgb").full_scale == 65535  # coded values fill what they have
    unsaid = read_photo(path)
    assert unsaid.tone == ("linear" if full < 65535 else "srgb")
    assert not unsaid.tone_stated
    assert unsaid.full_scale == full


@pytest.mark.parametrize("step", [256, 257])
@pytest.mark.parametrize("brightest", [3, 15, 60, 255])
def test_a_dark_picture_of_8_bits_in_16_stays_dark(tmp_path, grey, step, brightest):
    """However dark it is, its values are no sensor's: nothing lies between the 256 steps."""
    dark = (grey.astype(np.uint32) * brightest // 255).astype(np.uint16)
    photo = read_photo(saved(Image.fromarray(step * dark), tmp_path / "dark.png"))
    assert (photo.tone, photo.white, photo.full_scale) == ("srgb", None, 65535)


@pytest.mark.parametrize(
    ("array", "tone", "says"),
    [
        (np.zeros((64, 64), np.int32), "srgb", "uint8 or uint16"),
        (np.zeros((64, 64), float), "srgb", "uint8 or uint16"),
        (np.zeros((64, 64, 3), np.uint8), "srgb", r"\(64, 64, 3\)"),
        (np.zeros((64, 64), np.uint8), "Linear", "one of srgb, linear"),
    ],
)
def test_an_array_that_is_no_picture_is_misuse(array, tone, says):
    with pytest.raises(ValueError, match=says):
        Photo(grey=array, tone=tone, name="camera", sha256="")


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_orientation_is_not_applied(tmp_path, grey, orientation, suffix):
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = saved(Image.fromarray(grey), tmp_path / f"a{suffix}", exif=exif, quality=95)
    photo = read_photo(path)
    assert (photo.width_px, photo.height_px) == (WIDTH, HEIGHT)
    assert np.abs(photo.grey.astype(int) - grey).max() <= 6


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_orientation_is_not_applied_to_16_bits(tmp_path, grey, orientation, suffix):
    deep = grey.astype(np.uint16) * 257
    exif = Image.Exif()
    exif[0x0112] = orientation
    photo = read_photo(saved(Image.fromarray(deep), tmp_path / f"a{suffix}", exif=exif))
    assert np.array_equal(photo.grey, deep)


def test_preview_behind_a_camera_jpeg_is_no_animation(tmp_path, grey):
    picture = Image.fromarray(grey).convert("RGB")
    path = tmp_path / "a.jpg"
    picture.save(path, format="MPO", save_all=True, append_images=[picture.resize((60, 40))])
    photo = read_photo(path)
    assert (photo.width_px, photo.height_px) == (WIDTH, HEIGHT)
    assert photo.jpeg_quality is not None


@pytest.mark.parametrize("quality", [10, 40, 60, 75, 85, 92, 98, 100])
def test_jpeg_quality_is_what_it_was_saved_with(tmp_path, grey, quality):
    path = saved(Image.fromarray(grey).convert("RGB"), tmp_path / "a.jpg", quality=quality)
    assert read_photo(path).jpeg_quality == quality


def test_no_quality_without_jpeg(tmp_path, grey):
    assert read_photo(saved(Image.fromarray(grey), tmp_path / "a.png")).jpeg_quality is None


def test_jpeg_luma_is_the_one_of_a_second_decoder(tmp_path, grey):
    picture = Image.fromarray(np.dstack([grey, np.roll(grey, 9, 1), 255 - grey]))
    path = saved(picture, tmp_path / "a.jpg", quality=95, subsampling=0)
    ours = read_photo(path).grey.astype(int)
    assert np.abs(ours - np.asarray(Image.open(path).convert("L"))).max() <= 2


# -- tone ---------------------------------------------------------------------------------------


def png_with(chunks: list[tuple[bytes, bytes]], grey: np.ndarray, path: Path) -> Path:
    """A PNG with ancillary chunks put in behind its header."""
    data = saved(Image.fromarray(grey), path).read_bytes()
    extra = b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    )
    path.write_bytes(data[:33] + extra + data[33:])
    return path


@pytest.mark.parametrize(
    ("chunk", "tone", "stated"),
    [
        ((b"gAMA", struct.pack(">I", 100000)), "linear", True),
        ((b"gAMA", struct.pack(">I", 45455)), "srgb", True),
        ((b"gAMA", struct.pack(">I", 75000)), "srgb", False),
        ((b"sRGB", b"\0"), "srgb", True),
    ],
)
def test_tone_from_png_chunks(tmp_path, grey, chunk, tone, stated):
    photo = read_photo(png_with([chunk], grey, tmp_path / "a.png"))
    assert (photo.tone, photo.tone_stated) == (tone, stated)


def test_tone_is_srgb_and_called_assumed_when_nothing_is_said(tmp_path, grey):
    photo = read_photo(saved(Image.fromarray(grey), tmp_path / "a.png"))
    assert (photo.tone, photo.tone_stated) == ("srgb", False)


def test_stated_tone_wins(tmp_path, grey):
    path = png_with([(b"sRGB", b"\0")], grey, tmp_path / "a.png")
    photo = read_photo(path, tone="linear")
    assert (photo.tone, photo.tone_stated) == ("linear", True)


def test_tone_from_exif_colour_space(tmp_path, grey):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA001] = 1
    path = saved(Image.fromarray(grey), tmp_path / "a.jpg", exif=exif)
    assert read_photo(path).tone_stated


@pytest.mark.parametrize(("gamma", "tone"), [(1.0, "linear"), (2.2, "srgb")])
def test_tone_from_exif_gamma(tmp_path, grey, gamma, tone):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA500] = gamma
    photo = read_photo(saved(Image.fromarray(grey), tmp_path / "a.jpg", exif=exif))
    assert (photo.tone, photo.tone_stated) == (tone, True)


def test_raw_files_are_refused_by_name(tmp_path, grey):
    path = saved(Image.fromarray(grey), tmp_path / "a.tif")
    data = bytearray(path.read_bytes())
    at = data.find(struct.pack("<HHI", 262, 3, 1))
    data[at + 8 : at + 10] = struct.pack("<H", 34892)  # LinearRaw, as in a DNG
    path.write_bytes(bytes(data))
    with pytest.raises(PhotoError, match=r"a\.tif: not a picture in a known format"):
        read_photo(path)


def test_tone_from_the_srgb_profile(tmp_path, grey):
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    photo = read_photo(
        saved(Image.fromarray(grey).convert("RGB"), tmp_path / "a.jpg", icc_profile=icc)
    )
    assert (photo.tone, photo.tone_stated) == ("srgb", True)


def profile(curve: bytes) -> bytes:
    """The least of a grey profile: header, one tag, its curve."""
    return bytes(128) + struct.pack(">I4sII", 1, b"kTRC", 144, len(curve)) + curve


@pytest.mark.parametrize(
    ("curve", "tone", "stated"),
    [
        (b"curv" + struct.pack(">II", 0, 0), "linear", True),
        (b"curv" + struct.pack(">IIH", 0, 1, 256), "linear", True),
        (b"curv" + struct.pack(">IIH", 0, 1, 563), "srgb", True),
        (b"curv" + struct.pack(">II3H", 0, 3, 0, 32768, 65535), "linear", True),
        (b"para" + struct.pack(">IHHi", 0, 0, 0, 65536), "linear", True),
        (b"para" + struct.pack(">IHHi", 0, 0, 0, 144179), "srgb", True),
        (b"mft2" + bytes(20), "srgb", False),
        (b"curv", "srgb", False),
    ],
)
def test_tone_from_a_profile_curve(tmp_path, grey, curve, tone, stated):
    path = saved(Image.fromarray(grey), tmp_path / "a.tif", icc_profile=profile(curve))
    photo = read_photo(path)
    assert (photo.tone, photo.tone_stated) == (tone, stated)


def flat(tone: str, dtype: type = np.uint8) -> Photo:
    return Photo(grey=np.zeros((64, 64), dtype), tone=tone, name="", sha256="")


def test_srgb_against_published_values():
    # IEC 61966-2-1: 0.04045 is the joint; code 188 of 255 is about half the light (common practice)
    coded = np.array([0, 10, 128, 188, 255], dtype=np.uint8)
    light = linear_light(flat("srgb"), coded)
    assert np.allclose(light, [0, 10 / 255 / 12.92, 0.21586, 0.50289, 1.0], atol=2e-5)


def test_srgb_against_scikit_image():
    from skimage.color import rgb2xyz  # noqa: PLC0415

    codes = np.arange(256, dtype=np.uint8)
    theirs = rgb2xyz(np.dstack([codes] * 3).reshape(-1, 1, 3))[:, 0, 1]  # Y of a grey is its light
    assert np.allclose(linear_light(flat("srgb"), codes), theirs, atol=1e-5)


@pytest.mark.parametrize("tone", ["srgb", "linear"])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@given(share=st.floats(0, 1))
def test_table_and_formula_agree(tone, dtype, share):
    photo = flat(tone, dtype)
    code = np.array([round(share * photo.full_scale)], dtype=dtype)
    light = linear_light(photo, code)
    assert light.dtype == np.float32
    assert np.allclose(light, linear_light(photo, code.astype(np.float64)), atol=1e-6)


# -- what cannot --------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif", ".bmp", ".webp"])
@pytest.mark.parametrize("share", [0.01, 0.3, 0.6, 0.95])
def test_truncated_is_refused(tmp_path, suffix, share):
    noisy = np.random.default_rng(1).integers(0, 256, (HEIGHT, WIDTH, 3), dtype=np.uint8)
    path = saved(Image.fromarray(noisy), tmp_path / f"a{suffix}")
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(PhotoError, match=r"a\.\w+: "):
        read_photo(path)


def test_truncated_jpeg_with_a_whole_preview_is_refused(tmp_path, grey):
    preview = saved(Image.fromarray(grey).resize((60, 40)), tmp_path / "p.jpg").read_bytes()
    path = saved(Image.fromarray(grey), tmp_path / "a.jpg", quality=95)
    data = path.read_bytes()
    block = b"\xff\xe1" + struct.pack(">H", len(preview) + 8) + b"ABCDE\0" + preview
    path.write_bytes(data[:2] + block + data[2:])
    assert read_photo(path).width_px == WIDTH
    path.write_bytes((data[:2] + block + data[2:])[:-200])
    with pytest.raises(PhotoError, match="cut short"):
        read_photo(path)


def test_missing_folder_empty_and_text(tmp_path):
    on_windows = sys.platform == "win32"
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "text.jpg").write_text("no picture", encoding="utf-8")
    for name, rule in [
        ("missing.jpg", "no such file"),
        (".", "a folder"),
        ("empty.jpg", "empty"),
        ("text.jpg", "not a picture"),
        ("text.jpg/below.jpg", "no such file"),
        ("nul\0.jpg", "no such file"),
        ("long" * 75 + ".jpg", "no such file|cannot be read" if on_windows else "cannot be read"),
    ]:
        with pytest.raises(PhotoError, match=rule):
            read_photo(tmp_path / name)


def test_a_folder_that_is_locked(tmp_path, monkeypatch):
    """Whoever runs the tests may be root, whom no folder is locked to."""

    def locked(self, **_how):
        raise PermissionError(errno.EACCES, "Permission denied", str(self))

    monkeypatch.setattr(Path, "stat", locked)
    with pytest.raises(PhotoError, match=r"cannot be read \(Permission denied\)"):
        read_photo(tmp_path / "a.jpg")


def test_one_pixel_is_refused(tmp_path):
    path = saved(Image.new("L", (1, 1)), tmp_path / "a.png")
    with pytest.raises(PhotoError, match="1 × 1 pixels"):
        read_photo(path)


@pytest.mark.parametrize("side", [10_001, 14_143, 60_000])
def test_too_many_pixels_are_refused_without_decoding(tmp_path, side):
    assert side * side > MOST_PIXELS
    path = saved(Image.new("L", (64, 64)), tmp_path / "a.png")
    data = bytearray(path.read_bytes())
    data[16:24] = struct.pack(">II", side, side)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    path.write_bytes(bytes(data))
    with pytest.raises(PhotoError, match="100 million"):
        read_photo(path)


@pytest.mark.parametrize("suffix", [".gif", ".png", ".tif", ".webp"])
def test_several_pictures_in_one_file_are_refused(tmp_path, grey, suffix):
    frames = [Image.fromarray(np.roll(grey, 10 * i, 0)) for i in range(3)]
    path = tmp_path / f"a{suffix}"
    frames[0].save(path, save_all=True, append_images=frames[1:])
    with pytest.raises(PhotoError, match="3 pictures"):
        read_photo(path)


@pytest.mark.parametrize("dtype", [np.float32, np.int32])
def test_other_depths_are_refused(tmp_path, grey, dtype):
    path = saved(Image.fromarray(grey.astype(dtype)), tmp_path / "a.tif")
    with pytest.raises(PhotoError, match="8 or 16 bits"):
        read_photo(path)


@given(
    data=st.binary(max_size=400),
    head=st.sampled_from([b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"BM"]),
)
def test_any_bytes_give_a_photo_error(tmp_path_factory, data, head):
    path = tmp_path_factory.mktemp("any") / "a.jpg"
    path.write_bytes(head + data)
    with pytest.raises(PhotoError, match=r"a\.jpg"):
        read_photo(path)


@pytest.mark.parametrize(
    ("suffix", "place", "value"),
    [
        ("tif", 10, 9),  # the width has another tag
        ("tif", 12, 11),  # and is a fraction
        ("tif", 12, 7),  # or bytes
        ("tif", 16, 1),  # or many numbers
        ("tif", 36, 2),  # bits a channel are a word
        ("png", 11, 5),  # a header of five bytes
    ],
)
def test_damaged_tags_are_told(tmp_path, suffix, place, value):
    """What Pillow says of them are faults of several types."""
    path = tmp_path / f"a.{suffix}"
    data = bytearray(saved(Image.linear_gradient("L"), path).read_bytes())
    data[place] = value
    path.write_bytes(bytes(data))
    with pytest.raises(PhotoError, match=r"damaged|not a picture"):
        read_photo(path)


@given(
    place=st.one_of(st.integers(0, 150), st.integers(0, 1 << 16)),
    value=st.integers(0, 255),
    suffix=st.sampled_from(["jpg", "png", "tif", "bmp"]),
)
def test_one_damaged_byte_gives_a_photo_or_a_photo_error(tmp_path_factory, place, value, suffix):
    path = tmp_path_factory.mktemp("any") / f"a.{suffix}"
    data = bytearray(saved(Image.linear_gradient("L"), path).read_bytes())
    data[min(place, len(data) - 1)] = value
    path.write_bytes(bytes(data))
    with contextlib.suppress(PhotoError):
        assert read_photo(path).grey.ndim == 2
