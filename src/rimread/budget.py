"""Uncertainty budgets: components, their combination, the coverage factor (JCGM 100, the GUM)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

__all__ = [
    "COVERAGE",
    "Budget",
    "Component",
    "budget_json",
    "combine",
    "coverage_factor",
    "in_step",
]

COVERAGE = 0.9544997361036416
"""Probability inside ±2 standard deviations of a normal distribution: k = 2 at infinite dof."""


@dataclass(frozen=True, slots=True)
class Component:
    """One source of uncertainty, already in the unit of the result.

    Parameters
    ----------
    name : str
        What it is, in the words of the trade.
    u : float
        Standard uncertainty in the unit of the result, sensitivity included.
    dof : float
        Degrees of freedom, ``math.inf`` where the size is known.
    how : str
        One line that says where the figure comes from.
    common : bool
        True when the same unknown error sits in every reading of a series, like that of the
        scale: it does not average out.
    """

    name: str
    u: float
    dof: float = math.inf
    how: str = ""
    common: bool = False


@dataclass(frozen=True, slots=True)
class Budget:
    """Independent components and what they come to.

    Parameters
    ----------
    components : tuple of Component
        In the order they are told.
    u : float
        Combined standard uncertainty, the root of the sum of squares (GUM eq. 10).
    dof : float
        Effective degrees of freedom, Welch-Satterthwaite (GUM G.4.1, eq. G.2b).
    k : float
        Coverage factor for about 95 % (`COVERAGE`), at least 2.
    """

    components: tuple[Component, ...]
    u: float
    dof: float
    k: float

    @property
    def U(self) -> float:  # noqa: N802
        """Expanded uncertainty k u."""
        return self.k * self.u


def combine(components: Iterable[Component]) -> Budget:
    """Combine independent components.

    Raises
    ------
    ValueError
        If a component is negative or not finite: an unknown uncertainty is never zero.
    """
    parts = tuple(components)
    for part in parts:
        if not (part.u >= 0 and math.isfinite(part.u) and part.dof > 0):
            msg = (
                f"component {part.name!r} must have 0 <= u < inf and dof > 0 "
                f"(got u = {part.u}, dof = {part.dof})"
            )
            raise ValueError(msg)
    u = math.hypot(*(part.u for part in parts))
    spread = sum((part.u / u) ** 4 / part.dof for part in parts if u > 0)
    dof = 1 / spread if spread > 0 else math.inf
    return Budget(components=parts, u=u, dof=dof, k=coverage_factor(dof))


@lru_cache(maxsize=1024)
def coverage_factor(dof: float) -> float:
    """Student's t for `COVERAGE` at `dof` degrees of freedom (GUM G.3.2), at least 2."""
    if math.isinf(dof):
        return 2.0
    from scipy.special import stdtrit  # noqa: PLC0415  (kept out of start-up)

    return max(2.0, float(stdtrit(dof, 0.5 + COVERAGE / 2)))


def in_step(value: float, U: float) -> tuple[str, str]:
    """Value and expanded uncertainty with the digits that count: two of U (GUM 7.2.6).

    >>> in_step(3.85094, 0.00421)
    ('3.8509', '0.0042')
    """
    decimals = max(0, 1 - math.floor(math.log10(float(f"{U:.1e}")))) if U > 0 else 4
    return f"{value:.{decimals}f}", f"{U:.{decimals}f}"


def budget_json(budget: Budget, unit: str) -> list[dict[str, Any]]:
    """Components as records hold them, ``u_mm`` or ``u_hbw`` after the unit; endless dof None."""
    return [
        {
            "name": part.name,
            f"u_{unit}": part.u,
            "dof": part.dof if math.isfinite(part.dof) else None,
            "how": part.how,
            "common": part.common,
        }
        for part in budget.components
    ]
