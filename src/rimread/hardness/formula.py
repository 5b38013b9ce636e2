"""The Brinell formula, its inverse, its sensitivities, and how a value is written.

F is in kgf, D and d in mm; with F in newtons the formula carries the factor 1/9.80665, which
the standards print as 0.102. Taking 0.102 at its word puts 8 of 65 published table values one
unit off, so the nominal kgf go in directly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from rimread.budget import Budget, combine
from rimread.hardness.condition import TestCondition, plain_number

__all__ = [
    "Hardness",
    "Sensitivities",
    "brinell",
    "depth_mm",
    "designation",
    "diameter_for",
    "hardness_from_diameter",
    "hbw_per_mm",
    "rounded",
    "sensitivities",
]


@dataclass(frozen=True, slots=True)
class Sensitivities:
    """Relative change of HBW per relative change of diameter or ball; that of the force is 1."""

    diameter: float
    """d ln HBW / d ln d, from -2.03 at d = 0.24 D to -2.25 at 0.6 D."""
    ball: float
    """d ln HBW / d ln D, from 0.03 to 0.25."""


@dataclass(frozen=True, slots=True)
class Hardness:
    """A hardness from one mean diameter.

    Parameters
    ----------
    hbw : float
        Unrounded.
    budget : Budget
        In HBW.
    test : TestCondition
        The condition it holds for.
    covers : str
        What the uncertainty covers, in words; what is not named is not in it.
    """

    hbw: float
    budget: Budget
    test: TestCondition
    covers: str

    @property
    def designation(self) -> str:
        """Value, symbol and condition, e.g. ``229 HBW 10/3000``."""
        return designation(self.hbw, self.test)


def brinell(d_mm: float, test: TestCondition) -> float:
    """HBW from the mean indent diameter.

    HBW = 2 F / (π D (D - sqrt(D² - d²))), ISO 6506-1 table of symbols and ASTM E10-08 eq. 1,
    written as 2 F (D + sqrt(D² - d²)) / (π D d²), the same without the cancelling difference.

    Parameters
    ----------
    d_mm : float
        Mean diameter.
    test : TestCondition
        Ball and force.

    Returns
    -------
    float
        Unrounded.

    Raises
    ------
    ValueError
        Unless 0 < d < D.
    """
    d, D = _diameter(d_mm, test), test.ball_mm
    return 2.0 * test.force_kgf * (D + math.sqrt((D - d) * (D + d))) / (math.pi * D * d * d)


def diameter_for(hbw: float, test: TestCondition) -> float:
    """Mean diameter in mm that gives this HBW: d = 2 sqrt(h (D - h)), h = F / (π D HBW).

    Raises
    ------
    ValueError
        If no indent smaller than the ball gives it: HBW must exceed 2 F / (π D²).
    """
    D = test.ball_mm
    least = 2.0 * test.force_kgf / (math.pi * D * D)
    if not (math.isfinite(hbw) and hbw > least):
        raise ValueError(
            f"HBW {test.name} must be above {least:.4g}, where the whole ball would be sunk "
            f"(got {hbw:g})"
        )
    h = test.force_kgf / (math.pi * D * float(hbw))
    return 2.0 * math.sqrt(h * (D - h))


def depth_mm(d_mm: float, test: TestCondition) -> float:
    """Indent depth h = (D - sqrt(D² - d²))/2, ISO 6506-1 table of symbols.

    Raises
    ------
    ValueError
        Unless 0 < d < D.
    """
    d, D = _diameter(d_mm, test), test.ball_mm
    return d * d / (2.0 * (D + math.sqrt((D - d) * (D + d))))


def sensitivities(d_mm: float, test: TestCondition) -> Sensitivities:
    """Relative sensitivities of HBW at one mean diameter.

    With r = d/D and s = sqrt(1 - r²), d ln HBW/d ln d = -r²/(s (1 - s)) = -(1 + s)/s, and HBW
    depends on F/D² and d/D only, so that the one to D is the rest to -2.
    """
    r = _diameter(d_mm, test) / test.ball_mm
    s = math.sqrt((1.0 - r) * (1.0 + r))
    return Sensitivities(diameter=-(1.0 + s) / s, ball=r * r / (s * (1.0 + s)))


def hbw_per_mm(d_mm: float, test: TestCondition) -> float:
    """Change of HBW per mm of mean diameter, negative."""
    return sensitivities(d_mm, test).diameter * brinell(d_mm, test) / d_mm


def hardness_from_diameter(
    mean_mm: float, diameter_budget: Budget, test: TestCondition
) -> Hardness:
    """HBW with the uncertainty that the reading of the diameter brings.

    Parameters
    ----------
    mean_mm : float
        Mean diameter.
    diameter_budget : Budget
        Of the mean diameter, in mm.
    test : TestCondition
        Ball and force, taken at their nominal values.

    Returns
    -------
    Hardness
        Its budget has the components of `diameter_budget`, brought to HBW (GUM eq. 11a).
        Force, ball, machine and material are not in it; see `rimread.hardness.uncertainty`.
    """
    slope = abs(hbw_per_mm(mean_mm, test))
    return Hardness(
        hbw=brinell(mean_mm, test),
        budget=combine(replace(part, u=slope * part.u) for part in diameter_budget.components),
        test=test,
        covers="reading of the diameter only, not force, ball, machine or material",
    )


def rounded(hbw: float) -> str:
    """HBW as a report prints it: whole from 100, one decimal from 10, two below.

    ASTM E10, from memory; ISO 6506-1:2014 has no rounding rule. A half goes to the even digit.
    """
    for decimals, least in ((0, 100.0), (1, 10.0)):
        if float(f"{hbw:.{decimals + 1}f}") >= least:  # 99.97 is 100, 99.6 stays 99.6
            return f"{hbw:.{decimals}f}"
    return f"{hbw:.2f}"


def designation(hbw: float, test: TestCondition) -> str:
    """Value, symbol, ball/force and the dwell when outside 10 s to 15 s: ``229 HBW 10/3000``."""
    return f"{rounded(hbw)} HBW {test.name}"


def _diameter(d_mm: float, test: TestCondition) -> float:
    if not 0.0 < d_mm < test.ball_mm:
        raise ValueError(
            f"an indent diameter must be above 0 and below the ball diameter "
            f"{plain_number(test.ball_mm)} mm (got {d_mm:g} mm)"
        )
    return float(d_mm)
