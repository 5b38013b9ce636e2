"""The computation by hand, step by step, to be checked with a pocket calculator."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rimread.hardness.condition import STANDARD_GRAVITY, TestCondition, plain_number
from rimread.hardness.formula import brinell, designation, rounded

__all__ = ["Step", "working"]


@dataclass(frozen=True, slots=True)
class Step:
    """One line: what, by which formula, with the numbers in, and what comes out."""

    what: str
    formula: str
    numbers: str
    result: str


def working(d1_mm: float, d2_mm: float, test: TestCondition) -> tuple[Step, ...]:
    """Steps from two diameters to the designation.

    Each line is worked from the figures printed above it (nine digits), so that a pocket
    calculator gives the same.

    Raises
    ------
    ValueError
        If the mean diameter is not between 0 and the ball diameter.
    """
    D = test.ball_mm
    brinell((d1_mm + d2_mm) / 2.0, test)  # says what is wrong with a diameter
    ball, kgf, newtons = plain_number(D), plain_number(test.force_kgf), _shown(test.force_n)
    d = _shown((d1_mm + d2_mm) / 2.0)
    squares = _shown(D * D), _shown(float(d) ** 2)
    root = _shown(math.sqrt(float(squares[0]) - float(squares[1])))
    depth = _shown((D - float(root)) / 2.0)
    area = _shown(math.pi * D * float(depth))
    value = float(newtons) / STANDARD_GRAVITY / float(area)
    return (
        Step("mean diameter", "d = (d1 + d2) / 2", f"({d1_mm:.9g} + {d2_mm:.9g}) / 2", f"{d} mm"),
        Step("root", "√(D² - d²)", f"√({squares[0]} - {squares[1]})", f"{root} mm"),
        Step("depth", "h = (D - √(D² - d²)) / 2", f"({ball} - {root}) / 2", f"{depth} mm"),
        Step("area of the cap", "A = π D h", f"π × {ball} × {depth}", f"{area} mm²"),
        Step("force", "F = kgf × 9.80665", f"{kgf} × {STANDARD_GRAVITY}", f"{newtons} N"),
        Step(
            "hardness",
            "HBW = F / 9.80665 / A",
            f"{newtons} / {STANDARD_GRAVITY} / {area}",
            f"{value:.7g}",
        ),
        Step("rounding", "whole from 100, 0.1 from 10, 0.01 below", f"{value:.7g}", rounded(value)),
        Step("designation", "value HBW D/F", "", designation(value, test)),
        *_what_if(float(d), test, value),
    )


def _what_if(d: float, test: TestCondition, hbw: float) -> tuple[Step, ...]:
    step_mm = 0.01
    if not step_mm < d < test.ball_mm - step_mm:
        return ()
    softer, harder = brinell(d + step_mm, test), brinell(d - step_mm, test)
    return (
        Step(
            f"if d were {step_mm:g} mm larger or smaller",
            "",
            f"d = {d + step_mm:.7g} or {d - step_mm:.7g} mm",
            f"{softer:.1f} or {harder:.1f} HBW ({softer - hbw:+.1f} or {harder - hbw:+.1f})",
        ),
    )


def _shown(value: float) -> str:
    return f"{value:.9g}"
