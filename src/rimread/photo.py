"""Reading a picture: grey values, tone, provenance.

Pixels: x right, y down, the centre of the top-left pixel is (0, 0).

A picture is taken as the sensor wrote it. The orientation tag (EXIF 0x0112) is not applied: the
scale belongs to the rows and columns of the sensor, and in a camera that looks down a tube the tag
is whatever its gravity sensor made of it.
"""

from __future__ import annotations

import hashlib
import io
import os
import stat
import struct
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal, TypeVar, get_args

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, UnidentifiedImageError

from rimread import jpeg
from rimread.tone_tags import Tone, tone_said

__all__ = [
    "DAMAGED",
    "ENDINGS",
    "FORMATS",
    "MOST_PIXELS",
    "Channel",
    "Photo",
    "PhotoError",
    "Tone",
    "as_stored",
    "linear_light",
    "orientation",
    "read_photo",
]

MOST_PIXELS = 100_000_000
"""Largest picture read; the work on it takes about 35 bytes a pixel."""

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp")
"""Endings, in small letters, of files that are taken for photos where a folder is gone through."""

LEAST_SIDE_PX = 64
"""Smallest side of a picture; no indent that can be measured fits into less."""

MOST_BYTES = 1_000_000_000
"""Largest file read: `MOST_PIXELS` of 16-bit colour with room to spare."""

Channel = Literal["blue", "green", "red"]
"""As OpenCV orders them."""

_Depth = TypeVar("_Depth", np.uint8, np.uint16)

FORMATS = ("JPEG", "PNG", "TIFF", "BMP", "GIF", "WEBP")
_AS_CODED = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
_ALL_CHANNELS = cv2.IMREAD_ANYCOLOR | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
_NO_COLOUR = ("1", "L", "LA")

DAMAGED = (OSError, SyntaxError, struct.error, EOFError, ValueError, TypeError)
"""What Pillow raises of a damaged file: tags may be of another type than theirs, or missing."""

_TIFF_BITS, _TIFF_PHOTOMETRIC = 258, 262
_TIFF_WHITE_IS_ZERO = 0


class PhotoError(ValueError):
    """A file that cannot be taken as a photo; the message names the file and the rule."""


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Photo:
    """A picture as grey values with where it came from.

    Parameters
    ----------
    grey : ndarray, shape (height, width), uint8 or uint16
        Luma (ITU-R BT.601), or one channel, as coded in the file, before the tone curve is undone,
        in the orientation of the sensor.
    tone : {"srgb", "linear"}
        How grey values follow light.
    name : str
        File name without its folder.
    sha256 : str
        Hash of the file's bytes, lower-case hexadecimal.
    jpeg_quality : int or None
        Estimated quality of the compression, None when the file is not a JPEG.
    tone_stated : bool
        True when the user or the file said what the tone curve is, False when it was assumed.
    white : int or None
        Grey value of full light when it is less than the pixel can hold: linear 10, 12 or 14 bit
        values in 16-bit pixels, or where light was clipped (`rimread.rim.white`).
    coded : bytes or None
        The file, for `rimread.colour`; None when it has no colour.
    channel : {"blue", "green", "red"} or None
        The colour that `grey` is, None for luma.

    Raises
    ------
    ValueError
        If `grey` is of another shape or kind of number, or there is no such tone.
    """

    grey: NDArray[np.uint8] | NDArray[np.uint16]
    tone: Tone
    name: str
    sha256: str
    jpeg_quality: int | None = None
    tone_stated: bool = False
    white: int | None = None
    coded: bytes | None = None
    channel: Channel | None = None

    def __post_init__(self) -> None:
        """Judge what a caller may have made of a camera's array; see Raises."""
        dtype, shape = self.grey.dtype, self.grey.shape
        if dtype not in (np.uint8, np.uint16) or len(shape) != 2:
            raise ValueError(
                f"grey values are (height, width) of uint8 or uint16 (got {shape} of {dtype})"
            )
        if self.tone not in get_args(Tone):
            raise ValueError(f"tone is one of {', '.join(get_args(Tone))} (got {self.tone!r})")

    @property
    def width_px(self) -> int:
        """Width of the picture in pixels."""
        return int(self.grey.shape[1])

    @property
    def height_px(self) -> int:
        """Height of the picture in pixels."""
        return int(self.grey.shape[0])

    @property
    def full_scale(self) -> int:
        """Grey value of full light."""
        return self.white if self.white is not None else int(np.iinfo(self.grey.dtype).max)


def linear_light(
    photo: Photo, values: NDArray[np.floating] | NDArray[np.integer]
) -> NDArray[np.float32]:
    """Light in fractions of full scale from coded grey values.

    Parameters
    ----------
    photo : Photo
        Says what the tone curve and full scale are.
    values : ndarray
        Grey values as coded, any shape; integers must be from `photo` (0 to the largest value its
        pixels can hold) and go through a table, others (means, interpolations) are computed.
    """
    if np.issubdtype(values.dtype, np.integer):
        table = _table(photo.tone, photo.full_scale, int(np.iinfo(photo.grey.dtype).max))
        return np.asarray(table[values])
    coded = np.asarray(values, dtype=np.float32) / np.float32(photo.full_scale)
    return _undo(photo.tone, coded)


def read_photo(path: Path, *, tone: Tone | None = None) -> Photo:
    """Read one picture: JPEG, PNG, TIFF, BMP, or a GIF or WebP that holds a single one.

    Parameters
    ----------
    path : Path
        The file.
    tone : {"srgb", "linear"}, optional
        The tone curve of the camera; by default what the file says, else linear for 10, 12 or 14
        bit values in 16-bit pixels (sensor values as they come), else sRGB.

    Raises
    ------
    PhotoError
        (A ValueError.) If there is no such file, it is no picture, is cut short, holds several
        pictures, has other than 8 or 16 bits, or is smaller or larger than can be worked on.
    """
    path = Path(path)
    data = _bytes(path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # odd tags and large sizes: judged here, not by Pillow
        try:
            with Image.open(io.BytesIO(data), formats=FORMATS) as image:
                return _photo(path, data, image, tone)
        except PhotoError:
            raise
        except UnidentifiedImageError:
            raise PhotoError(
                f"{path}: not a picture in a known format ({', '.join(FORMATS)})"
            ) from None
        except Image.DecompressionBombError:
            raise PhotoError(
                f"{path}: more than the {MOST_PIXELS // 1_000_000} million pixels that are read"
            ) from None
        except DAMAGED as error:
            raise PhotoError(f"{path}: cut short or damaged ({error})") from None


def _bytes(path: Path) -> bytes:
    try:
        _judge_file(path, path.stat())
        return path.read_bytes()
    except PhotoError:
        raise
    except (FileNotFoundError, NotADirectoryError, ValueError):  # or a name no system takes
        raise PhotoError(f"{path}: no such file") from None
    except OSError as error:
        raise PhotoError(f"{path}: cannot be read ({error.strerror})") from None


def _judge_file(path: Path, found: os.stat_result) -> None:
    if stat.S_ISDIR(found.st_mode):
        raise PhotoError(f"{path}: a folder; name the photos in it")
    if not stat.S_ISREG(found.st_mode):
        raise PhotoError(f"{path}: not an ordinary file")
    size = found.st_size
    if size == 0:
        raise PhotoError(f"{path}: the file is empty")
    if size > MOST_BYTES:
        raise PhotoError(f"{path}: {size} bytes; photos of up to {MOST_BYTES} bytes are read")


def _photo(path: Path, data: bytes, image: Image.Image, tone: Tone | None) -> Photo:
    _judge_header(path, image)
    grey, white = _grey(path, data, image)
    said = tone or tone_said(image)
    resolved: Tone = said or ("srgb" if white is None else "linear")
    return Photo(
        grey=grey,
        tone=resolved,
        name=path.name,
        sha256=hashlib.sha256(data).hexdigest(),
        jpeg_quality=jpeg.quality(image),
        tone_stated=said is not None,
        white=white if resolved == "linear" else None,
        coded=None if image.mode in _NO_COLOUR or image.mode.startswith("I") else data,
    )


def _judge_header(path: Path, image: Image.Image) -> None:
    width, height = image.size
    if min(width, height) < LEAST_SIDE_PX:
        raise PhotoError(
            f"{path}: {width} × {height} pixels; at least {LEAST_SIDE_PX} each way are needed"
        )
    if width * height > MOST_PIXELS:
        raise PhotoError(
            f"{path}: {width} × {height} pixels; up to {MOST_PIXELS // 1_000_000} million are read"
        )
    frames = getattr(image, "n_frames", 1)
    if frames > 1 and image.format != "MPO":  # a JPEG with previews behind the photo
        raise PhotoError(f"{path}: holds {frames} pictures; save the one to measure on its own")


def _grey(
    path: Path, data: bytes, image: Image.Image
) -> tuple[NDArray[np.uint8] | NDArray[np.uint16], int | None]:
    """Grey values and the largest value the camera can have meant."""
    if image.format in {"JPEG", "MPO"} and image.mode in {"L", "RGB"}:
        if not jpeg.ends(data):
            raise PhotoError(f"{path}: cut short, the end of the JPEG is missing")
        return _decode(path, data).astype(np.uint8, copy=False), None
    # both decoders turn a TIFF, and loading it drops the tag
    turned = orientation(image) if image.format == "TIFF" else 1
    image.load()  # raises when the file is cut short, which cv2 does not
    bits = _bits(image, data)
    if bits <= 8:
        return as_stored(np.asarray(image.convert("L")), turned), None
    if bits > 16 or image.mode == "F":
        raise PhotoError(f"{path}: {bits} bits a channel; photos of 8 or 16 bits are read")
    grey = _decode(path, data).astype(np.uint16, copy=False)
    if _tiff_tag(image, _TIFF_PHOTOMETRIC) == _TIFF_WHITE_IS_ZERO:
        grey = np.iinfo(np.uint16).max - grey
    white = _white(grey)
    if white is not None and image.mode not in _NO_COLOUR:  # one channel goes higher than the luma
        white = _white(_decode(path, data, _ALL_CHANNELS).astype(np.uint16, copy=False))
    return as_stored(grey, turned), white


def _decode(path: Path, data: bytes, flags: int = _AS_CODED) -> NDArray[np.generic]:
    """Decode with OpenCV: skips the chroma of a JPEG and keeps 16 bits."""
    try:
        grey = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    except cv2.error as error:
        raise PhotoError(f"{path}: cannot be decoded ({error.err})") from None
    if grey is None or grey.dtype not in (np.uint8, np.uint16):
        raise PhotoError(f"{path}: cannot be decoded; save it as an 8 or 16 bit PNG or TIFF")
    return np.asarray(grey)


def _bits(image: Image.Image, data: bytes) -> int:
    """Bits a channel, from the header."""
    if image.format == "PNG":
        return data[24]  # IHDR, bit depth (PNG specification, 11.2.1)
    bits = _tiff_tag(image, _TIFF_BITS)
    if bits is None:
        return 8
    return max(bits) if isinstance(bits, tuple) else int(bits)


def _tiff_tag(image: Image.Image, tag: int) -> tuple[int, ...] | int | None:
    tags: Mapping[int, tuple[int, ...] | int] = getattr(image, "tag_v2", {})
    return tags.get(tag)


def _white(values: NDArray[np.uint16]) -> int | None:
    """Full light of 10, 12 or 14 bit sensor values stored in 16 bits, None for all 16.

    A dark picture of 8 bits stored in 16 has none of its values between the 256 steps.
    """
    top = int(values.max())
    white = next((2**bits - 1 for bits in (10, 12, 14) if top < 2**bits), None)
    steps = any(not np.any(values % step) for step in (256, 257)) if white else False
    return None if steps else white


# -- tone ---------------------------------------------------------------------------------------


@lru_cache(maxsize=8)
def _table(tone: Tone, full_scale: int, top: int) -> NDArray[np.float32]:
    coded = np.arange(top + 1, dtype=np.float32) / np.float32(full_scale)
    table = _undo(tone, coded)
    table.flags.writeable = False
    return table


def _undo(tone: Tone, coded: NDArray[np.float32]) -> NDArray[np.float32]:
    """Light from code, both in fractions of full scale (sRGB: IEC 61966-2-1, inverse transfer)."""
    if tone == "linear":
        return coded
    high = ((np.maximum(coded, 0) + np.float32(0.055)) / np.float32(1.055)) ** np.float32(2.4)
    return np.where(coded <= 0.04045, coded / np.float32(12.92), high).astype(np.float32)


# -- orientation --------------------------------------------------------------------------------


def as_stored(grey: NDArray[_Depth], orientation: int) -> NDArray[_Depth]:
    """Undo the turning or mirroring a decoder made for an orientation tag (TIFF 6.0, 274)."""
    if orientation in {5, 6, 7, 8}:
        grey = grey.swapaxes(0, 1)
    if orientation in {2, 3, 7, 8}:  # right to left
        grey = grey[:, ::-1]
    if orientation in {3, 4, 6, 7}:  # bottom to top
        grey = grey[::-1]
    return np.ascontiguousarray(grey)


def orientation(image: Image.Image) -> int:
    """Orientation tag, 1 (as stored) when it is missing or not one of the eight."""
    tag = image.getexif().get(ExifTags.Base.Orientation, 1)
    return tag if tag in range(1, 9) else 1
