"""How much neighbouring pixels differ beyond any plane: noise, and texture as fine as it."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["BLOCK", "block_means", "grain_of"]

F32 = NDArray[np.float32]

_LAPLACIAN = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32)
"""Blind to planes and straight edges along rows and columns; gain 6 on white noise
(J. Immerkaer, Fast noise variance estimation, CVIU 64 (1996) 300-302)."""
BLOCK = 16
"""Pixels on a side of a block."""


def grain_of(values: F32) -> F32:
    """What each pixel says of the noise about it.

    Parameters
    ----------
    values : ndarray, shape (height, width)

    Returns
    -------
    ndarray, shape (height, width)
        In the unit of `values`; its mean over white noise is the noise's standard deviation.
    """
    answer = np.abs(cv2.filter2D(values, cv2.CV_32F, _LAPLACIAN))
    return np.asarray(answer * np.float32(math.sqrt(math.pi / 2) / 6))


def block_means(values: F32) -> NDArray[np.float64]:
    """Means over whole blocks inside a margin of one pixel, flat."""
    inner = values[1:-1, 1:-1]
    down, across = (side // BLOCK for side in inner.shape)
    cut = inner[: down * BLOCK, : across * BLOCK].reshape(down, BLOCK, across, BLOCK)
    return np.asarray(cut.mean(axis=(1, 3), dtype=np.float64).ravel())
