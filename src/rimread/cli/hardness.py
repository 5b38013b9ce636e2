"""``rimread hardness``: HBW from diameters read by hand."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer


def hardness(
    diameters: Annotated[
        list[str],
        typer.Argument(
            metavar="D1 [D2]",
            help="Diameters of one indent in mm.",
            show_default=False,
        ),
    ],
    test: Annotated[
        str, typer.Option("--test", help="Ball mm / force kgf [/ dwell s], like 10/3000.")
    ],
    rules: Annotated[
        str, typer.Option("--rules", help="iso, astm or a rules file (TOML).")
    ] = "iso",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """HBW from one or two diameters of an indent, with the checks it must stand."""
    from rimread.hardness import (  # noqa: PLC0415
        brinell,
        designation,
        indent_checks,
        parse_test,
        read_rules,
        rule_set,
    )

    try:
        condition = parse_test(test)
        chosen = read_rules(Path(rules)) if rules.endswith(".toml") else rule_set(rules)
        d1_mm, d2_mm = _one_indent(diameters)
        mean_mm = (d1_mm + d2_mm) / 2.0
        hbw = brinell(mean_mm, condition)
        checks = indent_checks(d1_mm, d2_mm, condition, rules=chosen)
    except (ValueError, OSError) as error:
        typer.echo(f"rimread hardness: {error}", err=True)
        raise typer.Exit(2) from error
    answer: dict[str, Any] = {
        "hbw": hbw,
        "reported": designation(hbw, condition),
        "mean_mm": mean_mm,
        "checks": [
            {"code": c.code, "outcome": c.outcome, "message": c.message, "source": c.source}
            for c in checks
        ],
    }
    if as_json:
        print(json.dumps(answer, ensure_ascii=False, allow_nan=False))
    else:
        print(answer["reported"])
        for c in checks:
            print(f"  {c.outcome:4}  {c.message}")
    if any(c.outcome == "fail" for c in checks):
        raise typer.Exit(1)


def _one_indent(words: list[str]) -> tuple[float, float]:
    if len(words) > 2:
        msg = f"give one or two diameters of one indent in mm (got {len(words)})"
        raise ValueError(msg)
    values = [_millimetres(word) for word in words]
    return values[0], values[-1]


def _millimetres(word: str) -> float:
    try:
        return float(word)
    except ValueError:
        msg = f"a diameter is a number in mm with a decimal point, like 4.02 (got {word!r})"
        raise ValueError(msg) from None
