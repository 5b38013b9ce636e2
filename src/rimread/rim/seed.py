"""Where an indent may be: rings whose grey-value gradients point at, or away from, one centre.

The photo is reduced to a small picture and its gradient field is turned into the double-angle
field ``w exp(2iφ)`` (φ the gradient's direction, w a saturating weight between 0 and 1). Against a
ring of radius r that field is correlated with ``exp(-2iθ)`` (θ the direction from the ring's
centre): a gradient along the radius counts +1 whichever way it points, one across the radius -1,
texture averages to nothing. Doubling the angle makes lit and shaded sides of a bowl agree
(Granlund & Knutsson 1995, ch. 5, from memory); that the sum over a ring finds circles of any
contrast is the Hough transform with gradient direction (Atherton & Kerbyson 1999,
doi 10.1016/S0262-8856(98)00160-7).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2

from rimread.photo import Photo
from rimread.rim.sampling import evened, halved

__all__ = ["Seed", "ring_seeds"]

COARSE_PX = 144
"""Longer side of the reduced picture: a rim of 1/10 of it still covers 18 px."""
SMALLEST_RADIUS_COARSE_PX = 3.5
"""Below this a ring has fewer than 22 pixels and texture imitates it."""
LARGEST = 0.55
"""Largest radius in shorter sides: just more than the picture can hold."""
RADIUS_STEP = 1.09
"""Ratio of neighbouring radii; the ring's width below overlaps it."""
RING_WIDTH = 0.05
"""Standard deviation of a ring's radial weight in radii: an oval of 10 % still fits."""
GRADIENT_SIGMA_PX = 1.0
"""Smoothing before the gradient, in reduced pixels."""
SHADING = 1.25
"""Gradients below this many times the mean power around them are shading, not edges."""
SAME_CENTRE = 0.5
"""Rings whose centres lie within this many radii, and"""
SAME_RADIUS = 1.3
"""whose radii are within this ratio, are one ring."""
BORDER = 0.25
"""How far a ring's centre may lie outside the picture, in reduced half-widths (cut indents)."""


@dataclass(frozen=True, slots=True)
class Seed:
    """A ring that may be a rim.

    Parameters
    ----------
    x_px, y_px, radius_px : float
        Centre and radius in the full picture.
    alignment : float
        Mean over the ring of the weight times cos 2(φ-θ), -1 to 1.
    """

    x_px: float
    y_px: float
    radius_px: float
    alignment: float


def ring_seeds(photo: Photo, *, most: int = 6) -> tuple[Seed, ...]:
    """Rings by falling alignment, at most `most`, no two nearly the same."""
    small, reduction = _reduced(photo)
    height, width = small.shape
    if LARGEST * min(height, width) < SMALLEST_RADIUS_COARSE_PX:
        return ()
    radii, spectra, shape, pad = _ring_spectra(height, width)
    cosine, sine = rfft2(_double_angle(small), shape)
    score = irfft2(cosine * spectra[0] + sine * spectra[1], shape)
    score = np.ascontiguousarray(score[:, : height + 2 * pad, : width + 2 * pad])
    seeds = []
    for x, y, r, value in _peaks(score, radii, most):
        seeds.append(
            Seed(
                x_px=(x - pad + 0.5) * reduction - 0.5,
                y_px=(y - pad + 0.5) * reduction - 0.5,
                radius_px=r * reduction,
                alignment=value,
            )
        )
    return tuple(seeds)


def _reduced(photo: Photo) -> tuple[NDArray[np.floating], float]:
    """The picture area-averaged to `COARSE_PX`, and full pixels per reduced pixel."""
    longer = max(photo.grey.shape)
    part = halved(photo.grey, max(int(np.log2(longer / COARSE_PX)), 0))
    reduction = max(1.0, longer / COARSE_PX)
    size = (round(photo.width_px / reduction), round(photo.height_px / reduction))
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    return evened(photo, np.asarray(small, np.float32) / np.float32(photo.full_scale)), reduction


def _double_angle(small: NDArray[np.floating]) -> NDArray[np.floating]:
    """Cos 2φ and sin 2φ, shape (2, H, W), weighted by how far a gradient stands out."""
    smooth = cv2.GaussianBlur(small, (0, 0), GRADIENT_SIGMA_PX)
    gx = cv2.Scharr(smooth, cv2.CV_32F, 1, 0, borderType=cv2.BORDER_REPLICATE)
    gy = cv2.Scharr(smooth, cv2.CV_32F, 0, 1, borderType=cv2.BORDER_REPLICATE)
    power = gx * gx + gy * gy
    local = cv2.boxFilter(power, -1, (15, 15), borderType=cv2.BORDER_REFLECT)
    usual = np.float32(np.median(power)) + np.float32(1e-9)
    stands_out = np.maximum(power - SHADING * local, 0) / (power + local + usual)
    w = stands_out / (power + np.float32(1e-12))
    return np.stack([(gx * gx - gy * gy) * w, 2 * gx * gy * w])


@lru_cache(maxsize=4)
def _ring_spectra(
    height: int, width: int
) -> tuple[NDArray[np.floating], NDArray[np.complex64], tuple[int, int], int]:
    """Radii, conjugate spectra (2, R, ...) of the rings, padded shape, padding."""
    largest = LARGEST * min(height, width)
    count = int(np.log(largest / SMALLEST_RADIUS_COARSE_PX) / np.log(RADIUS_STEP)) + 1
    radii = SMALLEST_RADIUS_COARSE_PX * RADIUS_STEP ** np.arange(count)
    pad = int(BORDER * min(height, width) / 2)
    reach = int(np.ceil(largest * (1 + 3 * RING_WIDTH)))
    shape = (
        next_fast_len(height + pad + reach, real=True),
        next_fast_len(width + pad + reach, real=True),
    )
    y = np.fft.fftfreq(shape[0], 1 / shape[0])[:, None]
    x = np.fft.fftfreq(shape[1], 1 / shape[1])[None]
    distance = np.maximum(np.hypot(x, y), 1e-9)
    turn = np.stack([(x * x - y * y), 2 * x * y]) / distance**2
    moved = np.exp(  # the score's first pixel is the one `pad` left of and above the picture's
        -2j * np.pi * pad * (np.fft.fftfreq(shape[0])[:, None] + np.fft.rfftfreq(shape[1]))
    )
    spectra = np.empty((2, count, shape[0], shape[1] // 2 + 1), np.complex64)
    for k, r in enumerate(radii):
        ring = np.exp(-0.5 * ((distance - r) / max(0.7, RING_WIDTH * r)) ** 2)
        weight = np.sqrt(2 * np.pi * r) / ring.sum()  # chance alignment falls as 1/sqrt(length)
        spectra[:, k] = np.conj(rfft2(ring * weight * turn)) * moved
    return radii, spectra, shape, pad


def _peaks(
    score: NDArray[np.floating], radii: NDArray[np.floating], most: int
) -> list[tuple[float, float, float, float]]:
    """The highest (x, y, radius, value); rings that share centre and radius count once."""
    ys, xs = np.ogrid[: score.shape[1], : score.shape[2]]
    highest = score.max(axis=(1, 2))
    found = []
    for _ in range(most):
        k = int(highest.argmax())
        value = float(highest[k])
        if value <= 0:
            break
        y, x = np.unravel_index(int(score[k].argmax()), score[k].shape)
        r = float(radii[k])
        found.append((float(x), float(y), r, value))
        near = (ys - y) ** 2 + (xs - x) ** 2 < (SAME_CENTRE * r) ** 2
        for same in np.flatnonzero(np.abs(np.log(radii / r)) < np.log(SAME_RADIUS)):
            score[same][near] = -1
            highest[same] = score[same].max()
    return found
