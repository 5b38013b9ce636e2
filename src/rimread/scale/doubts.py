"""What speaks against the lines found, against the division told, and against the fit."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.scale.fit import U_ASPECT, Fit
from rimread.scale.ladder import MIN_LINES, Ladder
from rimread.scale.model import MOST_K1, not_square

__all__ = [
    "division_doubt",
    "fit_doubt",
    "fits",
    "no_lines",
    "photos_disagree",
    "too_few",
    "unresolved",
]

_MOST_SCATTER = 5e-4
"""Relative standard uncertainty from line scatter beyond which a scale is of no use.

A measuring device may be off by 0.5 % (ISO 6506-2, from memory); the scale may use up a fifth of
that at k = 2. No source for the fifth.
"""

_INCH_MM = 25.4

_SPARE_LINES = 1
"""Lines that dust may feign past the end of a scale."""

_SPAN_SLACK = 0.2
"""Slack in calling a scale too short: a wrong division is wrong by 2, 5 or 10."""

_ALIKE_SLACK = 0.2
"""No camera's pixels are this far from square: the photos are of different magnification."""

_APART_SLACK, _SURE = 2 * U_ASPECT, 5.0
"""Photos through one objective give one px/mm as pixels are square: what is off their common one by
2 standard uncertainties of that (two photos then differ by 4), and by 5 of its own lines' scatter,
is of another. Own choice."""


def unresolved(name: str, ladder: Ladder) -> Refusal:
    """Nothing proves that the lines of a ladder are the finest."""
    return Refusal(
        "lines-unresolved",
        f"{name}: the finest lines, which the longer 5th and 10th lines belong to, cannot be told "
        "apart for sure; refocus, take a stronger objective or better light, and bring the long "
        "ends of the lines into view.",
        {"lines_seen": float(ladder.lines), "pitch_px": ladder.pitch_px},
    )


def too_few(name: str, lines: int) -> Refusal:
    """Fewer lines are seen than a scale needs."""
    return Refusal(
        "too-few-lines",
        f"{name}: only {lines} lines side by side are seen; a scale needs at least {MIN_LINES}: "
        "bring more of the stage micrometer into view or take a weaker objective.",
        {"lines_seen": float(lines)},
    )


def no_lines(name: str) -> Refusal:
    """No lines are seen, or too few side by side to be known for a ruling."""
    return Refusal(
        "no-lines",
        f"{name}: no ruled lines are seen, or fewer than {MIN_LINES} side by side; put a stage "
        "micrometer under the objective, a weaker one where fewer lines fit into view, focus on "
        "its lines and photograph it again.",
    )


def fits(ladder: Ladder, division_mm: float, length_mm: float | None) -> bool:
    """Whether both ends of the scale are seen and the lines between them add up to its length."""
    if length_mm is None or not all(ladder.ends_seen) or ladder.every == 2:
        return False
    return abs((ladder.lines - 1) * division_mm / length_mm - 1.0) < 0.5 / ladder.lines


def division_doubt(
    ladder: Ladder, name: str, division_mm: float, length_mm: float | None
) -> Refusal | None:
    """Why the division cannot be the spacing of these lines."""
    span = (ladder.lines - 1) * division_mm
    evidence = {"lines_seen": float(ladder.lines), "span_mm": span}
    if length_mm is not None and span > length_mm + _SPARE_LINES * division_mm:
        return Refusal(
            "wrong-division",
            f"{name}: {ladder.lines} lines {division_mm:g} mm apart would span {span:g} mm, more "
            f"than the scale's {length_mm:g} mm; give the spacing of the finest lines as "
            "--division.",
            evidence,
        )
    if length_mm is not None and all(ladder.ends_seen) and span < length_mm * (1 - _SPAN_SLACK):
        return Refusal(
            "wrong-division",
            f"{name}: both ends of the scale are seen and its {ladder.lines} lines, "
            f"{division_mm:g} mm apart, span {span:g} mm, not {length_mm:g} mm; give the spacing "
            "of the finest lines as --division and the length of this scale.",
            evidence,
        )
    if _steps_of_ten(division_mm) or _steps_of_ten(division_mm / _INCH_MM):
        return None
    if fits(ladder, division_mm, length_mm):
        return None
    return Refusal(
        "wrong-division",
        f"{name}: every 5th and 10th line is longer, which with a division of {division_mm:g} mm "
        f"would mark {5 * division_mm:g} and {10 * division_mm:g} mm; give the spacing of the "
        "finest lines as --division; if it is right, show both ends of the scale in the photo and "
        "give its length.",
        evidence,
    )


def _steps_of_ten(division: float) -> bool:
    """Whether 5 and 10 divisions are round: 1 or 2 times a power of ten (rulings count in tens)."""
    mantissa = division / 10.0 ** math.floor(math.log10(division) + 1e-9)
    return min(abs(mantissa - 1.0), abs(mantissa - 2.0)) < 1e-6


def photos_disagree(how: str) -> Refusal:
    """The photos are not of one magnification."""
    return Refusal(
        "photos-disagree",
        f"{how}; photograph the same stage micrometer through the same objective in all of them, "
        "level and in the middle of the field, along and across, and touch neither zoom nor focus "
        "tube in between.",
    )


def _disagreement(fit: Fit, photos: Sequence[Photo]) -> Refusal | None:
    """Why the photos cannot be of one magnification."""
    low, high = min(fit.alone_px_per_mm), max(fit.alone_px_per_mm)
    if high > low * (1 + _ALIKE_SLACK):
        return photos_disagree(f"The photos give {low:.2f} to {high:.2f} px/mm")
    if not fit.aspect_measured and not_square(fit.values[0], fit.values[1]):
        return photos_disagree("Where pixels are square the photos contradict each other")
    for photo, off, u in zip(photos, fit.apart, fit.u_apart, strict=True):
        if off > max(_APART_SLACK, _SURE * u):
            return photos_disagree(
                f"{photo.name} is {100 * off:.2g} % off what all photos together give"
            )
    return None


def fit_doubt(fit: Fit, photos: Sequence[Photo]) -> Refusal | None:
    """Why the fitted scale must not be used."""
    for photo, lines in zip(photos, fit.lines_used, strict=True):
        if lines < MIN_LINES - 2:  # dust, glare, exposure took the rest
            return too_few(photo.name, max(lines, 1))
    disagreement = _disagreement(fit, photos)
    if disagreement is not None:
        return disagreement
    if abs(fit.values[2]) > MOST_K1:
        return Refusal(
            "distorted",
            f"The picture is distorted by {100 * fit.values[2]:.0f} % at its corners; up to "
            f"{100 * MOST_K1:.0f} % can be corrected: use another lens or the middle of the field.",
        )
    scatter = math.sqrt(float(np.max(np.diag(fit.scatter)[:2] / fit.values[:2] ** 2)))
    if scatter > _MOST_SCATTER:
        return Refusal(
            "lines-scatter",
            f"The lines scatter so much that px/mm is known to {200 * scatter:.2f} % at best "
            f"(k = 2; {200 * _MOST_SCATTER:.2f} % is allowed); refocus, clean the stage "
            "micrometer, bring more of its lines into view.",
            {"u_relative": scatter},
        )
    return None
