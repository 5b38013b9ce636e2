"""The test condition: ball, force and dwell, as written in HBW 10/3000/30."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import ClassVar

__all__ = [
    "DWELL_RANGE_S",
    "STANDARD_GRAVITY",
    "STANDARD_PAIRS",
    "TestCondition",
    "parse_test",
    "plain_number",
]

STANDARD_GRAVITY = 9.80665
"""Newtons in a kilogram-force, exact (ISO 80000-4)."""

STANDARD_PAIRS: tuple[tuple[float, float], ...] = (
    *((10.0, kgf) for kgf in (3000.0, 1500.0, 1000.0, 500.0, 250.0, 100.0)),
    *((5.0, kgf) for kgf in (750.0, 250.0, 125.0, 62.5, 25.0)),
    *((2.5, kgf) for kgf in (187.5, 62.5, 31.25, 15.625, 6.25)),
    *((1.0, kgf) for kgf in (30.0, 10.0, 5.0, 2.5, 1.0)),
)
"""The 21 pairs of ball (mm) and force (kgf): BS EN ISO 6506-1:2005, scale table."""

DWELL_RANGE_S = (10.0, 15.0)
"""A dwell inside is left out of the designation (ISO 6506-1; ASTM E10 the same, from memory)."""

# Bounds against slips of the pen, not limits of a standard: its largest ball is 10 mm, its
# largest force 3000 kgf. Common practice, no source.
_MAX_BALL_MM = 25.0
_MAX_FORCE_KGF = 10_000.0
_MAX_DWELL_S = 3600.0
_SAME_INDEX = 0.01  # relative; the standard's indices lie much further apart
_NEWTON_LIKE = 0.003  # a force this close to a standard one in newtons was meant in newtons

_NUMBER = r"([-+]?\d+(?:[.,]\d+)?)"
_PATTERN = re.compile(
    rf"\s*(?:HBW\s*)?{_NUMBER}\s*/\s*{_NUMBER}(?:\s*/\s*{_NUMBER})?\s*", re.IGNORECASE
)
_THOUSANDS = re.compile(r"[-+]?\d{1,3}[.,]\d{3}")


@dataclass(frozen=True, slots=True)
class TestCondition:
    """Ball, force and dwell of a Brinell test.

    Parameters
    ----------
    ball_mm : float
        Ball diameter D.
    force_kgf : float
        Nominal force in kgf, as the designation gives it.
    dwell_s : float or None
        Time under full force; None stands for the standard's 10 s to 15 s.

    Raises
    ------
    ValueError
        If a value is not positive, or beyond anything a Brinell test uses.
    """

    __test__: ClassVar[bool] = False  # the name is the trade's; pytest must not collect it

    ball_mm: float
    force_kgf: float
    dwell_s: float | None = None

    def __post_init__(self) -> None:
        _within("ball diameter", self.ball_mm, _MAX_BALL_MM, "mm")
        _within("force", self.force_kgf, _MAX_FORCE_KGF, "kgf")
        if self.dwell_s is not None:
            _within("dwell", self.dwell_s, _MAX_DWELL_S, "s")

    @property
    def force_n(self) -> float:
        """Force in newtons."""
        return self.force_kgf * STANDARD_GRAVITY

    @property
    def index(self) -> float:
        """Force-diameter index 0.102 F/D² = F(kgf)/D² in kgf/mm²."""
        return self.force_kgf / self.ball_mm**2

    def has_index(self, *indices: float) -> bool:
        """Whether the index is one of these, rounded figures of it counted in."""
        return any(math.isclose(self.index, each, rel_tol=_SAME_INDEX) for each in indices)

    @property
    def is_standard(self) -> bool:
        """Whether ball and force are one of the standard's 21 pairs."""
        return (self.ball_mm, self.force_kgf) in STANDARD_PAIRS

    @property
    def name(self) -> str:
        """Ball/force, with the dwell when it lies outside 10 s to 15 s; `parse_test` reads it."""
        force = plain_number(self.force_kgf)
        if _THOUSANDS.fullmatch(force) and not self.is_standard:
            force += "0"
        text = f"{plain_number(self.ball_mm)}/{force}"
        low, high = DWELL_RANGE_S
        if self.dwell_s is None or low <= self.dwell_s <= high:
            return text
        return f"{text}/{plain_number(self.dwell_s)}"


def parse_test(text: str) -> TestCondition:
    """Read ball mm / force kgf [/ dwell s], e.g. ``"10/3000"``, ``"HBW 2.5/187.5/30"``.

    A decimal comma counts as a point.

    Raises
    ------
    ValueError
        If the text has another form, its force is a standard one in newtons or could be written
        with a mark at thousands, or its numbers make no test.
    """
    match = _PATTERN.fullmatch(text)
    if match is None:
        msg = (
            f"a test is ball mm / force kgf [/ dwell s], like 10/3000 or 10/3000/30 (got {text!r})"
        )
        raise ValueError(msg)
    ball, force, dwell = (None if g is None else float(g.replace(",", ".")) for g in match.groups())
    assert ball is not None and force is not None  # noqa: S101, PT018  (both groups are required)
    _not_newtons(ball, force)
    test = TestCondition(ball, force, dwell)
    if _THOUSANDS.fullmatch(match[2]) and not test.is_standard:
        raise ValueError(
            f"a force of {match[2]} kgf could be {plain_number(force)} or "
            f"{plain_number(1000.0 * force)}: write no mark at thousands, or a zero at the end, "
            f"{match[2]}0 (got {text!r})"
        )
    return test


def plain_number(value: float) -> str:
    """Decimal text without exponent or trailing zeros: 187.5, 3000, 15.625."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return text or "0"


def _not_newtons(ball_mm: float, force: float) -> None:
    for ball, kgf in STANDARD_PAIRS:
        if ball == ball_mm and abs(force / (kgf * STANDARD_GRAVITY) - 1.0) < _NEWTON_LIKE:
            msg = (
                f"the force of a test is in kgf, as in {plain_number(ball)}/{plain_number(kgf)} "
                f"(got {plain_number(force)}, which is {plain_number(kgf)} kgf in newtons)"
            )
            raise ValueError(msg)


def _within(what: str, value: float, limit: float, unit: str) -> None:
    if not (math.isfinite(value) and 0.0 < value <= limit):
        msg = (
            f"{what} of a Brinell test must be above 0 and at most {plain_number(limit)} {unit} "
            f"(got {value:g} {unit}); a test is written ball mm / force kgf, like 10/3000"
        )
        raise ValueError(msg)
