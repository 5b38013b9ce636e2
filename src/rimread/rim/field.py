"""A round field of view: what a scope's field stop leaves black is no part of the picture.

The black surround has an edge as clear as a rim. It is filled with the light next to it, so that
no ring is left there, and a rim that runs into it is cut as by the frame.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim.ellipse import Ellipse

__all__ = ["CUT_BY_FIELD", "black_surround", "filled", "reaches_into"]

BLACK = 0.02
"""No light, in grey values of full scale: 5 of 255 steps of stray light and coding."""
ENDS = (slice(None, 8), slice(-8, None))
"""A corner is 8 by 8 px: noise in one of them says nothing."""
LEAST_LIT = 0.4
"""Least part of a picture that a field of view covers; bright bowls on black metal cover less."""
PENUMBRA, LEAST_PENUMBRA_PX = 0.05, 8
"""The stop's own blurred edge ends within this part of the picture's shorter side."""
MOST_OF_IT, AND_MORE, ROOM_PX = 0.9, 1.5, 2
"""Nine tenths of the light come 3.3 standard deviations of the blur from the black; all of it half
as far again, and 2 px more. (What rises more slowly is vignetting.)"""
CUT_PX = 12.0
"""A rim nearer than this to the hidden part has lost its outer side."""
CUT_BY_FIELD = Refusal(
    "cut-by-frame",
    "The indent is cut by the edge of the field of view: move it into the middle.",
)


def black_surround(photo: Photo) -> NDArray[np.bool_] | None:
    """What a field stop hides, shape of the photo; None where the corners are lit."""
    black = BLACK * photo.full_scale
    if any(np.median(photo.grey[part]) > black for part in product(ENDS, ENDS)):
        return None
    dark = (cv2.blur(photo.grey, (5, 5)) < black).astype(np.uint8)
    corners = ([0, 0, -1, -1], [0, -1, 0, -1])
    _, label = cv2.connectedComponents(dark)
    surround = (dark & np.isin(label, label[corners])).astype(np.uint8)
    if surround.mean() > 1 - LEAST_LIT:
        return None
    away = cv2.distanceTransform(1 - surround, cv2.DIST_L2, 5)
    return np.asarray(away <= _penumbra_px(photo, np.asarray(away, np.float32)))


def _penumbra_px(photo: Photo, away: NDArray[np.floating]) -> int:
    """How far the stop's shade reaches from the black, where pixels lie `away` from it."""
    most = max(LEAST_PENUMBRA_PX, round(PENUMBRA * min(away.shape)))
    near = (away > 0) & (away < most)
    light = ndimage.median(photo.grey[near], away[near].astype(np.intp), np.arange(most))
    return round(AND_MORE * (1 + int(np.argmax(light > MOST_OF_IT * light.max())))) + ROOM_PX


def filled(photo: Photo, hidden: NDArray[np.bool_]) -> Photo:
    """The photo with each hidden pixel as bright as the nearest one seen."""
    _, nearest = cv2.distanceTransformWithLabels(
        hidden.astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    light = np.zeros(int(nearest.max()) + 1, photo.grey.dtype)
    light[nearest[~hidden]] = photo.grey[~hidden]
    return replace(photo, grey=light[nearest])


def reaches_into(ellipse: Ellipse, hidden: NDArray[np.bool_]) -> bool:
    """Whether an ellipse within the picture runs into, or next to, what is hidden."""
    away = cv2.distanceTransform(1 - hidden.astype(np.uint8), cv2.DIST_L2, 5)
    x, y = ellipse.points(np.linspace(0, 2 * np.pi, 360, endpoint=False)).round().astype(int).T
    height, width = hidden.shape
    return bool(away[y.clip(0, height - 1), x.clip(0, width - 1)].min() < CUT_PX)
