"""Where a photo's spectrum says that lines repeat: direction and pitch."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["MIN_LINES", "Peak", "directions", "spectral_peaks"]

FloatArray = NDArray[np.floating]

MIN_LINES = 11
"""One full decade of lines: the fewest that show the whole pattern of 5th and 10th lines."""

MIN_PITCH_PX = 5.0
"""Level, slope and a sine need four samples in a period; one to spare."""

_PEAK_RATIO = 30.0
"""Power over the median at that frequency. Noise exceeds it with 2**-30, once in 400 photos."""

_MAX_PEAKS = 48
_MAX_DIRECTIONS = 3


@dataclass(frozen=True, slots=True)
class Peak:
    """One peak: cycles per px along x and y."""

    fx: float
    fy: float

    @property
    def angle(self) -> float:
        """Direction across the lines in radians, from x towards y."""
        return math.atan2(self.fy, self.fx)

    @property
    def radius(self) -> float:
        """Lines per px."""
        return math.hypot(self.fx, self.fy)


def _flattened(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Light without its slow part, dust clipped, faded out towards the frame."""
    size = max(light.shape) // 12 | 1
    flat = light - cv2.blur(light, (size, size), borderType=cv2.BORDER_REFLECT)
    limit = 4.0 * 1.4826 * float(np.median(np.abs(flat)))
    flat = np.clip(flat, -limit, limit) if limit > 0 else flat
    height, width = light.shape
    window = np.hanning(height)[:, None] * np.hanning(width)[None, :]
    return np.asarray(flat * window.astype(np.float32))


def _whitened(power: FloatArray, radius: FloatArray) -> FloatArray:
    """Power over the median power at the same frequency, whatever the direction."""
    order = np.argsort(radius, axis=None, kind="stable")
    edges = np.unique(np.geomspace(16, order.size, 200).astype(int))
    ratio = np.empty(order.size)
    flat = power.ravel()
    start = 0
    for stop in edges:
        part = order[start:stop]
        ratio[part] = flat[part] / max(float(np.median(flat[part])), 1e-30)
        start = stop
    return ratio.reshape(power.shape)


def spectral_peaks(light: NDArray[np.float32]) -> list[Peak]:
    """Frequencies that stand out of the photo's spectrum, strongest first."""
    from scipy.fft import next_fast_len, rfft2  # noqa: PLC0415  (kept out of start-up)

    height, width = (next_fast_len(n, real=True) for n in light.shape)
    spectrum = rfft2(_flattened(light), s=(height, width))
    power = np.fft.fftshift(np.abs(spectrum) ** 2, axes=0).astype(np.float32)
    fy = np.fft.fftshift(np.fft.fftfreq(height))[:, None]
    fx = np.fft.rfftfreq(width)[None, :]
    radius = np.hypot(fx, fy).astype(np.float32)
    ratio = _whitened(power, radius)
    top = cv2.dilate(power, np.ones((7, 7), np.uint8)) <= power
    least = (MIN_LINES - 1) / math.hypot(*light.shape)
    good = top & (ratio > _PEAK_RATIO) & (radius > least) & (radius < 1.0 / MIN_PITCH_PX)
    rows, columns = np.nonzero(good)
    best = np.argsort(-ratio[rows, columns])[:_MAX_PEAKS]
    log_power = np.log(power + 1e-30)
    peaks = []
    for r, c in zip(rows[best], columns[best], strict=True):
        dy, dx = _vertex(log_power[r - 1 : r + 2, c]), _vertex(_row_of_three(log_power, r, c))
        peaks.append(Peak(fx=float(c + dx) / width, fy=float(fy[r, 0] + dy / height)))
    return peaks


def _row_of_three(values: NDArray[np.float32], row: int, column: int) -> NDArray[np.float32]:
    """Neighbours along fx; left of fx = 0 lies the mirror image of fx > 0."""
    if column > 0:
        return values[row, column - 1 : column + 2]
    mirror = 2 * (values.shape[0] // 2) - row
    return np.array([values[mirror % values.shape[0], 1], *values[row, :2]])


def _vertex(three: NDArray[np.float32]) -> float:
    """Place of the peak between samples, by the parabola through three of them."""
    if three.size < 3:
        return 0.0
    left, middle, right = (float(v) for v in three)
    bend = left - 2 * middle + right
    return float(np.clip(0.5 * (left - right) / bend, -1, 1)) if bend < 0 else 0.0


def directions(peaks: list[Peak], shape: tuple[int, ...]) -> list[list[Peak]]:
    """Peaks that lie on one ray through zero frequency, strongest rays first."""
    width = 2.5 / min(shape)  # half width of a windowed peak, cycles per px
    groups: list[list[Peak]] = []
    for peak in peaks:
        for group in groups:
            turn = (peak.angle - group[0].angle + math.pi / 2) % math.pi - math.pi / 2
            if abs(turn) * min(peak.radius, group[0].radius) < width:
                group.append(peak)
                break
        else:
            groups.append([peak])
    return groups[:_MAX_DIRECTIONS]
