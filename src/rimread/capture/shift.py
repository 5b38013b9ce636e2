"""How far the sight moved between two frames, and how far it may."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.capture.frame import Picture

__all__ = [
    "MOST_SMEAR_PX2",
    "STILL_LEVELS",
    "STILL_PX",
    "Small",
    "change",
    "halves",
    "seen_shift_px",
    "shift_px",
    "small",
]

Small = NDArray[np.float32]

MOST_SMEAR_PX2 = 0.1
"""Variance by which movement may smear a picture. A sharp edge is blurred by 1 to 4 px² anyway, and
the smear moves the half-way point of an edge of radius R by no more than its variance over 2R
(second order of the smear): 0.0005 px on a rim of 100 px."""
STILL_PX = math.sqrt(12.0 * MOST_SMEAR_PX2)
"""Way over which a drift of constant speed smears by that (a rectangular distribution)."""
STILL_LEVELS = 1.5
"""Mean change of an eighth-size picture, in 8-bit grey levels, up to which two pictures with
nothing in them to tell a movement by are the same; own choice, no source."""

_REDUCED = 4
"""Pixels of the small picture are so wide: a dark picture's noise still averages to a third of
`STILL_PX`, and a movement of a hundred pixels is still followed."""
_MOST = 100_000
"""Pixels enough to register by: a larger small picture is halved until it has no more."""
_ALIKE = 0.5
"""Correlation of two pictures of one thing; those of noise alone have next to none."""
_BY_CHANCE = 30.0
"""Over the square root of a picture's pixels: more correlation than noise alone comes by when it is
smoothed over five pixels each way (six standard deviations of 1 / √(pixels / 25))."""
_SLOW = 45
"""Light that changes over so many small pixels or more is the lamp's and the lens's: it stays with
the camera when the specimen moves, and a fit of it would stay, too. Fewer leave dark frames too
little. Own choice."""
_UNLIT = 0.1
"""Share of the light of bright places below which a place tells nothing: what a scope's field stop
leaves black is such, and its edge, the strongest of all, never moves. Own choice."""
_ENOUGH = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 30, 1e-4)


def small(grey: Picture) -> Small:
    """A quarter of the size, in 8-bit grey levels: whole ones of an 8-bit picture."""
    return _reduced(grey, grey)


def halves(grey: Picture) -> tuple[Small, Small]:
    """Two `small` pictures from every other row: what noise each has, the other has not."""
    return _reduced(grey[::2], grey), _reduced(grey[1::2], grey)


def _reduced(rows: Picture, grey: Picture) -> Small:
    height, width = grey.shape
    size = (max(width // _REDUCED, 1), max(height // _REDUCED, 1))
    reduced = cv2.resize(rows, size, interpolation=cv2.INTER_AREA)
    return np.asarray(reduced, np.float32) / np.float32(1 if grey.dtype == np.uint8 else 257)


def change(before: Small, now: Small) -> float:
    """Mean change in grey levels once more halved, so that the noise of 64 pixels averages out."""
    return float(np.mean(np.abs(_halved(now - before))))


def shift_px(before: Small, now: Small) -> tuple[float, float]:
    """Movement along x and y, in pixels of the frame, between two `small` pictures of it.

    Zero where nothing can be seen to move, infinite where the pictures show different things.
    """
    seen = seen_shift_px(before, now)
    if seen is not None:
        return seen
    return (0.0, 0.0) if change(before, now) <= STILL_LEVELS else (math.inf, math.inf)


def seen_shift_px(before: Small, now: Small) -> tuple[float, float] | None:
    """Movement as `shift_px` gives it, None where the pictures do not tell it.

    By the enhanced correlation coefficient (Evangelidis and Psarakis, IEEE Trans. PAMI 30, 2008),
    which the light's brightness does not enter, on what stands out of its surroundings.
    """
    wide = _REDUCED
    while now.size > _MOST:
        before, now, wide = _halved(before), _halved(now), 2 * wide
    warp = np.eye(2, 3, dtype=np.float32)
    try:
        alike, found = cv2.findTransformECC(
            _detail(before), _detail(now), warp, cv2.MOTION_TRANSLATION, _ENOUGH
        )
    except cv2.error:  # no two pictures of one thing, or nothing in them but noise
        return None
    if alike < max(_ALIKE, _BY_CHANCE / math.sqrt(now.size)):
        return None
    return float(found[0, 2]) * wide, float(found[1, 2]) * wide


def _halved(picture: Small) -> Small:
    size = (max(picture.shape[1] // 2, 1), max(picture.shape[0] // 2, 1))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA))


def _detail(picture: Small) -> Small:
    """Light over that of the surroundings, faded out towards the frame.

    There a moved picture ends, and OpenCV 5 takes the gap for it.
    """
    bright = float(np.quantile(picture[::4, ::4], 0.95))
    lit = cv2.erode((picture > _UNLIT * bright).astype(np.float32), np.ones((3, 3), np.uint8))
    size = (_SLOW, _SLOW)
    around = cv2.blur(picture * lit, size) / np.maximum(cv2.blur(lit, size), 1e-3)
    window = cv2.createHanningWindow((picture.shape[1], picture.shape[0]), cv2.CV_32F)
    return np.asarray(lit * window * (picture - around) / np.maximum(around, 1.0), np.float32)
