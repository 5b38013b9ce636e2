"""Lines drawn into a picture along the rim, as by a program that measured it before.

Such a line is sharper and stronger than the rim and would be read in its place. It tells itself by
its colour: metal has little, and what it has does not come and go within a few pixels. One in black
or white is told by being finer than anything a lens shows.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo, chroma
from rimread.refusal import Refusal
from rimread.rim.ellipse import Ellipse

__all__ = ["drawn_along"]

LINE = 40.0
"""Cb and Cr of a line from those beside it, on an 8-bit scale. Lines 1 px wide in the six full
colours give 55 and more, whatever the JPEG quality; colour fringes of an objective whose red and
blue pictures differ by 1 % in size at most 30 (drawn on simulated photos)."""
OVER_BESIDE = 2.0
"""Times as far as anything beside it: coloured noise and moiré are as strong there. Own choice."""
MOST_OF_TURN = 0.4
"""Part of the turn along which a line lies near the rim: a dashed one does on half of it, tangents
of an old reading on less the larger the indent, on a third where it is 200 px across. Own
choice."""
FINE_PX, CONTRAST, EXTREME = 3.0, 0.12, 0.12
"""A line of a pixel or two is within 3 px so much brighter, or darker, than both sides of it, and
so near to white or black, in grey values of full scale. Of 2100 simulated photos, and 400 with all
contrast stretched to white and black, sharpened heavily or evened, none is so by the shine or
shadow of a crest on `MOST_OF_TURN`. A line of 1 px, which takes a grey between, is seen in half of
such pictures, one of 2 px in all."""
NEAR_PX, NEAR = 2.0, 0.01
"""A line as far from the rim as this, and this share of its radius more, is near,"""
BESIDE_PX = np.arange(6.0, 19.0, 2.0)
"""and beside it is what lies so much farther off."""
ARCS, STEP_PX = 180, 0.5


def drawn_along(photo: Photo, ellipse: Ellipse) -> Refusal | None:
    """Refuse a rim along which a line is drawn.

    Parameters
    ----------
    photo : Photo
    ellipse : Ellipse
        The rim in px.
    """
    fine, colour = _fine(photo, ellipse), chroma(photo)
    coloured = 0.0 if colour is None else _coloured(colour, ellipse)
    if max(coloured, fine) < MOST_OF_TURN:
        return None
    what = (
        "A coloured line is drawn into the picture along the rim, and would be measured in its "
        "place: take the photo as it came from the camera."
        if coloured > fine
        else "A fine line runs along the rim, drawn into the picture or the shine of a sharp "
        "crest: take the photo as it came from the camera, or turn the light."
    )
    return Refusal("drawn-on", what, {"line_share": max(coloured, fine)})


def _reach_px(ellipse: Ellipse) -> float:
    return NEAR_PX + NEAR * ellipse.m


def _coloured(colour: NDArray[np.uint8], ellipse: Ellipse) -> float:
    """Part of the turn along which a line stands out by its colour."""
    reach = _reach_px(ellipse)
    near = _along(colour, ellipse, np.arange(-reach, reach + 1), smaller=2)
    far = np.concatenate([-reach - BESIDE_PX[::-1], reach + BESIDE_PX])
    beside = _along(colour, ellipse, far, smaller=2)
    metal = beside.mean(axis=1, keepdims=True)
    line, rest = (np.linalg.norm(c - metal, axis=2).max(axis=1) for c in (near, beside))
    return float(np.mean((line > LINE) & (line > OVER_BESIDE * rest)))


def _fine(photo: Photo, ellipse: Ellipse) -> float:
    """Part of the turn along which a line is white, or black, between two sides that are not."""
    reach, apart = _reach_px(ellipse) + FINE_PX, round(FINE_PX / STEP_PX)
    white = _along(photo.grey, ellipse, np.arange(-reach, reach + STEP_PX / 2, STEP_PX))
    white /= photo.full_scale
    shares = []
    for grey in (white, 1 - white):
        line, sides = grey[:, apart:-apart], (grey[:, : -2 * apart], grey[:, 2 * apart :])
        stands_out = (line - np.maximum(*sides) > CONTRAST) & (line > 1 - EXTREME)
        shares.append(float(np.mean(stands_out.any(axis=1))))
    return max(shares)


def _along(
    picture: NDArray[np.uint8] | NDArray[np.uint16],
    ellipse: Ellipse,
    q_px: NDArray[np.floating],
    *,
    smaller: int = 1,
) -> NDArray[np.floating]:
    """What a picture, made `smaller`, shows along the outward normals: (ARCS, len(q_px), ...)."""
    t = np.linspace(0, 2 * np.pi, ARCS, endpoint=False)
    points = ellipse.points(t)[:, None] + q_px[:, None] * ellipse.normals(t)[:, None]
    x, y = np.moveaxis((points + 0.5) / smaller - 0.5, 2, 0).astype(np.float32)
    shown = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(shown, np.float32)
