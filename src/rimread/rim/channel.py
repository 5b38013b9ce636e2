"""In which grey values a rim is read: the luma, or one colour where the luma hides what it does.

Light of one colour, as from a blue lamp or through a green filter, drives one channel of a camera.
The luma of such a picture is dark though that channel is well exposed, or grey though it clips:
blue is 11 % of the luma, red 30 %, green 59 %. A clipped channel flattens the light beside the rim
and moves the edge in it; where the luma does not show that, another channel does better.
"""

from __future__ import annotations

from typing import get_args

import numpy as np
from numpy.typing import NDArray

from rimread.colour import in_channel
from rimread.photo import Channel, Photo
from rimread.rim.ellipse import Ellipse
from rimread.rim.profiles import CLIPPED
from rimread.rim.sampling import seen_along

__all__ = ["DARK", "brighter_side", "clearest"]

LUMA = np.array([0.114, 0.587, 0.299], np.float32)
"""Shares of blue, green and red (ITU-R BT.601-7, 2.5.1, from memory; T.871 takes the same)."""
DARK = 0.1
"""Brighter side of the rim below a tenth of full scale (coded): a few grey steps carry the rim."""
TINT = 1.1
"""Light whose channels differ by less (coded, by a quarter in light) is white: what clips in one
clips a little later in the others, and in the luma. Own choice."""
HIDDEN = 0.05
"""Part of the turn on which a channel may clip unseen: the ellipse hardly notes so few arcs. Own
choice."""
CLIPPED_COST = 2.0
"""A channel that clips on half of the turn is worth nothing, however bright. Own choice."""
ARCS = 120
NEAR_PX, STEP_PX, EDGE_PX = 10.0, 2.0, 3.0
"""Looked at within 10 px of the rim; the sides of it are more than 3 px away."""


def clearest(photo: Photo, colour: NDArray[np.uint8] | None, ellipse: Ellipse) -> Photo:
    """The photo, in the values of one of its channels where that shows the rim better.

    Parameters
    ----------
    photo : Photo
        In luma.
    colour : ndarray, shape (H, W, 3), uint8, or None
        Its `half_size_colour`.
    ellipse : Ellipse
        About where the rim is, in px.
    """
    if colour is None:
        return photo
    q_px = np.arange(-NEAR_PX, NEAR_PX + 1, STEP_PX)
    seen = seen_along(colour, ellipse, q_px, arcs=ARCS, smaller=2) / np.float32(255)
    if not _tinted(seen):
        return photo
    luma, clips = seen @ LUMA, seen.max(axis=1) > CLIPPED
    hidden = clips.any(axis=1) & (luma.max(axis=1) <= CLIPPED)
    dark = np.median(brighter_side(luma, q_px)) < DARK
    if hidden.mean() <= HIDDEN and not dark:
        return photo
    level = np.median(brighter_side(seen, q_px), axis=0)
    worth = np.where(level < DARK, -np.inf, level - CLIPPED_COST * clips.mean(axis=0))
    best = int(np.argmax(worth))
    return photo if level[best] < DARK else in_channel(photo, get_args(Channel)[best])


def _tinted(seen: NDArray[np.floating]) -> bool:
    """Whether the light (arcs, places, channels) has a colour; the darker quarter clips least."""
    level = np.percentile(seen, 25, axis=(0, 1))
    return bool(level.max() > TINT * level.min())


def brighter_side(light: NDArray[np.floating], q_px: NDArray[np.floating]) -> NDArray[np.floating]:
    """Light of the brighter side of a rim at each arc, of (arcs, places) or of each channel."""
    inner = light[:, q_px < -EDGE_PX].mean(axis=1)
    outer = light[:, q_px > EDGE_PX].mean(axis=1)
    return np.asarray(np.maximum(inner, outer))
