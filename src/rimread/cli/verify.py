"""``rimread verify``: the machine on its reference block, the scope on its stage micrometer."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from rimread.check import checks_json
from rimread.cli._indents import held_against, indents_from, print_checks, rules_from
from rimread.cli._io import REFUSED, print_json, speaking, telling
from rimread.cli._options import Json, Rules, date_of, day

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.check import Check
    from rimread.hardness import Block, ControlChart, DailyCheck, RuleSet, Verification

_CHART_HALF_WIDTH = 24  # characters from the centre line to the limit
_CHART_LINES = 30
_FAILED = "failed; find the cause, and check again before anything is tested"

_Things = Annotated[
    list[str],
    typer.Argument(
        metavar="BLOCK.toml [D1,D2...]",
        help="Block file, then indents on it as pairs D1,D2 in mm or files of results from "
        "measure --json (- for standard input). With --scope: intervals TRUE:READ in mm.",
        show_default=False,
    ),
]
_Scope = Annotated[
    bool, typer.Option("--scope", help="Check the scope on its stage micrometer instead.")
]
_Log = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE.csv",
        help="Daily log to add to and to draw the chart from; limits from ten days on.",
    ),
]
_Operator = Annotated[str, typer.Option(help="Who made the indents, for the log.")]
_On = Annotated[datetime | None, day("Day, not after today. [default: today]")]


def verify(
    things: _Things,
    scope: _Scope = False,
    log: _Log = None,
    operator: _Operator = "",
    on: _On = None,
    rules: Rules = "iso",
    as_json: Json = False,
) -> None:
    """Prove the machine on a reference block, or the scope on its stage micrometer.

    \b
      rimread verify block.toml 3.99,4.00 4.00,4.01 3.98,4.00 --log daily.csv
      rimread verify block.toml results.jsonl
      rimread verify block.toml --log daily.csv            (chart only)
      rimread verify --scope 1:1.001 2:1.998 3:3.002 4:4.001 5:5.004

    The chart only also says whether the last check in the log, on whichever block, counts on the
    day: it fails when that check did, and warns when it counts no more ("due" in --json).
    A chart ends with the day that is judged: later days in the log are left out.

    A block file holds serial, certified_hbw, U_hbw, k, test and, if known, valid_until.

    A daily check does not replace the verification of the machine by the standard in force.

    Exit codes: 0 passed; 1 a check failed or a photo was refused; 2 wrong use.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        if operator.strip() and log is None:
            raise ValueError(f"--operator needs --log, where the name is kept (got {operator!r})")
        if scope and log is not None:
            raise ValueError("--log is of checks on a block; --scope writes none")
        chosen = rules_from(rules)
        day = _day(on)
        if scope:
            record, lines, checks, refused = _scope(things, chosen, day)
        else:
            record, lines, checks, refused = _block(things, chosen, day, log, operator)
        failed = any(check.outcome == "fail" for check in checks)
        record = {"status": "failed" if failed else "passed", **record}
        with telling():
            if as_json:
                print_json(record)
            else:
                for line in lines:
                    print(line)
                print_checks(checks)
                print(_FAILED if failed else _passed(record))
    if failed or refused:
        raise typer.Exit(REFUSED)


def _day(given: datetime | None) -> date:
    """Day that is judged; a slip into the future would stand in the log for good.

    One day ahead is taken: clock and lab may differ by a time zone.
    """
    today = date.today()  # noqa: DTZ011  (the lab's own calendar)
    on = date_of(given) or today
    if on > today + timedelta(days=1):
        raise ValueError(f"--on must not lie after today, {today}: give the right day (got {on})")
    return on


def _passed(record: dict[str, Any]) -> str:
    if record.get("due"):
        return f"due since {record['due_on']}; check again before anything is tested"
    return f"passed; next due {record['due_on']}"


_Outcome = tuple[dict[str, Any], list[str], tuple["Check", ...], int]
"""Record, what people are told, checks, and how many results hold no diameters."""


def _scope(words: list[str], rules: RuleSet, day: date) -> _Outcome:
    from rimread.hardness import due_on, scope_checks  # noqa: PLC0415

    checks = scope_checks(tuple(_interval(word) for word in words), rules=rules)
    due = due_on(day, rules=rules, every="scope_every_days").isoformat()
    return {"checks": checks_json(checks), "due_on": due}, ["scope check"], checks, 0


def _interval(word: str) -> tuple[float, float]:
    try:
        true_mm, read_mm = (float(part) for part in word.replace(",", ".").split(":"))
    except ValueError:
        raise ValueError(
            f"an interval is TRUE:READ in mm, like 1.000:1.002 (got {word!r})"
        ) from None
    return true_mm, read_mm


def _block(
    things: list[str], rules: RuleSet, day: date, log: Path | None, operator: str
) -> _Outcome:
    from rimread.hardness import append_daily, due_on, read_block, read_daily  # noqa: PLC0415

    block = read_block(Path(things[0]))
    given = indents_from(things[1:], block.test)
    if not things[1:] and log is not None:
        return _chart_only(block, rules, day, log)
    verification = held_against(block, given, block.test, day=day, rules=rules)
    if log is not None:
        append_daily(log, verification, on=day, operator=operator)
    chart = None if log is None else _chart(block, read_daily(log), day)
    checks = verification.checks + (chart.checks if chart else ())
    record = _record(verification, checks, chart)
    record["due_on"] = due_on(day, rules=rules).isoformat()
    lines = [*_lines(verification), *(_chart_lines(chart) if chart else ())]
    return record, lines, checks, given.refused


def _chart_only(block: Block, rules: RuleSet, day: date, log: Path) -> _Outcome:
    from rimread.hardness import (  # noqa: PLC0415
        block_of_the_day,
        due_on,
        last_check,
        last_that_counts,
        read_daily,
    )

    entries = read_daily(log)
    chart = _chart(block, entries, day)
    if chart is None and _chart(block, entries, date.max) is None:
        raise ValueError(
            f"{log} holds checks of block {block.serial} from fewer than two days: no chart yet"
        )
    last = last_check(entries, test=block.test.name, on=day)
    counts = last_that_counts(entries, test=block.test.name, on=day, rules=rules)
    checks = (block_of_the_day(counts, on=day), *(chart.checks if chart else ()))
    record = {
        "block": block.serial,
        "checks": checks_json(checks),
        "chart": _chart_json(chart) if chart else None,
        "due_on": (day if last is None else due_on(last.on, rules=rules)).isoformat(),
        "due": counts is None,
    }
    none_yet = f"no chart yet on {day}: block {block.serial} was checked on fewer than two days"
    return record, _chart_lines(chart) if chart else [none_yet], checks, 0


def _chart(block: Block, entries: Sequence[DailyCheck], day: date) -> ControlChart | None:
    """Chart up to a day, None where there are fewer than two."""
    from rimread.hardness import control_chart  # noqa: PLC0415

    serial, test = block.serial, block.test.name
    days = {e.on for e in entries if (e.block, e.test) == (serial, test) and e.on <= day}
    if len(days) < 2:
        return None
    return control_chart(entries, block=serial, test=test, on=day)


def _record(
    verification: Verification, checks: tuple[Check, ...], chart: ControlChart | None
) -> dict[str, Any]:
    return {
        "block": verification.block.serial,
        "test": verification.block.test.name,
        "certified_hbw": verification.block.certified_hbw,
        "mean_hbw": verification.series.mean_hbw,
        "values_hbw": list(verification.series.hbw),
        "error_hbw": verification.error_hbw,
        "error_rel": verification.error_rel,
        "repeatability_rel": verification.repeatability_rel,
        "checks": checks_json(checks),
        "chart": _chart_json(chart) if chart else None,
    }


def _chart_json(chart: ControlChart) -> dict[str, Any]:
    return {
        "dates": [e.on.isoformat() for e in chart.entries],
        "errors_rel": [e.error_rel for e in chart.entries],
        "days": chart.days,
        "centre_rel": chart.centre_rel,
        "sigma_rel": chart.sigma_rel if chart.has_limits else None,
        "moving_ranges_rel": list(chart.moving_ranges_rel),
        "moving_range_limit_rel": chart.moving_range_limit_rel if chart.has_limits else None,
    }


def _lines(verification: Verification) -> list[str]:
    block, series = verification.block, verification.series
    values = "  ".join(f"{value:.1f}" for value in series.hbw)
    certificate = f"{block.certified_hbw:g} HBW {block.test.name}, U = {block.U_hbw:g} HBW"
    error = f"error {verification.error_hbw:+.1f} HBW ({verification.error_rel:+.2%})"
    spread = f"repeatability {verification.repeatability_rel:.2%}"
    return [
        f"block {block.serial}: {certificate}, k = {block.k:g}",
        f"indents: {values} HBW",
        f"mean {series.mean_hbw:.1f} HBW, {error}, {spread}",
    ]


def _chart_lines(chart: ControlChart) -> list[str]:
    """Errors as a text chart, oldest above, limits at three sigma of the moving range.

    Where there are no limits the farthest error is at the edge.
    """
    from rimread.hardness.daily import NOISE  # noqa: PLC0415

    width = 2 * _CHART_HALF_WIDTH
    bars: tuple[int, ...] = (_CHART_HALF_WIDTH,)
    if chart.has_limits:
        reach = 3.0 * chart.sigma_rel
        low, high = chart.centre_rel - reach, chart.centre_rel + reach
        steps = f"steps up to {chart.moving_range_limit_rel:.2%}"
        limits = f"limits {low:+.2%} and {high:+.2%}, {steps}"
        bars = (0, _CHART_HALF_WIDTH, width)
    else:
        reach = max(abs(entry.error_rel - chart.centre_rel) for entry in chart.entries)
        limits = "no limits from so few days"
    lines = [f"error on the block: centre {chart.centre_rel:+.2%}, {limits}"]
    for entry in chart.entries[-_CHART_LINES:]:
        off = (entry.error_rel - chart.centre_rel) / max(reach, NOISE)
        place = round(_CHART_HALF_WIDTH * (1.0 + max(-1.0, min(1.0, off))))
        row = ["|" if i in bars else " " for i in range(width + 1)]
        row[place] = "o" if abs(off) <= 1.0 else "X"
        lines.append(f"  {entry.on.isoformat()} {''.join(row)} {entry.error_rel:+.2%}")
    return lines
