"""What a picture file itself says about its tone curve."""

from __future__ import annotations

import struct
from typing import Literal

from PIL import ExifTags, Image

__all__ = ["Tone", "tone_said"]

Tone = Literal["srgb", "linear"]

_EXIF_GAMMA = 0xA500  # Exif 2.21, Gamma: coefficient of the reproduction, 1 = linear


def tone_said(image: Image.Image) -> Tone | None:
    """What the file itself says about its tone curve, None when it does not."""
    icc = image.info.get("icc_profile")
    if icc:
        return _tone_of_half(_icc_half(icc))
    if "srgb" in image.info:  # PNG sRGB chunk
        return "srgb"
    if image.info.get("gamma"):  # PNG gAMA chunk: the exponent of the encoding
        return _tone_of_half(0.5 ** (1.0 / image.info["gamma"]))
    exif = image.getexif().get_ifd(ExifTags.IFD.Exif)
    if exif.get(_EXIF_GAMMA):
        return _tone_of_half(0.5 ** float(exif[_EXIF_GAMMA]))
    return "srgb" if exif.get(ExifTags.Base.ColorSpace) == 1 else None


def _tone_of_half(light: float | None) -> Tone | None:
    """Tone from the light that half the code stands for: 0.5 linear, 0.21 sRGB, 0.29 gamma 1.8."""
    if light is None or 0.3 < light < 0.45:
        return None
    return "linear" if light >= 0.45 else "srgb"


def _icc_half(icc: bytes) -> float | None:
    """Light at half code by an ICC profile's grey or green curve (ICC.1:2022, 10.6 and 10.18)."""
    try:
        (count,) = struct.unpack_from(">I", icc, 128)
        tags = {sig: at for sig, at, _ in struct.iter_unpack(">4sII", icc[132 : 132 + 12 * count])}
        at = tags.get(b"kTRC", tags.get(b"gTRC"))
        if at is None:
            return None
        kind = icc[at : at + 4]
        if kind == b"para":  # gamma first in every type
            (gamma,) = struct.unpack_from(">i", icc, at + 12)
            return float(0.5 ** (gamma / 65536))
        if kind != b"curv":
            return None
        (points,) = struct.unpack_from(">I", icc, at + 8)
        curve = struct.unpack_from(f">{points}H", icc, at + 12)
    except struct.error:
        return None
    if points == 0:
        return 0.5
    return float(0.5 ** (curve[0] / 256)) if points == 1 else curve[points // 2] / 65535
