"""Several indents as one result, and the machine behind them, as verbs tell it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimread.budget import budget_json
from rimread.check import checks_json
from rimread.cli._io import say, shown
from rimread.cli._options import Average, Way

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from collections.abc import Sequence

    from rimread.check import Check
    from rimread.hardness import Indent, RuleSet, Series, Statement, TestCondition, Verification

__all__ = [
    "Together",
    "print_series",
    "print_statement",
    "series_json",
    "statement_json",
    "statement_of",
    "taken_together",
    "way_by",
]


@dataclass(frozen=True, slots=True)
class Together:
    """What photos of one call make together.

    Parameters
    ----------
    series : Series or None
        None when too few were measured.
    statement : Statement or None
        Its uncertainty; None without a series, or when the block says nothing about it.
    checks : tuple of Check
        Of the series and of the block.
    refused : tuple of str
        Photos that are not in it.
    why : str
        Why there is no series, empty when there is one.
    twice : tuple of str
        Photos that are the same picture as one before, and count by that one.
    """

    series: Series | None
    statement: Statement | None
    checks: tuple[Check, ...]
    refused: tuple[str, ...]
    why: str = ""
    twice: tuple[str, ...] = ()

    @property
    def failed(self) -> bool:
        """Whether there is no result or a check says that it does not count."""
        return self.series is None or any(check.outcome == "fail" for check in self.checks)


def taken_together(
    indents: Sequence[Indent],
    refused: Sequence[str],
    test: TestCondition,
    *,
    average: Average,
    way: Way,
    rules: RuleSet,
    verification: Verification | None,
) -> Together:
    """One result from the indents that were measured."""
    from rimread.hardness import series_checks, series_from_indents  # noqa: PLC0415

    block = () if verification is None else verification.checks
    try:
        series = series_from_indents(indents, test, policy=average)
    except ValueError as error:  # too few are left
        return Together(None, None, block, tuple(refused), str(error))
    checks = series_checks(series, rules=rules) if len(series.indents) > 1 else ()
    statement = statement_of(series, way, rules, verification)
    return Together(series, statement, (*checks, *block), tuple(refused))


def way_by(way: Way | None, *, block: bool) -> Way:
    """The way asked for; left open, through the block where there is one."""
    return way or ("permissible-error" if block else "parts")


def statement_of(
    series: Series, way: Way, rules: RuleSet, verification: Verification | None
) -> Statement | None:
    """The uncertainty the call asks for; None where nothing is known of the reading."""
    from rimread.hardness import statement_by  # noqa: PLC0415

    if way != "parts" and verification is None:
        raise ValueError(f"--way {way} goes through a block: give --block and --on-block")
    if way != "parts" and not series.has_budgets:
        raise ValueError(f"--way {way} needs --resolution for typed diameters")
    if way == "permissible-error" and verification is not None and not verification.passed:
        say("no uncertainty: the block did not pass, so the permissible error says nothing")
        return None
    return statement_by(way, series, verification, rules=rules)


def series_json(found: Together, average: Average) -> dict[str, Any]:
    """The line that follows those of the photos."""
    series, statement = found.series, found.statement
    return {
        "status": "refused" if series is None else "measured",
        "average": average,
        "n": 0 if series is None else len(series.hbw),
        "test": None if series is None else series.test.name,
        "mean_hbw": None if series is None else series.mean_hbw,
        "mean_mm": None if series is None else series.mean_mm,
        "sd_hbw": None if series is None else series.sd_hbw,
        "range_hbw": None if series is None else series.range_hbw,
        "designation": None if series is None else (statement or series).designation,
        "indents": [] if series is None else indents_json(series),
        "refused": list(found.refused),
        "twice": list(found.twice),
        **statement_json(statement),
        "checks": checks_json(found.checks),
        "reasons": [{"code": "too-few", "message": found.why}] if found.why else [],
    }


def indents_json(series: Series) -> list[dict[str, Any]]:
    """Every single value, dropped ones too."""
    lines = zip(series.indents, series.hbw, series.used, strict=True)
    return [
        {
            "name": indent.name or None,
            "d1_mm": indent.d1_mm,
            "d2_mm": indent.d2_mm,
            "hbw": hbw,
            "used": used,
            "odd": series.outlier == index,
        }
        for index, (indent, hbw, used) in enumerate(lines)
    ]


def statement_json(statement: Statement | None) -> dict[str, Any]:
    """A hardness and its uncertainty with what is in it; all None without one."""
    keys = (
        *("hbw", "U_hbw", "k", "way", "bias_hbw", "U_uncorrected_hbw"),
        *("covers", "budget_hbw"),
    )
    if statement is None:
        return dict.fromkeys(keys)
    budget = statement.budget
    values = (
        *(statement.hbw, budget.U, budget.k, statement.way, statement.bias_hbw),
        *(statement.U_uncorrected, statement.covers, budget_json(budget, "hbw")),
    )
    return dict(zip(keys, values, strict=True))


def print_series(series: Series) -> None:
    """Every value and what they come to."""
    print("       d1 mm    d2 mm  mean mm      HBW")
    lines = zip(series.indents, series.hbw, series.used, strict=True)
    for number, (indent, hbw, used) in enumerate(lines, start=1):
        note = "" if used else "  dropped"
        note += "  odd" if series.outlier == number - 1 else ""
        name = f"  {shown(Path(indent.name).name)}" if indent.name else ""
        print(
            f"{number:3d} {indent.d1_mm:8.3f} {indent.d2_mm:8.3f} {indent.mean_mm:8.3f} "
            f"{hbw:8.1f}{name}{note}"
        )
    sd = "" if series.sd_hbw is None else f"s = {series.sd_hbw:.1f} HBW, "
    print(
        f"n = {len(series.hbw)}, {sd}range = {series.range_hbw:.1f} HBW, "
        f"mean of {sum(series.used)}: {series.mean_hbw:.1f} HBW"
    )


def print_statement(statement: Statement, *, budget: bool = True, before: str = "") -> None:
    """Value and uncertainty, what it covers and what makes it up; `before` leads the first line."""
    inside = " " * (len(before) - len(before.lstrip()))
    print(f"{before}{statement.text}")
    if statement.way == "bias":
        print(
            f"{inside}  {statement.bias_hbw:+.1f} HBW taken off for the block's error; for the "
            f"value with it left in, U = {statement.U_uncorrected:.1f} HBW"
        )
    print(f"{inside}  U covers {statement.covers}")
    for part in statement.budget.components if budget else ():
        dof = "inf" if math.isinf(part.dof) else f"{part.dof:.0f}"
        print(f"{inside}    {part.name:24} u = {part.u:7.3f} HBW  dof {dof:>4}  {part.how}")
