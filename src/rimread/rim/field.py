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

from rimread.photo import Photo, linear_light
from rimread.refusal import Refusal
from rimread.rim.ellipse import Ellipse

__all__ = ["CUT_BY_FIELD", "EMPTY_FIELD", "black_surround", "filled", "reaches_into"]

BLACK, STRAY = 0.02, 0.1
"""No light: 5 of 255 steps of coding and noise, or a tenth of the light of the field, which the
lenses of a camera held to an eyepiece scatter. Own choice: vignetting leaves more."""
CORNERS = tuple(product((slice(None, 8), slice(-8, None)), repeat=2))
"""A corner is 8 by 8 px: noise in one of them says nothing."""
LEAST_LIT = 0.4
"""Least part of a picture that a field of view covers; bright bowls on black metal cover less."""
BRIGHT_PART = 1 - LEAST_LIT / 2
"""So the grey value that this part of a picture keeps below is no less than a field's median."""
BENT = 0.05
"""A field of view bulges outwards: its convex hull holds next to none of the surround, that of the
surround some of the field. Beside a dark bowl that lies across a corner it is the other way round,
and neither where a piece ends in a straight edge. Own choice, in parts of the surround."""
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
EMPTY_FIELD = (
    "No indent was found within the bright part of the picture, which was taken for a round field "
    "of view: bring one into it; if the bright part is the indent, light the metal around it too."
)
"""A bowl that fills two fifths of a picture and has ten times the light of its metal looks so."""

Mask = NDArray[np.uint8]
"""1 where something holds, else 0; shape of the photo."""


def black_surround(photo: Photo) -> NDArray[np.bool_] | None:
    """What a field stop hides, shape of the photo; None where it shows in no corner."""
    black = _black(photo)
    if all(np.median(photo.grey[part]) > black for part in CORNERS):
        return None
    field = _field((cv2.blur(photo.grey, (5, 5)) >= black).astype(np.uint8))
    if field is None:
        return None
    away = cv2.distanceTransform(field, cv2.DIST_L2, 5)
    return np.asarray(away <= _penumbra_px(photo, np.asarray(away, np.float32)))


def _black(photo: Photo) -> float:
    """The grey value up to which there is no light, in a photo with that field of view."""
    bright = float(np.quantile(photo.grey[::16, ::16], BRIGHT_PART))
    levels = np.linspace(0, photo.full_scale, 256)
    stray = STRAY * linear_light(photo, np.array([bright]))
    rank = int(np.searchsorted(linear_light(photo, levels), stray)[0])
    return max(BLACK * photo.full_scale, float(levels[rank]))


def _field(lit: Mask) -> Mask | None:
    """The part of a picture that the largest lit piece encloses, if it may be a field of view."""
    if not lit.any():
        return None
    field = np.zeros_like(lit)
    cv2.drawContours(field, [_outline(lit)], -1, 1, cv2.FILLED)
    surround = 1 - field
    hidden = cv2.countNonZero(surround)
    if not 0 < hidden < (1 - LEAST_LIT) * lit.size:
        return None
    return field if _dents(field) < BENT * hidden < _dents(surround) else None


def _outline(mask: Mask) -> NDArray[np.integer]:
    """The outline of the largest piece of a mask that is not empty."""
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return np.asarray(max(outlines, key=cv2.contourArea))


def _dents(mask: Mask) -> int:
    """How many pixels beside a mask the convex hull of its largest piece holds."""
    hull = np.zeros_like(mask)
    cv2.fillConvexPoly(hull, cv2.convexHull(_outline(mask)), 1)
    return cv2.countNonZero(hull & ~mask)


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
