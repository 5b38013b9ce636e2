"""Another ring about the same centre, as well explained as the rim: one of the two must go."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from rimread.refusal import Refusal
from rimread.rim.ellipse import Ellipse
from rimread.rim.gates import CLEAR_AGREEMENT
from rimread.rim.model import Rim
from rimread.rim.trace import Ring

__all__ = ["AS_SHARP", "may_rival", "rivalled", "rivals"]

RIVAL = 0.8
"""Evidence of another ring, relative to the rim's, that makes it a rival;"""
SURE_EVIDENCE, SURE_AGREEMENT = 1.0, 0.9
"""or a ring as sure as this whatever the rim's own: ink and the edge of a field of view are
stronger than rims, whose evidence is 2 to 4 in clear photos."""
RIVAL_OFF, RIVAL_RATIO = 0.15, 0.6
"""its centre within 0.15 radii of the rim's and at least 0.6 of its size (a glint is smaller);"""
RIVAL_PX = 12.0
"""nearer than this in radius it is the same rim traced again."""
STRONG_RIVAL, AS_SHARP = 0.5, 2.5
"""A rival with less than half of the rim's evidence and 2.5 times its blur is none: the glow of a
bowl ends in such edges. An edge in the rim's plane is as sharp, within three steps of `BLURS_PX`.
Own choice."""


def rivals(rim: Rim, rings: Iterable[Ring]) -> list[Ring]:
    """Other rings about the same centre that are as well explained as the rim."""
    return [other for other in rings if _as_well_explained(rim, other)]


def _as_well_explained(rim: Rim, other: Ring) -> bool:
    ratio = other.ellipse.m / rim.ellipse.m
    off = np.hypot(other.ellipse.x - rim.ellipse.x, other.ellipse.y - rim.ellipse.y)
    as_good = other.evidence > RIVAL * rim.evidence and other.agreement > CLEAR_AGREEMENT
    sure = other.evidence > SURE_EVIDENCE and other.agreement > SURE_AGREEMENT
    same = abs(other.ellipse.m - rim.ellipse.m) < max(RIVAL_PX, 2 * rim.transition_px)
    near = off < RIVAL_OFF * rim.ellipse.m and ratio > RIVAL_RATIO
    return bool((as_good or sure) and near and not same)


def may_rival(rim: Rim, other: Ring, blur_px: float) -> bool:
    """Whether a rival of some blur is strong, or else sharp as what lies in the rim's plane."""
    return other.evidence > STRONG_RIVAL * rim.evidence or blur_px < AS_SHARP * rim.blur_px


def rivalled(rim: Ellipse, rival: Ellipse) -> Refusal:
    """A refusal that names the diameters of both."""
    one, two = sorted((2 * rim.m, 2 * rival.m))
    return Refusal(
        "rival-rings",
        f"Two rings could be the rim, {one:.0f} and {two:.0f} pixels across: "
        "turn the light and photograph again.",
        {"diameter_px": 2 * rim.m, "rival_px": 2 * rival.m},
    )
