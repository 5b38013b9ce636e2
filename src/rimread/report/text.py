"""Readings in words, for a terminal and for the strip under an overlay."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rimread.budget import Budget
from rimread.reading import Reading
from rimread.refusal import Refusal

__all__ = ["CAUTION", "budget_lines", "check_lines", "in_step", "lines", "refusal_lines", "result"]

CAUTION = (
    "A hardness can decide whether a part holds: the standard in force, a verified machine and "
    "a qualified person decide that, not this program."
)


def in_step(value: float, U: float) -> tuple[str, str]:
    """Value and expanded uncertainty with the digits that count: two of U (GUM 7.2.6).

    >>> in_step(3.85094, 0.00421)
    ('3.8509', '0.0042')
    """
    decimals = max(0, 1 - math.floor(math.log10(float(f"{U:.1e}")))) if U > 0 else 4
    return f"{value:.{decimals}f}", f"{U:.{decimals}f}"


def result(reading: Reading) -> str:
    """Hardness with its uncertainty, e.g. ``248 HBW 10/3000 ± 0.6``."""
    return f"{reading.designation} ± {in_step(reading.hbw, reading.U_hbw)[1]}"


def lines(reading: Reading) -> list[str]:
    """What an overlay says: result, diameters, checks that did not pass, what it rests on."""
    found = reading.diameters
    mean, U = in_step(found.mean_mm, found.budget.U)
    d1, d2 = (in_step(d, found.budget.U)[0] for d in (found.d1_mm, found.d2_mm))
    return [
        result(reading),
        f"d1 {d1} mm, d2 {d2} mm, mean {mean} mm ± {U} mm (k = {found.budget.k:.2g})",
        *check_lines(reading),
        f"{reading.photo}, scale: {reading.scale_label}",
        f"U covers the {reading.hardness.covers}.",
    ]


def check_lines(reading: Reading) -> list[str]:
    """The checks that did not pass."""
    return [f"{c.outcome}: {c.message}" for c in reading.checks if c.outcome != "pass"]


def refusal_lines(name: str, refusal: Refusal) -> list[str]:
    """What the overlay of a refused photo says."""
    return ["refused, no number", refusal.message, f"{name} ({refusal.code})"]


def budget_lines(budget: Budget, mean_mm: float) -> Sequence[str]:
    """Uncertainty budget of a mean diameter as a table."""
    wide = max(len(part.name) for part in budget.components)
    rows = [
        f"{part.name:{wide}}  {part.u:8.5f}  {_share(part.u, budget.u):>5}  {part.how}".rstrip()
        for part in budget.components
    ]
    dof = "many" if math.isinf(budget.dof) else f"{budget.dof:.0f}"
    return [
        f"{'contribution':{wide}}  {'u in mm':>8}  {'share':>5}  from",
        *rows,
        (
            f"combined u {budget.u:.5f} mm with {dof} degrees of freedom, k = {budget.k:.3g}, "
            f"U = {budget.U:.5f} mm = {budget.U / mean_mm:.2%} of d"
        ),
    ]


def _share(u: float, combined: float) -> str:
    return f"{(u / combined) ** 2:.0%}" if combined > 0 else "-"
