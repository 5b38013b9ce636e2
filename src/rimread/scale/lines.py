"""Line centres to a few thousandths of a pixel.

All lines of a scale look alike. Their common shape is found from all of them together, as a short
Fourier series over one division, and every piece of every line is then compared with it: level,
slope, contrast and shift are solved for in each cell of one line and one strip from the raw
pixels, without resampling, which would add its own error. Neighbours that
blur into each other are part of the shape, so they do not pull.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimread.scale.ladder import Ladder

__all__ = ["Marks", "mark_lines"]

FloatArray = NDArray[np.floating]

_STRIPS = 10
"""Pieces per line: enough to see rotation and to lose one to dust."""

_LEAST_STRIP_PX = 6.0
_ROUNDS = 4
_BINS = 512
_PHASES = (np.arange(_BINS) + 0.5) / _BINS - 0.5
_FULL = 0.9
"""Share of its pixels a cell needs, against the usual cell."""


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """Pieces of ruled lines, located.

    Parameters
    ----------
    points_px : ndarray, shape (n, 2)
        x, y of a point on the line, pixels of the photo.
    line : ndarray of int, shape (n,)
        Index of the line.
    information : ndarray, shape (n,)
        Inverse variance of the place across the line, in 1/px², from the noise around it.
    level, swing : float
        Linear light of the band, and how far it swings from line to gap (fundamental).
    """

    points_px: FloatArray
    line: NDArray[np.intp]
    information: FloatArray
    level: float
    swing: float


@dataclass(frozen=True, slots=True, eq=False)
class _Pixels:
    """The pixels of the band, each with its line index and the cell it belongs to."""

    x: FloatArray
    y: FloatArray
    light: FloatArray
    index: FloatArray
    cell: NDArray[np.intp]
    lines: int
    cells: int
    width: int
    height: int

    def summed(self, values: FloatArray) -> FloatArray:
        total = np.bincount(self.cell, weights=values, minlength=self.cells)
        return np.asarray(total, dtype=float)


def mark_lines(light: NDArray[np.float32], ladder: Ladder) -> Marks | None:
    """Locate every piece of every line of a ladder.

    Parameters
    ----------
    light : ndarray, shape (height, width)
        Linear light.
    ladder : Ladder
        Where the lines are, to a fraction of a division.

    Returns
    -------
    Marks or None
        The first and the last line are left out: they lack a neighbour on one side, which the
        common shape has. None where no piece of a line stays in its place.
    """
    pixels = _band_pixels(light, ladder)
    count = np.maximum(pixels.summed(np.ones(pixels.light.size)), 1.0)
    if not np.any(count > 1):
        return None
    whole = count > _FULL * np.quantile(count[count > 1], 0.75)
    phase = pixels.index - np.rint(pixels.index)
    shift = np.zeros(pixels.cells)
    keep = whole
    harmonics = int(np.clip(ladder.pitch_px / 2.5, 1, 12))
    for _ in range(_ROUNDS):
        local = phase - shift[pixels.cell]
        shape = _common_shape(pixels, local, keep[pixels.cell], harmonics)
        step, variance, contrast = _cell_shifts(pixels, local, shape)
        shift = np.clip(shift + np.clip(step, -0.1, 0.1), -0.5, 0.5)
        noise = float(np.median(variance[keep]))
        keep = whole & (np.abs(step) < 0.1) & (variance < 25.0 * noise)
        if not keep.any():
            return None
    points, steep, line = _places(pixels, ladder, shift)
    return Marks(
        points_px=points[keep],
        line=line[keep],
        information=(steep / variance)[keep],
        level=float(np.median(pixels.light)),
        swing=2.0 * float(np.median(np.abs(contrast[keep]))),
    )


def _band_pixels(light: NDArray[np.float32], ladder: Ladder) -> _Pixels:
    height, width = light.shape
    cos, sin = math.cos(ladder.angle_rad), math.sin(ladder.angle_rad)
    columns = np.arange(width, dtype=np.float32) - np.float32((width - 1) / 2)
    rows = np.arange(height, dtype=np.float32)[:, None] - np.float32((height - 1) / 2)
    across = np.float32(cos) * rows - np.float32(sin) * columns
    low, high = ladder.v_px
    inside = (across > low) & (across < high)
    y_index, x_index = np.nonzero(inside)
    x, y = x_index - (width - 1) / 2, y_index - (height - 1) / 2
    u, v = cos * x + sin * y, cos * y - sin * x
    index = ladder.index_at(u, v)
    line = np.rint(index).astype(np.intp)
    mine = (line > ladder.first) & (line < ladder.last)
    strips = int(np.clip((high - low) / _LEAST_STRIP_PX, 1, _STRIPS))
    strip = np.clip((v - low) / (high - low) * strips, 0, strips - 1).astype(np.intp)
    lines = ladder.last - ladder.first - 1
    cell = strip * lines + line - ladder.first - 1
    return _Pixels(
        x=x[mine],
        y=y[mine],
        light=light[inside].astype(float)[mine],
        index=index[mine],
        cell=cell[mine],
        lines=lines,
        cells=strips * lines,
        width=width,
        height=height,
    )


def _common_shape(
    pixels: _Pixels, local: FloatArray, good: NDArray[np.bool_], harmonics: int
) -> FloatArray:
    """Line shape over one division as Fourier coefficients, shape (harmonics, 2): cos, sin.

    Turned so that the fundamental has no sine: that is what the centre of a line means here.
    """
    size = np.maximum(pixels.summed(np.ones(local.size)), 1.0)
    level = pixels.light - (pixels.summed(pixels.light) / size)[pixels.cell]
    place = (np.floor((local[good] + 0.5) * _BINS) % _BINS).astype(np.intp)
    count = np.bincount(place, minlength=_BINS).astype(float)
    total = np.bincount(place, weights=level[good], minlength=_BINS)
    turn = 2 * np.pi * np.outer(_PHASES, np.arange(1, harmonics + 1))
    base = np.concatenate([np.cos(turn), np.sin(turn)], axis=1)
    normal = base.T @ (count[:, None] * base) + 1e-9 * count.sum() * np.eye(2 * harmonics)
    solved = np.linalg.solve(normal, base.T @ total)
    wave = solved[:harmonics] - 1j * solved[harmonics:]
    first = wave[0] if wave[0].real > 0 else -wave[0]  # dark lines have a negative fundamental
    wave = wave * np.exp(-1j * np.angle(first) * np.arange(1, harmonics + 1)) / (abs(first) or 1.0)
    return np.stack([wave.real, -wave.imag], axis=1)


def _cell_shifts(
    pixels: _Pixels, local: FloatArray, shape: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Shift of the line in each cell, in divisions, its variance by the cell's noise, contrast.

    Light in a cell is level + slope φ + contrast (T(φ) - shift T'(φ)), linear in all four.
    """
    order = np.arange(1, shape.shape[0] + 1)
    turn = 2 * np.pi * np.outer(_PHASES, order)
    value = np.cos(turn) @ shape[:, 0] + np.sin(turn) @ shape[:, 1]
    slope = (
        2 * np.pi * (np.cos(turn) @ (order * shape[:, 1]) - np.sin(turn) @ (order * shape[:, 0]))
    )
    base = [
        np.ones(local.size),
        local,
        np.interp(local, _PHASES, value, period=1.0),
        -np.interp(local, _PHASES, slope, period=1.0),
    ]
    normal = np.empty((pixels.cells, 4, 4))
    for a in range(4):
        for b in range(a, 4):
            normal[:, a, b] = normal[:, b, a] = pixels.summed(base[a] * base[b])
    right = np.stack([pixels.summed(b * pixels.light) for b in base], axis=-1)
    size = np.maximum(normal[:, 0, 0], 1.0)
    normal[:, range(4), range(4)] += 1e-9 * size[:, None]
    inverse = np.linalg.inv(normal)
    solved = np.einsum("cij,cj->ci", inverse, right)
    fitted = np.einsum("ci,cij,cj->c", solved, normal, solved)
    left = pixels.summed(pixels.light**2) - 2 * np.einsum("ci,ci->c", solved, right) + fitted
    noise = np.maximum(left, 1e-12) / np.maximum(size - 4, 1.0)
    contrast = np.where(np.abs(solved[:, 2]) > 1e-9, solved[:, 2], 1e-9)
    return solved[:, 3] / contrast, noise * inverse[:, 3, 3] / contrast**2, contrast


def _places(
    pixels: _Pixels, ladder: Ladder, shift: FloatArray
) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Points on the lines (cells, 2), squared slope of the line index there, and the line.

    From each cell's centre of mass along the gradient of the line index.
    """
    size = np.maximum(pixels.summed(np.ones(pixels.light.size)), 1.0)
    x, y = pixels.summed(pixels.x) / size, pixels.summed(pixels.y) / size
    cos, sin = math.cos(ladder.angle_rad), math.sin(ladder.angle_rad)
    u, v = cos * x + sin * y, cos * y - sin * x
    index = pixels.summed(pixels.index) / size
    slope_u = ladder.index_at(u + 0.5, v) - ladder.index_at(u - 0.5, v)
    slope_v = ladder.index_at(u, v + 0.5) - ladder.index_at(u, v - 0.5)
    steep = slope_u**2 + slope_v**2
    line = np.arange(pixels.cells) % pixels.lines + ladder.first + 1
    along = (line + shift - index) / steep
    x = x + along * (cos * slope_u - sin * slope_v) + (pixels.width - 1) / 2
    y = y + along * (sin * slope_u + cos * slope_v) + (pixels.height - 1) / 2
    return np.stack([x, y], axis=-1), steep, line.astype(np.intp)
