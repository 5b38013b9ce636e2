"""A rim set by a person where the program's is not believed: drawn as an ellipse or marked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.bench.ask import Ask
from rimread.budget import Budget, Component, combine
from rimread.check import Check
from rimread.hardness import Hardness, hardness_from_diameter, indent_checks
from rimread.hardness.rules import RuleSet
from rimread.reading import Reading
from rimread.refusal import Refusal
from rimread.rim.ellipse import Ellipse, design, fit_ellipse
from rimread.scale.model import Scale

__all__ = ["LEAST_MARKS", "Correction", "asked", "from_ellipse", "from_marks"]

Array = NDArray[np.float64]

LEAST_MARKS = 6
"""Five points determine an ellipse; the sixth is the first to say how well they lie on one."""
MOST_MARKS = 400
PLACED_PX = 1.0
"""Half width within which a person puts a line onto an edge, in pixels of the photo: own choice,
no source."""
WITHIN_EDGE = 0.5
"""Part of an edge's own width by which all of a person's places may be off alike: own choice."""
LARGEST_GAP_DEG = 150.0
"""Marks that leave out more of the turn than this fix no second diameter."""
_KEPT = ("tilt", "focus", "pixel scale", "aspect", "distortion")
"""Components of the image's budget that hold whoever set the rim."""
_TURN = 72


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """A person's rim, measured.

    Parameters
    ----------
    how : {"drawn", "marked"}
        An ellipse laid over the rim, or points marked on it.
    d1_mm, d2_mm, mean_mm : float
        Axes on the specimen and their mean.
    width_mm, height_mm : float
        Caliper widths along the photo's x and y.
    angle_deg : float
        Direction of d1 from x towards y.
    centre_px : tuple of float
        In the photo.
    budget : Budget
        Of `mean_mm`, in mm.
    hardness : Hardness
        With that budget.
    checks : tuple of Check
        Those of one indent.
    outline_px : ndarray, shape (M, 2)
        The ellipse in the photo.
    marks_px : tuple of tuple of float
        The points, empty for a drawn ellipse.
    """

    how: Literal["drawn", "marked"]
    d1_mm: float
    d2_mm: float
    mean_mm: float
    width_mm: float
    height_mm: float
    angle_deg: float
    centre_px: tuple[float, float]
    budget: Budget
    hardness: Hardness
    checks: tuple[Check, ...]
    outline_px: Array
    marks_px: tuple[tuple[float, float], ...] = ()


def asked(
    ask: Ask, reading: Reading, scale: Scale, *, rules: str | RuleSet = "iso"
) -> Correction | Refusal:
    """Measure what a person set on the page: marks, or an ellipse.

    Parameters
    ----------
    ask : Ask
        With ``marks``, or with ``ellipse``: centre, two diameters and direction.
    reading, scale, rules
        As for `from_ellipse`.

    Raises
    ------
    ValueError
        If a field cannot be.
    """
    reach = 2.0 * max(scale.width_px, scale.height_px)
    marks = ask.points("marks", -reach, reach)
    if marks is not None:
        return from_marks(marks, reading, scale, rules=rules)
    return from_ellipse(_drawn(ask.part("ellipse"), reach), reading, scale, rules=rules)


def _drawn(drawn: Ask, reach: float) -> Ellipse:
    long, short = (drawn.number(key, 10.0, reach) for key in ("long_px", "short_px"))
    if not long >= short >= 0.5 * long:
        raise ValueError("the longer diameter comes first, and no rim is twice as long as wide")
    turn = 2.0 * math.radians(drawn.number("angle_deg", -360.0, 360.0))
    return Ellipse(
        x=drawn.number("x_px", -reach, reach),
        y=drawn.number("y_px", -reach, reach),
        m=(long + short) / 4,
        e=(long - short) / 4 * math.cos(turn),
        f=(long - short) / 4 * math.sin(turn),
    )


def from_ellipse(
    drawn: Ellipse, reading: Reading, scale: Scale, *, rules: str | RuleSet = "iso"
) -> Correction | Refusal:
    """Measure an ellipse that a person laid over the rim.

    Parameters
    ----------
    drawn : Ellipse
        In pixels of the photo.
    reading : Reading
        What the program found there: test, and what its budget knows of scope and piece.
    scale : Scale
        The scale of that reading.
    rules : {"iso", "astm"} or RuleSet
        Of the checks.

    Returns
    -------
    Correction or Refusal
        ``larger-than-ball``.
    """
    points = drawn.points(np.linspace(0, 2 * np.pi, _TURN, endpoint=False))
    return _measured("drawn", np.asarray(points, np.float64), (), reading, scale, rules)


def from_marks(
    marks_px: Sequence[tuple[float, float]],
    reading: Reading,
    scale: Scale,
    *,
    rules: str | RuleSet = "iso",
) -> Correction | Refusal:
    """Fit an ellipse through points that a person marked on the rim.

    Parameters
    ----------
    marks_px : sequence of (x, y)
        At least `LEAST_MARKS`, in pixels of the photo.
    reading, scale, rules
        As for `from_ellipse`.

    Returns
    -------
    Correction or Refusal
        ``too-few-marks``, ``marks-one-sided``, ``marks-no-rim``, ``larger-than-ball``.
    """
    if not LEAST_MARKS <= len(marks_px) <= MOST_MARKS:
        return Refusal(
            "too-few-marks",
            f"mark at least {LEAST_MARKS} points all round the rim (there are {len(marks_px)})",
        )
    points = np.asarray(marks_px, dtype=np.float64)
    return _measured("marked", points, tuple(marks_px), reading, scale, rules)


def _measured(  # noqa: PLR0917  (the two ways meet here)
    how: Literal["drawn", "marked"],
    points_px: Array,
    marks: tuple[tuple[float, float], ...],
    reading: Reading,
    scale: Scale,
    rules: str | RuleSet,
) -> Correction | Refusal:
    points = scale.mm_from_px(points_px)
    fitted = _fitted(points, 1.0 / scale.px_per_mm_x)
    if isinstance(fitted, Refusal):
        return fitted
    mean_mm = 2 * fitted.m
    if mean_mm >= reading.test.ball_mm:
        return Refusal(
            "larger-than-ball",
            f"this rim is {mean_mm:.3f} mm across and the ball only {reading.test.ball_mm:g} mm",
        )
    budget = _budget(points if marks else None, fitted, reading, scale)
    a, b = fitted.semi_axes
    centre = scale.px_from_mm(np.array([fitted.x, fitted.y]))
    return Correction(
        how=how,
        d1_mm=2 * a,
        d2_mm=2 * b,
        mean_mm=mean_mm,
        width_mm=fitted.width,
        height_mm=fitted.height,
        angle_deg=fitted.angle_deg,
        centre_px=(float(centre[0]), float(centre[1])),
        budget=budget,
        hardness=hardness_from_diameter(mean_mm, budget, reading.test),
        checks=(
            *indent_checks(2 * a, 2 * b, reading.test, rules=rules, U_mean_mm=budget.U),
            *(check for check in reading.checks if check.code.startswith("scale-")),
        ),
        outline_px=scale.px_from_mm(fitted.points(np.linspace(0, 2 * np.pi, 181))),
        marks_px=marks,
    )


def _fitted(points: Array, px_mm: float) -> Ellipse | Refusal:
    """Ellipse on the specimen plane; every point counts, for a person set it."""
    (x, y), (long, short), angle = cv2.fitEllipse((points / px_mm).astype(np.float32))
    no_rim = Refusal("marks-no-rim", "these points do not lie on the rim of an indent")
    if not (math.isfinite(x + y + long + short) and min(long, short) >= 0.5 * max(long, short) > 0):
        return no_rim  # marks all at one place have no axes
    h, t = (long - short) / 4 * px_mm, 2 * math.radians(angle)
    start = Ellipse(
        x * px_mm, y * px_mm, (long + short) / 4 * px_mm, h * math.cos(t), h * math.sin(t)
    )
    wide = 0.1 * start.m  # nothing a person marked is thrown out
    ellipse, residuals, _ = fit_ellipse(points, np.ones(len(points)), start, floor=wide)
    turns = np.sort(ellipse.parameter(points))
    gap = math.degrees(float(np.max(np.diff(np.append(turns, turns[0] + 2 * np.pi)))))
    if gap > LARGEST_GAP_DEG:
        return Refusal(
            "marks-one-sided",
            f"the marks leave out {gap:.0f}° of the rim: mark points all round it",
        )
    if not float(np.abs(residuals).max()) <= 0.1 * ellipse.m:  # not so for nan either
        return no_rim
    return ellipse


def _budget(marks: Array | None, fitted: Ellipse, reading: Reading, scale: Scale) -> Budget:
    """What a person's rim is uncertain by: the places, the edge, scope and piece as before."""
    px_per_mm = (scale.px_per_mm_x + scale.px_per_mm_y) / 2
    edge_px = reading.rim.transition_px
    parts = [
        Component(
            "rim set by hand",
            2.0 * PLACED_PX / math.sqrt(3.0) / px_per_mm,
            how=f"±{PLACED_PX:g} px, rectangular, all round alike; own choice, no source",
        ),
        Component(
            "edge width",
            2.0 * WITHIN_EDGE * edge_px / px_per_mm,
            how=f"half of an edge {edge_px:.2f} px wide; own choice, no source",
            common=True,
        ),
    ]
    if marks is not None:
        parts.append(_scatter(marks, fitted))
    kept = [part for part in reading.diameters.budget.components if part.name in _KEPT]
    return combine([*parts, *kept])


def _scatter(marks: Array, fitted: Ellipse) -> Component:
    """Of the mean diameter, from how the marks lie about the ellipse."""
    t = fitted.parameter(marks)
    rows = design(fitted, t)
    off = np.sum((marks - fitted.points(t)) * fitted.normals(t), axis=1)
    dof = len(marks) - 5
    variance = float(off @ off) / dof
    u = 2.0 * math.sqrt(variance * float(np.linalg.pinv(rows.T @ rows)[2, 2]))
    return Component("scatter of the marks", u, dof=float(dof), how=f"{len(marks)} points")
