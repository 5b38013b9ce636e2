"""The photo averaged along the lines, and one cell fitted for each line and strip."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Cells", "Strips", "cells_of", "strips_of"]

FloatArray = NDArray[np.floating]

_STRIP_PX = 8
"""Height of the strips that are averaged along the lines; a trade of noise for place."""


@dataclass(frozen=True, slots=True, eq=False)
class Strips:
    """The photo averaged along the lines: values[strip, bin] at u, v."""

    angle: float
    values: FloatArray
    weight: FloatArray
    u: FloatArray
    v: FloatArray


def strips_of(light: NDArray[np.float32], angle: float) -> Strips:
    """Means over cells of 1 px along the scale and `_STRIP_PX` along the lines."""
    height, width = light.shape
    x = np.arange(width, dtype=np.float32) - np.float32((width - 1) / 2)
    y = np.arange(height, dtype=np.float32)[:, None] - np.float32((height - 1) / 2)
    cos, sin = np.float32(math.cos(angle)), np.float32(math.sin(angle))
    half = math.hypot(height, width) / 2 + 1
    columns = 2 * math.ceil(half) + 1
    rows = math.ceil(2 * half / _STRIP_PX)
    u_bin = np.rint(cos * x + sin * y + np.float32(half)).astype(np.int32)
    v_bin = ((cos * y - sin * x + np.float32(half)) / _STRIP_PX).astype(np.int32)
    cell = (v_bin * columns + u_bin).ravel()
    count = np.bincount(cell, minlength=rows * columns).reshape(rows, columns)
    total = np.bincount(cell, weights=light.ravel(), minlength=rows * columns)
    values = total.reshape(rows, columns) / np.maximum(count, 1)
    return Strips(
        angle=angle,
        values=values,
        weight=np.asarray(count, dtype=float),
        u=np.arange(columns) - half,
        v=(np.arange(rows) + 0.5) * _STRIP_PX - half,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """One cell for each line and strip: level, complex amplitude, lean, whether it is whole.

    `lean` is the odd part of the light, a quarter of a division from the middle.

    Arrays have the shape (strips, lines); line index = column + `first`.
    """

    mean: FloatArray
    wave: NDArray[np.complex128]
    lean: FloatArray
    whole: NDArray[np.bool_]
    first: int


def cells_of(strips: Strips, index: FloatArray) -> Cells:
    """Level, slope and sine of period one fitted in every cell of one line and one strip.

    Without the slope, uneven light would pass for a sine of the same phase everywhere.
    """
    seen = strips.weight > 0
    index, weight, values = index[seen], strips.weight[seen], strips.values[seen]
    line = np.rint(index).astype(int)
    first = int(line.min())
    lines = int(line.max()) - first + 1
    size = strips.v.size * lines
    group = np.nonzero(seen)[0] * lines + (line - first)
    local = index - line
    base = (np.ones(local.size), np.cos(2 * np.pi * local), np.sin(2 * np.pi * local), local)

    def summed(terms: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(group, weights=terms * weight, minlength=size), dtype=float)

    normal = np.empty((size, 4, 4))
    for a, b in ((0, 0), (0, 1), (0, 2), (0, 3), (1, 1), (1, 2), (1, 3), (2, 3), (3, 3)):
        normal[:, a, b] = normal[:, b, a] = summed(base[a] * base[b])
    normal[:, 2, 2] = normal[:, 0, 0] - normal[:, 1, 1]
    right = np.stack([summed(b * values) for b in base], axis=-1)
    pixels = normal[:, 0, 0].copy()
    whole = pixels > 0.8 * np.quantile(pixels[pixels > 0], 0.75)
    normal[:, range(4), range(4)] += 1e-6 * np.maximum(pixels, 1.0)[:, None]
    solved = np.zeros((size, 4))
    solved[whole] = np.linalg.solve(normal[whole], right[whole, :, None])[..., 0]
    shape = (strips.v.size, lines)
    return Cells(
        mean=solved[:, 0].reshape(shape),
        wave=(solved[:, 1] + 1j * solved[:, 2]).reshape(shape),
        lean=(solved[:, 2] + 0.25 * solved[:, 3]).reshape(shape),
        whole=whole.reshape(shape),
        first=first,
    )
