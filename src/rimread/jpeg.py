"""What a JPEG file says of itself: whether it is whole, and how strongly it is compressed."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from PIL import Image

__all__ = ["ends", "quality"]

_LUMA_TABLE = np.array(  # ITU-T T.81, table K.1
    [
        [16, 11, 10, 16, 24, 40, 51, 61],
        [12, 12, 14, 19, 26, 58, 60, 55],
        [14, 13, 16, 24, 40, 57, 69, 56],
        [14, 17, 22, 29, 51, 87, 80, 62],
        [18, 22, 37, 56, 68, 109, 103, 77],
        [24, 35, 55, 64, 81, 104, 113, 92],
        [49, 64, 78, 87, 103, 121, 120, 101],
        [72, 92, 95, 98, 112, 100, 103, 99],
    ]
)


def ends(data: bytes) -> bool:
    """Whether an end-of-image marker follows the first scan (ITU-T T.81, B.1.1.3)."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == 0xDA:  # start of scan; previews with their own end lie before it
            return data.rfind(b"\xff\xd9", at + length) >= 0
        at += 1 if marker == 0xFF else 2 + length
    return False


def quality(image: Image.Image) -> int | None:
    """Quality whose luma quantisation table comes closest to the file's, None without tables."""
    tables: Mapping[int, list[int]] = getattr(image, "quantization", {})
    if 0 not in tables:
        return None
    found = sum(tables[0])
    sums = _quantisation_sums()
    return min(range(1, 101), key=lambda one: abs(sums[one - 1] - found))


@lru_cache(maxsize=1)
def _quantisation_sums() -> tuple[int, ...]:
    """Sum of the luma table at quality 1 to 100, scaled as the IJG library does (jcparam.c)."""
    quality = np.arange(1, 101)
    scale = np.where(quality < 50, 5000 // quality, 200 - 2 * quality)
    tables = np.clip((_LUMA_TABLE[:, :, None] * scale + 50) // 100, 1, 255)
    return tuple(int(total) for total in tables.sum(axis=(0, 1)))
