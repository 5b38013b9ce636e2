"""Lines drawn into a picture along the rim, as by a program that measured it before.

Such a line is sharper and stronger than the rim and would be read in its place. It tells itself by
its colour: metal has little, and what it has does not come and go within a few pixels.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo
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
NEAR_PX, NEAR = 2.0, 0.01
"""A line as far from the rim as this, and this share of its radius more, is near,"""
BESIDE_PX = np.arange(6.0, 19.0)
"""and beside it is what lies so much farther off."""
ARCS = 360


def drawn_along(photo: Photo, ellipse: Ellipse) -> Refusal | None:
    """Refuse a rim along which a coloured line is drawn.

    Parameters
    ----------
    photo : Photo
    ellipse : Ellipse
        The rim in px.
    """
    if photo.chroma is None:
        return None
    reach = NEAR_PX + NEAR * ellipse.m
    near = _chroma_along(photo.chroma, ellipse, np.arange(-reach, reach + 1))
    far = np.concatenate([-reach - BESIDE_PX[::-1], reach + BESIDE_PX])
    beside = _chroma_along(photo.chroma, ellipse, far)
    metal = np.median(beside, axis=1, keepdims=True)
    line, rest = (np.linalg.norm(c - metal, axis=2).max(axis=1) for c in (near, beside))
    share = float(np.mean((line > LINE) & (line > OVER_BESIDE * rest)))
    if share < MOST_OF_TURN:
        return None
    return Refusal(
        "drawn-on",
        "A coloured line is drawn into the picture along the rim, and would be measured in its "
        "place: take the photo as it came from the camera.",
        {"line_share": share},
    )


def _chroma_along(
    chroma: NDArray[np.uint8], ellipse: Ellipse, q_px: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Cr and Cb (ARCS, len(q_px), 2) at distances along the outward normals of an ellipse."""
    t = np.linspace(0, 2 * np.pi, ARCS, endpoint=False)
    points = ellipse.points(t)[:, None] + q_px[:, None] * ellipse.normals(t)[:, None]
    x, y = np.moveaxis((points + 0.5) / 2 - 0.5, 2, 0).astype(np.float32)
    return np.asarray(
        cv2.remap(chroma, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32
    )
