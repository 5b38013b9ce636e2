"""The grey value at which light was clipped, where the file could hold larger ones.

Video has its white at 235 of 255 (ITU-R BT.601-7, 2.5.3, from memory), some sensors end before
their digits do, and a picture that was darkened afterwards has clipped light anywhere. What is
clipped is told by being level, among pixels that are not: light beside it still has its noise.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from rimread.colour import half_size_colour
from rimread.grain import block_means, grain_of
from rimread.photo import Photo
from rimread.rim.profiles import CLIPPED

__all__ = ["with_white"]

STEPS = 255
"""Of 8 bits; deeper pixels are looked at in as many."""
ROWS = 16
"""Every 16th row tells how often a grey value occurs."""
LEAST = 1e-3
"""Part of a picture whose light is clipped if it matters;"""
OVERSHOOT = 0.05
"""compression leaves few pixels brighter, a twentieth of them. Own choice, both."""
SPREAD = 2
"""It leaves the others within 2 steps, and away from edges within one."""
WITHIN_PX = 9
"""Looked at where a square of 9 px is clipped: half a block of a JPEG from the edge."""
QUIET, LEAST_BLOCKS = 10, 20
"""Per cent of the other blocks that are taken as free of texture, and how many tell noise."""
LEVEL, LEVELLER = 0.1, 4.0
"""Grain in steps left where light is clipped, and how much more there is where it is not. Of 483
renderings and simulated photos that use their full range, with noise and without, none is taken for
clipped. Own choice."""


def with_white(photo: Photo) -> Photo:
    """The photo, its full light where it was clipped.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    Photo
        With `white` set; as it was where nothing is clipped below full scale, or only one of its
        colours is (`rimread.rim.channel`).
    """
    grey = photo.grey
    if photo.full_scale != STEPS:
        grey = np.asarray(cv2.convertScaleAbs(grey, alpha=STEPS / photo.full_scale), np.uint8)
    level = _crowded_top(grey)
    if level is None or not _levelled(grey.astype(np.float32), level):
        return photo
    if _a_colour_clips(photo, np.abs(grey.astype(np.int16) - level) <= 1):
        return photo
    return replace(photo, white=round(level * photo.full_scale / STEPS))


def _crowded_top(grey: NDArray[np.integer]) -> int | None:
    """The highest grey value below white that hardly any pixel exceeds and many have."""
    rows = np.ascontiguousarray(grey[::ROWS])
    counts = cv2.calcHist([rows], [0], None, [STEPS + 1], [0, STEPS + 1]).ravel()
    near = np.convolve(counts, np.ones(3), "same")
    brighter = np.append((counts.sum() - np.cumsum(counts))[SPREAD:], np.zeros(SPREAD))
    crowd = (near > LEAST * counts.sum()) & (brighter < OVERSHOOT * near)
    peak = near == ndimage.maximum_filter1d(near, 2 * SPREAD + 1)
    found = np.flatnonzero(crowd & peak)
    if len(found) == 0 or found[-1] > CLIPPED * STEPS - SPREAD:
        return None
    first = max(int(found[-1]) - 1, 0)
    return first + int(np.argmax(counts[first : first + 3]))


def _levelled(grey: NDArray[np.float32], level: int) -> bool:
    """Whether pixels about a grey value have no noise, and those that are darker do."""
    about = (np.abs(grey - level) <= 1).astype(np.float32)
    within = cv2.erode(about, np.ones((WITHIN_PX, WITHIN_PX), np.uint8)) > 0
    grain = grain_of(grey)
    noise = block_means(grain)[block_means(about) == 0]
    if not within.any() or len(noise) < LEAST_BLOCKS:
        return False
    left = float(grain[within].mean())
    return left < LEVEL and LEVELLER * left < float(np.percentile(noise, QUIET))


def _a_colour_clips(photo: Photo, where: NDArray[np.bool_]) -> bool:
    """Whether most of some pixels have a colour that is clipped as usual, as in coloured light."""
    colour = half_size_colour(photo)
    if colour is None:
        return False
    height, width = colour.shape[:2]
    brightest = colour.max(axis=2)[where[::2, ::2][:height, :width]]
    return bool(np.median(brightest) > CLIPPED * STEPS)
