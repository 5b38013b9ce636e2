"""Reading a picture: grey values, tone, provenance.

Pixels: x right, y down, the centre of the top-left pixel is (0, 0).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["Photo", "Tone", "linear_light", "read_photo"]

Tone = Literal["srgb", "linear"]


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A picture as grey values with where it came from.

    Parameters
    ----------
    grey : ndarray, shape (height, width), uint8 or uint16
        Luma as coded in the file, before the tone curve is undone.
    tone : {"srgb", "linear"}
        How grey values follow light.
    name : str
        File name without its folder.
    sha256 : str
        Hash of the file's bytes, lower-case hexadecimal.
    jpeg_quality : int or None
        Estimated quality of the compression, None when the file is not a JPEG.
    """

    grey: NDArray[np.uint8] | NDArray[np.uint16]
    tone: Tone
    name: str
    sha256: str
    jpeg_quality: int | None = None

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
        """Largest value a grey pixel can hold."""
        return int(np.iinfo(self.grey.dtype).max)


def linear_light(
    photo: Photo, values: NDArray[np.floating] | NDArray[np.integer]
) -> NDArray[np.float32]:
    """Light in fractions of full scale from coded grey values (IEC 61966-2-1, inverse transfer)."""
    v = np.asarray(values, dtype=np.float32) / photo.full_scale
    if photo.tone == "linear":
        return v
    low = v / np.float32(12.92)
    high = ((np.maximum(v, 0) + np.float32(0.055)) / np.float32(1.055)) ** np.float32(2.4)
    return np.where(v <= 0.04045, low, high).astype(np.float32)


def read_photo(path: Path, *, tone: Tone = "srgb") -> Photo:
    """Read one picture."""
    data = path.read_bytes()
    grey = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        raise ValueError(f"{path}: not a picture that can be read")
    return Photo(grey=grey, tone=tone, name=path.name, sha256=hashlib.sha256(data).hexdigest())
