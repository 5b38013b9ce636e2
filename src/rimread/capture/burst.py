"""Several frames of the same sight: their average, and how far they differ."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

from rimread.budget import Component
from rimread.capture.frame import Frame, Picture, photo_of
from rimread.capture.shift import MOST_SMEAR_PX2, Small, halves, seen_shift_px, shift_px, small
from rimread.refusal import Refusal
from rimread.rim import find_rim

__all__ = ["LEAST_FRAMES", "Burst", "Scatter", "average", "scatter_of"]

LEAST_FRAMES = 3
"""Fewer frames say nothing about their scatter that is worth a number."""
_BEYOND_NOISE_PX2 = 1.0
"""More than noise makes a registration scatter that works at all; measured on renderings."""
_OF_CENTRE = 4.0
"""Variance that noise gives a circle's centre along both axes, over that of its radius: least
squares on points all around give each axis 2 σ²/n and the radius σ²/n."""
_SURE = 0.977
"""Share of such ratios that noise is granted: one-sided, as far out as two standard deviations."""
_TO_16_BITS = 257  # 255 × 257 = 65535


@dataclass(frozen=True, slots=True, eq=False)
class Burst:
    """The average of several frames.

    Parameters
    ----------
    picture : ndarray, uint16, the shape of the frames
        Mean of the coded values, widened to 16 bits so that what averaging gains is kept. One
        frame alone is kept as it came.
    taken_at : datetime.datetime
        Of the last frame.
    frames : int
        How many.
    noise : float or None
        Median over the pixels of the frame-to-frame standard deviation, in fractions of full
        scale; None for a single frame.
    """

    picture: Picture
    taken_at: datetime
    frames: int
    noise: float | None


@dataclass(frozen=True, slots=True)
class Scatter:
    """How far the mean diameter differs from frame to frame.

    Parameters
    ----------
    frames : int
        Frames on which the rim was found.
    sd_rel : float
        Standard deviation of the mean diameter over the mean diameter, one frame.
    """

    frames: int
    sd_rel: float

    @property
    def u_rel(self) -> float:
        """Relative standard uncertainty of the average (GUM 4.2.3)."""
        return self.sd_rel / math.sqrt(self.frames)

    @property
    def dof(self) -> float:
        """Degrees of freedom."""
        return self.frames - 1.0

    @property
    def component(self) -> Component:
        """The scatter as a component, in fractions of the mean diameter."""
        return Component(
            "frame to frame",
            self.u_rel,
            dof=self.dof,
            how=f"{self.frames} frames measured one by one, scatter {self.sd_rel:.3%} of d",
        )


def average(frames: Sequence[Frame]) -> Burst | Refusal:
    """Average frames pixel by pixel.

    The coded values are averaged, not the light: over the few grey steps that noise moves a pixel
    the tone curve is straight.

    Returns
    -------
    Burst or Refusal
        ``not-steady`` when the sight moved, so that the average would be smeared.

    Raises
    ------
    ValueError
        If there are none or they differ in size.
    """
    if not frames:
        raise ValueError("an average needs at least one frame (got none)")
    if len({frame.picture.shape for frame in frames}) > 1:
        raise ValueError("all frames of an average must have one size")
    last = frames[-1]
    if len(frames) == 1:
        return Burst(last.picture, last.taken_at, 1, None)
    moved = _sight_moved(frames)
    if moved is not None:
        return moved
    full = np.iinfo(last.picture.dtype).max
    total = np.zeros(last.picture.shape, np.float64)
    squares = np.zeros(last.picture.shape, np.float64)
    for frame in frames:
        values = frame.picture.astype(np.float64)
        total += values
        squares += values * values
    n = len(frames)
    spread = np.sqrt(np.maximum(squares - total * total / n, 0.0) / (n - 1))
    widen = _TO_16_BITS if full == np.iinfo(np.uint8).max else 1
    mean = np.rint(total / n * widen).astype(np.uint16)
    return Burst(_grey16(mean), last.taken_at, n, float(np.median(spread)) / full)


def scatter_of(frames: Sequence[Frame]) -> Scatter | Refusal:
    """Measure the rim in every frame by itself.

    Returns
    -------
    Scatter or Refusal
        ``too-few-frames`` when fewer than `LEAST_FRAMES` show a rim, ``not-steady`` when the rim
        moved: its size would scatter no more for that, though an average of the frames is smeared.
    """
    found = (find_rim(photo_of(frame)) for frame in frames)
    rims = [rim for rim in found if not isinstance(rim, Refusal)]
    sizes = [rim.ellipse.m for rim in rims]
    if len(sizes) < LEAST_FRAMES:
        return Refusal(
            "too-few-frames",
            f"the rim was found in {len(sizes)} of {len(frames)} frames; at least {LEAST_FRAMES} "
            "are needed to tell their scatter: hold the picture still and take it again",
            {"found": float(len(sizes)), "frames": float(len(frames))},
        )
    centres_px = np.array([rim.centre_px for rim in rims])
    moved = _moved(centres_px, noise_px2=_noise_px2(sizes))
    if moved is not None:
        return moved
    return Scatter(len(sizes), statistics.stdev(sizes) / statistics.fmean(sizes))


def _noise_px2(sizes_px: Sequence[float]) -> float:
    """How far noise may scatter the centres of rims whose radii it scatters like this.

    The ratio of the two variances follows an F distribution: `_SURE` of it, as two axes of n - 1
    degrees of freedom each scatter the centres and one of n - 1 the radii.
    """
    dof = len(sizes_px) - 1
    return _OF_CENTRE * statistics.variance(sizes_px) * float(fdtri(2 * dof, dof, _SURE))


def _sight_moved(frames: Sequence[Frame]) -> Refusal | None:
    """Why these frames have no average.

    In dark frames noise alone scatters the places. So where they scatter too much, each frame is
    looked at in two halves, whose noise has nothing in common: their movement has.
    """
    first, *later = (small(frame.grey) for frame in frames)
    moved = _moved(np.array([(0.0, 0.0), *(shift_px(first, now) for now in later)]))
    if moved is None or float(moved.evidence.get("smear_px2", math.inf)) > _BEYOND_NOISE_PX2:
        return moved
    places = [_among(half) for half in zip(*(halves(frame.grey) for frame in frames), strict=True)]
    return _moved(*places) if all(np.isfinite(half).all() for half in places) else moved


def _among(pictures: Sequence[Small]) -> NDArray[np.float64]:
    """Places of pictures, each held against the average of all others: less noise than in one.

    The average lies where the others do on average, n / (n - 1) times as far as that of all.
    """
    n, total = len(pictures), np.sum(pictures, axis=0)
    ways = [seen_shift_px(picture, (total - picture) / (n - 1)) for picture in pictures]
    return np.array([(math.nan, math.nan) if way is None else way for way in ways]) * (1 - n) / n


def _moved(
    places_px: NDArray[np.float64],
    again_px: NDArray[np.float64] | None = None,
    *,
    noise_px2: float = 0.0,
) -> Refusal | None:
    """Why frames whose sight lay at these places, shape (frames, 2), have no average.

    With the places found again, from other pixels, the smear is what both have in common. Noise
    that may scatter them by `noise_px2` excuses as much.
    """
    both = places_px, places_px if again_px is None else again_px
    way, evidence = "out of view", {"frames": float(len(places_px))}
    if np.isfinite(both).all():
        apart_px = float(np.ptp(np.mean(both, axis=0), axis=0).max())
        one, other = (places - places.mean(axis=0) for places in both)
        smear_px2 = float(np.mean(one * other, axis=0).sum())
        if smear_px2 - noise_px2 <= MOST_SMEAR_PX2:
            return None
        way = f"by {apart_px:.1f} px"
        evidence |= {"apart_px": apart_px, "smear_px2": smear_px2}
    return Refusal(
        "not-steady",
        f"the picture moved {way} while {len(places_px)} frames were taken, which smears their "
        "average: let the scope and the piece come to rest and take it again",
        evidence,
    )


def _grey16(mean: Picture) -> Picture:
    """Luma of a 16 bit colour average: PNG files of 16 bit colour are not written by Pillow."""
    if mean.ndim == 2:
        return mean
    light = mean[..., 0] * 0.114 + mean[..., 1] * 0.587 + mean[..., 2] * 0.299  # ITU-R BT.601
    return np.asarray(np.rint(light).astype(np.uint16))
