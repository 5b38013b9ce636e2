"""A ring about a flat face is no rim: the slope of a bowl shows in its light.

A drilled hole, a sticker, a bolt's head, a drying drop or a pool of oil has a round edge, too, but
what lies within is flat or dark and returns the same light all over.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo, linear_light
from rimread.refusal import Refusal
from rimread.rim.ellipse import Ellipse
from rimread.rim.sampling import rays_from

__all__ = ["flat_face", "spread_within"]

FLAT = 0.04
"""Light within a ring that spreads by less, of its median, is that of a flat face. A bowl as matte
as can be (Lambert) returns the cosine of its slope, by 3 % less at the rim than in the middle where
the indent is 0.24 D, the flattest that ISO 6506-1 allows, and by 8 % at 0.4 D; metal shines, and
varies more. Of 4195 rims of simulated photos none is below 0.05. Own choice."""
INNER, RINGS, ANGLES = 0.85, 16, 72
"""Looked at within so much of the radius, on rings of equal areas: beyond is the rim's blur."""
SMOOTHED, PX_ACROSS = 0.14, 128
"""Smoothed over this share of the radius, in a picture of about so many pixels, against grain."""
DARKEST_PART = 5
"""Percentile of the darkest part: a scratch is less. The brightest place counts, however small:
light along the axis comes back from a bowl's level bottom alone."""


def spread_within(photo: Photo, ellipse: Ellipse) -> float:
    """Spread of the light within a ring over its median: from its darkest to its brightest part.

    Parameters
    ----------
    photo : Photo
    ellipse : Ellipse
        The rim in px.
    """
    light = _light_within(photo, ellipse)
    low, middle = np.percentile(light, (DARKEST_PART, 50))
    return float((light.max() - low) / middle) if middle > 0 else 0.0


def flat_face(spread: float) -> Refusal | None:
    """Refuse a ring whose inside is lit as evenly as a flat face."""
    if spread >= FLAT:
        return None
    return Refusal(
        "flat-inside",
        "What lies within the ring is as evenly lit as a flat face, and a bowl hardly ever is: is "
        "it an indent, and wiped clean of oil? If so, turn the light.",
        {"spread": spread},
    )


def _light_within(photo: Photo, ellipse: Ellipse) -> NDArray[np.floating]:
    """Smoothed light at places of equal area within an ellipse: (ANGLES, RINGS)."""
    reach = np.array([ellipse.width, ellipse.height]) / 2
    centre = np.array([ellipse.x, ellipse.y])
    first, last = np.floor(centre - reach).astype(int), np.ceil(centre + reach).astype(int) + 1
    first = np.maximum(first, 0)
    step = max(1, int(2 * ellipse.m / PX_ACROSS))
    part = photo.grey[first[1] : last[1] : step, first[0] : last[0] : step]
    across = 2 * round(SMOOTHED * ellipse.m / step / 2) + 1
    smooth = cv2.blur(linear_light(photo, part), (across, across))
    x, y = (centre - first) / step
    inner = Ellipse(x, y, ellipse.m / step, ellipse.e / step, ellipse.f / step)
    t = np.linspace(0, 2 * np.pi, ANGLES, endpoint=False)
    light, _ = rays_from(smooth, inner, t, INNER * np.sqrt((np.arange(RINGS) + 0.5) / RINGS))
    return light
