"""Keeping a frame: a lossless file with its time, written whole or not at all."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image, PngImagePlugin

from rimread import whole
from rimread.capture.frame import Picture

__all__ = ["Kept", "keep", "png_bytes"]

_COMPRESS = 1  # noise does not compress; more effort costs a second and saves 3 %
_SRGB_CHUNK = b"\x00"  # perceptual intent (PNG specification, 11.3.2.5)
_SENSOR_TOP = 2**14
"""Smaller values in 16 bits are read as a sensor's, linear, where the file says nothing."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A picture on disk.

    Parameters
    ----------
    path : Path
        Where.
    sha256 : str
        Hash of the file's bytes, lower-case hexadecimal.
    taken_at : datetime.datetime
        When the frame arrived.
    """

    path: Path
    sha256: str
    taken_at: datetime


def keep(picture: Picture, folder: Path, *, taken_at: datetime, words: Mapping[str, str]) -> Kept:
    """Write a picture as PNG named after its time and hash.

    Parameters
    ----------
    picture : ndarray, (height, width) uint8 or uint16, or (height, width, 3) uint8
        Grey, or blue, green, red.
    folder : Path
        Made when it is missing.
    taken_at : datetime.datetime
        With its time zone.
    words : mapping of str to str
        What else the file is to say, as PNG text: camera, number of frames.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    data = png_bytes(picture, {"Creation Time": taken_at.isoformat(), **words})
    sha256 = hashlib.sha256(data).hexdigest()
    path = folder / f"{taken_at:%Y%m%d-%H%M%S}-{sha256[:8]}.png"
    whole.write(path, data, make_folder=True)
    return Kept(path, sha256, taken_at)


def png_bytes(picture: Picture, words: Mapping[str, str]) -> bytes:
    """PNG of a picture.

    It does not say what the tone curve is, for nobody has stated it: a reading takes sRGB, which
    cameras hand to OpenCV, as an assumption and counts it in U. Only a dark average has to say
    sRGB, as it would be taken for linear values of a sensor.

    Parameters
    ----------
    picture : ndarray
        As in `keep`.
    words : mapping of str to str
        What the file is to say, as PNG text.
    """
    told = PngImagePlugin.PngInfo()
    if _like_sensor_values(picture):
        told.add(b"sRGB", _SRGB_CHUNK)
    for key, text in words.items():
        told.add_itxt(key, text)
    shown = picture if picture.ndim == 2 else np.ascontiguousarray(picture[..., ::-1])
    stream = BytesIO()
    Image.fromarray(shown).save(stream, "PNG", pnginfo=told, compress_level=_COMPRESS)
    return stream.getvalue()


def _like_sensor_values(picture: Picture) -> bool:
    return picture.dtype == np.uint16 and int(picture.max()) < _SENSOR_TOP
