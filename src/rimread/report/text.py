"""Readings in words, for a terminal and for the strip under an overlay."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from rimread.budget import Budget, in_step
from rimread.check import Check
from rimread.neighbours import Place
from rimread.reading import Reading
from rimread.refusal import Refusal

__all__ = [
    "CAUTION",
    "budget_lines",
    "check_lines",
    "lines",
    "lines_of_all",
    "place_lines",
    "refusal_lines",
    "result",
]

CAUTION = (
    "A hardness can decide whether a part holds: the standard in force, a verified machine and "
    "a qualified person decide that, not this program."
)


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
        f"d1 {d1} mm, d2 {d2} mm, mean {mean} mm ± {U} mm (k = {found.budget.k:.2f})",
        *check_lines(reading),
        f"{reading.photo}, scale: {reading.scale_label}",
        f"U covers the {reading.hardness.covers}.",
    ]


def lines_of_all(photo: str, results: Sequence[Reading | Refusal]) -> list[str]:
    """What an overlay of several indents says; what holds for all of them is said once."""
    readings = [result for result in results if isinstance(result, Reading)]
    shared = [c for c in readings[0].checks if all(c in one.checks for one in readings)]
    return [
        f"{len(readings)} of {len(results)} indents measured, HBW {readings[0].test.name}",
        *(
            line
            for number, one in enumerate(results, start=1)
            for line in _lines_of_one(number, one, shared if len(readings) > 1 else ())
        ),
        *(_check_line(c) for c in shared if c.outcome != "pass" and len(readings) > 1),
        f"{photo}, scale: {readings[0].scale_label}",
        f"U covers the {readings[0].hardness.covers}.",
    ]


def _lines_of_one(number: int, one: Reading | Refusal, shared: Sequence[Check]) -> Iterator[str]:
    if isinstance(one, Refusal):
        yield f"#{number}: refused, no number: {one.message} ({one.code})"
        return
    found = one.diameters
    mean, U = in_step(found.mean_mm, found.budget.U)
    yield "; ".join(
        [
            f"#{number}: {result(one)}",
            f"mean {mean} mm ± {U} mm (k = {found.budget.k:.2f})",
            *place_lines(one.place),
        ]
    )
    for check in one.checks:
        if check.outcome != "pass" and check not in shared:
            yield f"#{number}: {_check_line(check)}"


def place_lines(place: Place | None) -> list[str]:
    """How far the next indent is, where there is one."""
    if place is None or place.spacing_mm is None or place.rim_to_rim_mm is None:
        return []
    return [f"next centre {place.spacing_mm:.3f} mm, next rim {place.rim_to_rim_mm:.3f} mm away"]


def check_lines(reading: Reading) -> list[str]:
    """The checks that did not pass."""
    return [_check_line(check) for check in reading.checks if check.outcome != "pass"]


def _check_line(check: Check) -> str:
    return f"{check.outcome}: {check.message}"


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
