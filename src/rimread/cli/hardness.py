"""``rimread hardness``: HBW from diameters, one indent or a series."""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from rimread.budget import budget_json
from rimread.check import checks_json
from rimread.cli._indents import Given, held_against, indents_from, print_checks, rules_from
from rimread.cli._io import REFUSED, print_json, speaking, telling
from rimread.cli._job import piece_of
from rimread.cli._options import (
    Average,
    Edge,
    Json,
    Material,
    Radius,
    Rules,
    Spacing,
    Test,
    Thickness,
    Way,
)
from rimread.cli._series import print_series, print_statement, statement_of, way_by

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.check import Check
    from rimread.hardness import Piece, RuleSet, Series, Statement, Step, Verification

_Diameters = Annotated[
    list[str],
    typer.Argument(
        metavar="D1 [D2] | D1,D2...",
        help="Diameters in mm of one indent; or several indents as pairs D1,D2, or files of "
        "results from measure --json (- for standard input).",
        show_default=False,
    ),
]
_Average = Annotated[
    Average,
    typer.Option(help="all, or drop-extremes: highest and lowest of five or more go."),
]
_Working = Annotated[
    bool, typer.Option("--working", help="Show the computation of one indent by hand.")
]
_Temperature = Annotated[float | None, typer.Option(metavar="°C")]
_Resolution = Annotated[
    float | None,
    typer.Option(
        metavar="MM",
        help="Smallest step told apart in typed diameters; gives an uncertainty.",
    ),
]
_Way = Annotated[
    Way | None,
    typer.Option(
        help="parts: force, ball, reading; the others go through the block. [default: "
        "permissible-error with --block, else parts]"
    ),
]
_Block = Annotated[
    Path | None,
    typer.Option(metavar="FILE.toml", help="Block."),
]
_OnBlock = Annotated[
    list[str] | None,
    typer.Option(
        metavar="D1,D2", help="Indent on the block: D1,D2 or results of measure --json; repeated."
    ),
]


def hardness(
    diameters: _Diameters,
    test: Test,
    average: _Average = "all",
    rules: Rules = "iso",
    working: _Working = False,
    material: Material = None,
    thickness: Thickness = None,
    edge: Edge = None,
    spacing: Spacing = None,
    radius: Radius = None,
    temperature: _Temperature = None,
    resolution: _Resolution = None,
    way: _Way = None,
    block: _Block = None,
    on_block: _OnBlock = None,
    as_json: Json = False,
) -> None:
    """Compute HBW from diameters read by hand or measured, and hold it against the rules.

    \b
      rimread hardness --test 10/3000 4.02 4.04 --working
      rimread hardness --test 10/3000 4.02,4.04 4.00,4.03 4.05,4.03 --resolution 0.02

    The uncertainty covers what its line says and no more. The standard in force and a qualified
    person decide what a value means.

    Exit codes: 0 all well; 1 a check failed; 2 wrong use.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        from rimread.hardness import parse_test, series_from_indents  # noqa: PLC0415
        from rimread.hardness import working as working_of  # noqa: PLC0415

        condition, chosen = parse_test(test), rules_from(rules)
        piece = piece_of(material, thickness, edge, spacing, radius, temperature)
        given = indents_from(diameters, condition, resolution_mm=resolution)
        series = series_from_indents(given.indents, condition, policy=average)
        if working and len(series.indents) > 1:
            raise ValueError(f"--working shows one indent (got {len(series.indents)})")
        one = series.indents[0]
        steps = working_of(one.d1_mm, one.d2_mm, condition) if working else ()
        verification = _on_block(block, on_block, chosen, given, resolution_mm=resolution)
        checks = _checks(series, piece, chosen) + given.checks
        if any(check.code == "one-diameter" for check in checks):
            checks = tuple(check for check in checks if check.code != "ovality")
        if verification is not None:
            checks += verification.checks
        by = way_by(way, block=verification is not None)
        statement = statement_of(series, by, chosen, verification)
        with telling():
            if as_json:
                print_json(_record(series, checks, statement, steps))
            else:
                _print(series, checks, statement, steps)
    if given.refused or any(check.outcome == "fail" for check in checks):
        raise typer.Exit(REFUSED)


def _checks(series: Series, piece: Piece, rules: RuleSet) -> tuple[Check, ...]:
    from rimread.hardness import indent_checks, piece_checks, series_checks  # noqa: PLC0415

    found: list[Check] = []
    several = len(series.indents) > 1
    for number, indent in enumerate(series.indents, start=1):
        U_mm = None if indent.budget is None else indent.budget.U
        checks = (
            *indent_checks(indent.d1_mm, indent.d2_mm, series.test, rules=rules, U_mean_mm=U_mm),
            *piece_checks(indent.mean_mm, series.test, piece, rules=rules),
        )
        where = f"indent {number}: " if several else ""
        found += (
            replace(c, message=f"{where}{c.message}")
            for c in checks
            if not several or c.outcome != "pass"
        )
    if several:
        found += series_checks(series, rules=rules)
    return tuple(found)


def _on_block(
    block: Path | None,
    words: list[str] | None,
    rules: RuleSet,
    piece: Given,
    *,
    resolution_mm: float | None,
) -> Verification | None:
    from rimread.hardness import read_block  # noqa: PLC0415

    if block is None and not words:
        return None
    if block is None or not words:
        raise ValueError("--block and --on-block belong together: a block file and its indents")
    certificate = read_block(block)
    given = indents_from(words, certificate.test, resolution_mm=resolution_mm)
    today = date.today()  # noqa: DTZ011  (the lab's own calendar)
    return held_against(
        certificate, given, certificate.test, day=today, rules=rules, of_piece=piece.pictures
    )


def _record(
    series: Series, checks: tuple[Check, ...], statement: Statement | None, steps: tuple[Step, ...]
) -> dict[str, Any]:
    one = series.indents[0] if len(series.indents) == 1 else None
    corrected = statement if statement and statement.way == "bias" else None
    return {
        "hbw": series.mean_hbw,
        "reported": corrected.designation if corrected else series.designation,
        "mean_mm": series.mean_mm,
        "checks": checks_json(checks),
        "test": series.test.name,
        "d1_mm": one.d1_mm if one else None,
        "d2_mm": one.d2_mm if one else None,
        "n": len(series.hbw),
        "average": series.policy,
        "sd_hbw": series.sd_hbw,
        "range_hbw": series.range_hbw,
        "indents": [
            {"d1_mm": i.d1_mm, "d2_mm": i.d2_mm, "hbw": h, "used": used, "name": i.name or None}
            for i, h, used in zip(series.indents, series.hbw, series.used, strict=True)
        ],
        "U_hbw": statement.U_uncorrected if statement else None,
        "k": statement.budget.k if statement else None,
        "way": statement.way if statement else None,
        "hbw_corrected": corrected.hbw if corrected else None,
        "U_hbw_corrected": corrected.budget.U if corrected else None,
        "covers": statement.covers if statement else None,
        "budget": budget_json(statement.budget, "hbw") if statement else None,
        "working": [asdict(step) for step in steps] or None,
    }


def _print(
    series: Series, checks: tuple[Check, ...], statement: Statement | None, steps: tuple[Step, ...]
) -> None:
    for step in steps:
        print(f"{step.what}: {' = '.join(t for t in (step.formula, step.numbers) if t)}")
        print(f"    = {step.result}")
    if len(series.indents) > 1:
        print_series(series)
    if statement is None:
        print(series.designation)
        if not series.has_budgets:
            print("no U: say by --resolution how finely the typed diameters were read")
    else:
        print_statement(statement)
    print_checks(checks)
