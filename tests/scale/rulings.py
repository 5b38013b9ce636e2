"""Small pictures of stage micrometers with known scale, drawn from formulas.

A line is a bar blurred by a Gaussian (difference of two error functions), sampled at the pixel
centres; the blur includes the pixel's own width. Nothing of the library is used.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from rimread.photo import Photo


@dataclass(frozen=True)
class Ruling:
    """What is drawn. Lengths in px unless said otherwise."""

    width: int = 640
    height: int = 480
    px_per_mm_x: float = 120.0
    px_per_mm_y: float = 120.0
    k1: float = 0.0
    division_mm: float = 0.1
    lines: int = 101
    middle_line: float = 50.0  # index that lies at the centre of the field
    angle_deg: float = 0.0
    offset: float = 0.0  # of the band from the centre of the field, along the lines
    short: float = 80.0  # length of the ordinary lines
    fifth: float = 1.45
    tenth: float = 1.9
    thickness: float = 3.0
    blur: float = 1.0
    ground: float = 0.15  # linear light
    ink: float = 0.4
    slope: float = 0.2  # uneven light across the field
    noise: float = 0.006  # linear light at the ground
    ruling_error_mm: float = 0.0
    specks: int = 6
    both_sides: bool = False  # longer lines stand out on either side of the band
    rail: bool = False  # a line along the scale at the foot of the lines
    numerals: bool = True
    quality: int | None = 92  # JPEG

    def but(self, **changes: object) -> Ruling:
        """The same with changes."""
        return replace(self, **changes)


def _undistorted(
    x: NDArray, y: NDArray, k1: float, half_diagonal: float
) -> tuple[NDArray, NDArray]:
    r2 = (x * x + y * y) / half_diagonal**2
    s = np.ones_like(r2)
    for _ in range(40):  # fixed point of s = 1 / (1 + k1 r² s²)
        s = 1.0 / (1.0 + k1 * r2 * s * s)
    return x * s, y * s


def _bar(x: NDArray, half: NDArray | float, sigma: float) -> NDArray:
    """A bar from -half to half, blurred."""
    s = sigma * math.sqrt(2.0)
    return 0.5 * (erf((x + half) / s) - erf((x - half) / s))


def light_of(ruling: Ruling, rng: np.random.Generator) -> NDArray:
    """Linear light of the picture, without noise."""
    r = ruling
    x = np.arange(r.width)[None, :] - (r.width - 1) / 2 + np.zeros((r.height, 1))
    y = np.arange(r.height)[:, None] - (r.height - 1) / 2 + np.zeros((1, r.width))
    sheen = 1.0 + r.slope * (0.7 * x / r.width - 0.5 * y / r.height)
    x, y = _undistorted(x, y, r.k1, math.hypot(r.width, r.height) / 2)
    x, y = x / r.px_per_mm_x, y / r.px_per_mm_y
    turn = math.radians(r.angle_deg)
    along = (x * math.cos(turn) + y * math.sin(turn)) / r.division_mm + r.middle_line
    px_per_mm = math.sqrt(r.px_per_mm_x * r.px_per_mm_y)
    across = (y * math.cos(turn) - x * math.sin(turn)) * px_per_mm - r.offset
    error = rng.normal(0.0, r.ruling_error_mm, r.lines) / r.division_mm
    sigma = math.hypot(r.blur, math.sqrt(1.0 / 12.0))
    pitch = r.division_mm * px_per_mm
    ink = np.zeros_like(along)
    reach = max(2, math.ceil((5 * sigma + r.thickness) / pitch))
    for step in range(-reach, reach + 1):
        line = np.rint(along).astype(int) + step
        real = (line >= 0) & (line < r.lines)
        place = line + error[np.clip(line, 0, r.lines - 1)]
        long = np.where(line % 10 == 0, r.tenth, np.where(line % 5 == 0, r.fifth, 1.0)) * r.short
        bar = real * _bar((along - place) * pitch, r.thickness / 2, sigma)
        there = bar > 1e-9  # the rest is far less than a grey value's step
        half = long[there] / 2
        middle = 0.0 if r.both_sides else half - r.short / 2
        ink[there] += bar[there] * _bar(across[there] - middle, half, sigma)
    if r.rail:
        ends = _bar((along - (r.lines - 1) / 2) * pitch, (r.lines - 1) / 2 * pitch, sigma)
        ink = np.maximum(ink, ends * _bar(across + r.short / 2, r.thickness / 2, sigma))
    if r.numerals:
        ink = np.maximum(ink, _numerals(along, across, r, pitch, sigma))
    return sheen * (r.ground + (r.ink - r.ground) * np.clip(ink, 0, 1)) * _specks(r, rng)


def _numerals(along: NDArray, across: NDArray, r: Ruling, pitch: float, sigma: float) -> NDArray:
    """Blots of different shape where the numerals would stand."""
    tens = np.rint(along / 10.0)
    u = (along - 10.0 * tens) * pitch
    v = across + r.short / 2 - r.short * r.tenth - 14.0
    wide = 3.0 + (tens * 7) % 5
    real = (tens >= 0) & (tens * 10 < r.lines)
    return real * _bar(u, wide, sigma) * _bar(v, 7.0, sigma) * (1 - _bar(u, wide - 2, sigma))


def _specks(r: Ruling, rng: np.random.Generator) -> NDArray:
    y, x = np.indices((r.height, r.width))
    shade = np.ones((r.height, r.width))
    for _ in range(r.specks):
        cx, cy = rng.uniform(0, r.width), rng.uniform(0, r.height)
        size = rng.uniform(1.5, 6.0)
        shade *= 1 - rng.uniform(0.3, 0.7) * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / 2 / size**2)
    return shade


def photo_of(ruling: Ruling, rng: np.random.Generator, name: str = "drawn.jpg") -> Photo:
    """The picture as a camera would give it: noise, sRGB (IEC 61966-2-1), 8 bit, JPEG."""
    light = light_of(ruling, rng)
    spread = ruling.noise * np.sqrt(np.maximum(light, 1e-3) / ruling.ground)
    light = np.clip(light + rng.normal(0.0, 1.0, light.shape) * spread, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    grey = np.rint(255 * coded).astype(np.uint8)
    if ruling.quality is not None:
        data = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, ruling.quality])[1]
        grey = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)
    digest = hashlib.sha256(grey.tobytes()).hexdigest()
    return Photo(grey=grey, tone="srgb", name=name, sha256=digest)
