"""Lines drawn into a picture along the rim, as by a program that measured it before.

Such a line is sharper and stronger than the rim and would be read in its place. It tells itself by
its colour: metal has little, and what it has does not come and go within a few pixels. One in black
or white is told by being finer than anything a lens shows. A line of ink, drawn by hand round the
indent, is far darker than the metal on both of its sides.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo, linear_light
from rimread.refusal import Refusal
from rimread.rim.channel import DARK
from rimread.rim.ellipse import Ellipse
from rimread.rim.sampling import seen_along

__all__ = ["drawn_along", "ink_along"]

CHROMA = np.array([[0.5, -0.08131], [-0.33126, -0.41869], [-0.16874, 0.5]], np.float32)
"""Cb and Cr, less their zero, of blue, green and red (ITU-T T.871, clause 7, from memory)."""
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
FINE_PX = 3.0
"""A line of a pixel or two is within 3 px brighter, or darker, than both sides of it:"""
CONTRAST, EXTREME = 0.12, 0.12
"""by so much, and so near to white or black, in grey values of full scale; or"""
NARROW_CONTRAST, NARROW_PX = 0.08, 2.0
"""by so much, and so narrow (area over height): the lens spreads a line over 2.5 standard
deviations of its blur, which is seldom below 0.7 px, and the pixels spread it further. Own choice.
Of 4195 simulated photos two have a crest that shines near to white on `MOST_OF_TURN`, none one that
is so narrow. How many lines each finds: tests/accuracy/altered.py."""
NEAR_PX, NEAR = 2.0, 0.01
"""A line as far from the rim as this, and this share of its radius more, is near,"""
BESIDE_PX = np.arange(6.0, 19.0, 2.0)
"""and beside it is what lies so much farther off."""
INK, OF_TURN = 0.22, 0.85
"""Ink is darker than the metal 0.2 to 0.3 radii away on both of its sides by so much, on so much of
the turn. Black ink leaves a tenth of the light or less (common practice, no source); a crest's dark
line left 0.39 and more of it on 547 rims of simulated photos, and one of half the light comes down
to 0.22 where linear values are taken for sRGB (0.5 to the power 2.2). Own choice."""
INK_WITHIN, INK_SIDES, INK_STEP = 0.14, ((0.7, 0.8), (1.2, 1.3)), 0.01
"""A line lies within so many radii of the ellipse; where its two sides are; a step, in radii."""
ARCS, POINTS, STEP_PX = 180, 5, 0.5
"""Grey values are the means of so many points of an arc: noise is narrow, too."""

INKED = Refusal(
    "drawn-on",
    "A dark line, as of ink, is what was found round the indent: wipe it off and photograph again.",
)


def drawn_along(
    photo: Photo, ellipse: Ellipse, *, colour: NDArray[np.uint8] | None
) -> Refusal | None:
    """Refuse a rim along which a line is drawn.

    Parameters
    ----------
    photo : Photo
    ellipse : Ellipse
        The rim in px.
    colour : ndarray, shape (H, W, 3), uint8, or None
        Its `half_size_colour`.
    """
    if ink_along(photo, ellipse, colour=colour) > OF_TURN:
        return INKED
    fine = _fine(photo, ellipse)
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


def ink_along(photo: Photo, ellipse: Ellipse, *, colour: NDArray[np.uint8] | None) -> float:
    """Part of the turn on which an ellipse lies on a line of ink.

    Coloured ink is dark in one channel at least, of those that see the metal.

    Parameters
    ----------
    photo : Photo
    ellipse : Ellipse
        In px.
    colour : ndarray, shape (H, W, 3), uint8, or None
        Its `half_size_colour`.
    """

    def light(first: float, last: float) -> NDArray[np.floating]:
        q_px = ellipse.m * (np.arange(first, last + INK_STEP / 2, INK_STEP) - 1)
        if colour is None:
            return linear_light(photo, seen_along(photo.grey, ellipse, q_px, arcs=ARCS))[..., None]
        seen = seen_along(colour, ellipse, q_px, arcs=ARCS, smaller=2)
        return linear_light(photo, seen * np.float32(photo.full_scale / 255))

    sides = np.minimum(*(np.median(light(*side), axis=1) for side in INK_SIDES))
    line = light(1 - INK_WITHIN, 1 + INK_WITHIN).min(axis=1)
    metal = sides > linear_light(photo, np.array(DARK * photo.full_scale))
    return float(np.mean((metal & (line < INK * sides)).any(axis=1)))


def _reach_px(ellipse: Ellipse) -> float:
    return NEAR_PX + NEAR * ellipse.m


def _coloured(colour: NDArray[np.uint8], ellipse: Ellipse) -> float:
    """Part of the turn along which a line stands out by its colour."""
    reach = _reach_px(ellipse)
    far = np.concatenate([-reach - BESIDE_PX[::-1], reach + BESIDE_PX])
    near, beside = (
        seen_along(colour, ellipse, q_px, arcs=ARCS, smaller=2) @ CHROMA
        for q_px in (np.arange(-reach, reach + 1), far)
    )
    metal = beside.mean(axis=1, keepdims=True)
    line, rest = (np.linalg.norm(c - metal, axis=2).max(axis=1) for c in (near, beside))
    return float(np.mean((line > LINE) & (line > OVER_BESIDE * rest)))


def _fine(photo: Photo, ellipse: Ellipse) -> float:
    """Part of the turn along which a line is brighter, or darker, and finer than a lens shows."""
    reach = _reach_px(ellipse) + FINE_PX
    q_px = np.arange(-reach, reach + STEP_PX / 2, STEP_PX)
    white = seen_along(photo.grey, ellipse, q_px, arcs=ARCS, points=POINTS) / photo.full_scale
    return max(_lined(white), _lined(1 - white))


def _lined(white: NDArray[np.floating]) -> float:
    """Part of the arcs with a fine line, brighter than beside it: white is (ARCS, places)."""
    apart = round(FINE_PX / STEP_PX)
    line, sides = white[:, apart:-apart], (white[:, : -2 * apart], white[:, 2 * apart :])
    over = line - np.maximum(*sides)
    extreme = (over > CONTRAST) & (line > 1 - EXTREME)
    arc, peak = np.arange(len(white)), over.argmax(axis=1)
    about = white[arc[:, None], peak[:, None] + np.arange(2 * apart + 1)]
    narrow = (over[arc, peak] > NARROW_CONTRAST) & _narrower(about)
    return float(np.mean(extreme.any(axis=1) | narrow))


def _narrower(about: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Whether lines, in the middle of (arcs, places), have less area for their height than that.

    Both over the straight light from their one side to the other.
    """
    over = about - np.linspace(about[:, 0], about[:, -1], about.shape[1], axis=1)
    return np.asarray(STEP_PX * over.sum(axis=1) < NARROW_PX * over[:, about.shape[1] // 2])
