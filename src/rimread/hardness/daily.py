"""The daily check on the block: its log and the control chart drawn from it."""

from __future__ import annotations

import csv
import io
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Final

from rimread.check import Check, Outcome
from rimread.hardness.block import Verification
from rimread.hardness.rules import RuleSet, rule_set
from rimread.whole import judge, naming

__all__ = [
    "ControlChart",
    "DailyCheck",
    "append_daily",
    "block_of_the_day",
    "control_chart",
    "due_on",
    "last_check",
    "last_that_counts",
    "read_daily",
]

COLUMNS: Final = (
    "date",
    "block",
    "test",
    "operator",
    "n",
    "mean_hbw",
    "certified_hbw",
    "error_rel",
    "repeatability_rel",
    "passed",
)
LEAST_BASELINE: Final = 10
"""Fewer days give no limits, only guesswork; common practice, no source."""

NOISE: Final = 1e-9
"""Errors nearer than this are one: the log keeps 1e-6."""

_COARSEST_ERROR: Final = 5e-4
"""Half of 0.1 %: spreadsheets drop the zeros at the end, so a 0 says more than its one digit."""

_MOST_DIGITS: Final = 12  # after the point; more say nothing of a Brinell value

_D2, _D4 = 1.128, 3.267  # moving ranges of two: ASTM STP 15D / ISO 7870-2 constants, from memory
_RUN, _TREND = 8, 6
_ANNEX_A: Final = "ISO 6506-1 annex A: the user's check before use, procedure from memory"
_WECO: Final = "Western Electric, Statistical Quality Control Handbook (1956)"


@dataclass(frozen=True, slots=True)
class DailyCheck:
    """One line of the log."""

    on: date
    block: str
    test: str
    operator: str
    n: int
    mean_hbw: float
    certified_hbw: float
    error_rel: float
    repeatability_rel: float
    passed: bool


@dataclass(frozen=True, slots=True)
class ControlChart:
    """Individuals and moving range of the relative error on one block.

    Parameters
    ----------
    entries : tuple of DailyCheck
        The last check of each day, in the order of the days.
    centre_rel, sigma_rel : float
        Mean error, and mean moving range over 1.128.
    moving_ranges_rel : tuple of float
        Between neighbours, one fewer than entries.
    moving_range_limit_rel : float
        3.267 times the mean moving range.
    checks : tuple of Check
        Codes ``chart-baseline``, ``chart-run``, ``chart-trend`` and, where there are limits,
        ``chart-limits``, ``chart-moving-range``, ``chart-two-of-three``, ``chart-four-of-five``;
        they judge the newest entry.
    """

    entries: tuple[DailyCheck, ...]
    centre_rel: float
    sigma_rel: float
    moving_ranges_rel: tuple[float, ...]
    moving_range_limit_rel: float
    checks: tuple[Check, ...]

    @property
    def days(self) -> int:
        """On how many days the block was tested."""
        return len(self.entries)

    @property
    def has_limits(self) -> bool:
        """Whether sigma and moving range stand on enough days to be limits."""
        return self.days >= LEAST_BASELINE


def append_daily(path: Path, verification: Verification, *, on: date, operator: str = "") -> None:
    """Add one line to the log, a CSV file; a new file gets its header first.

    Raises
    ------
    OSError
        If the file cannot be written.
    ValueError
        If the file is no such log.
    """
    judge(path)
    if path.exists():
        read_daily(path)
    row = (
        on.isoformat(),
        verification.block.serial,
        verification.block.test.name,
        operator,
        len(verification.series.hbw),
        f"{verification.series.mean_hbw:.3f}",
        f"{verification.block.certified_hbw:g}",
        f"{verification.error_rel:.6f}",
        f"{verification.repeatability_rel:.6f}",
        "yes" if verification.passed else "no",
    )
    there = path.read_bytes() if path.exists() else b""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    if not there:
        writer.writerow(COLUMNS)
    elif not there.endswith((b"\n", b"\r")):  # as some editors leave it
        text.write("\n")
    writer.writerow(row)
    encoding = "utf-8" if there else "utf-8-sig"  # by whose mark spreadsheets know it
    with naming(path), path.open("a", encoding=encoding, newline="") as file:
        file.write(text.getvalue())


def read_daily(path: Path) -> tuple[DailyCheck, ...]:
    """The log, in the order of the file; empty lines are passed over.

    Raises
    ------
    OSError
        If the file cannot be read.
    ValueError
        If a line does not hold what its header says, or its error is not that of its mean; the
        line is named.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ValueError(f"{path} is not in UTF-8: save it as CSV in UTF-8") from None
    rows = list(csv.reader(io.StringIO(text, newline="")))
    if not rows:
        return ()
    if tuple(rows[0]) != COLUMNS:
        raise ValueError(f"{path} is no daily log: its first line must be {','.join(COLUMNS)}")
    entries = []
    for number, row in enumerate(rows[1:], start=2):
        if not any(row):
            continue
        try:
            entries.append(_entry(row))
        except ValueError as error:
            raise ValueError(f"{path} line {number}: {error}") from error
    return tuple(entries)


def control_chart(
    entries: Sequence[DailyCheck], *, block: str, test: str, on: date
) -> ControlChart:
    """Chart of one block under one test up to a day; of several checks on a day the last counts.

    Parameters
    ----------
    entries : sequence of DailyCheck
        The log; other blocks and tests are left aside.
    block, test : str
        Serial and ball/force.
    on : datetime.date
        The day that is judged; later ones are left aside, as `last_check` does.

    Raises
    ------
    ValueError
        If the log has entries of it from fewer than two days up to then.
    """
    of_days = {e.on: e for e in entries if (e.block, e.test) == (block, test) and e.on <= on}
    own = [of_days[day] for day in sorted(of_days)]
    if len(own) < 2:
        raise ValueError(f"a chart of block {block} needs two days at least (got {len(own)})")
    errors = [e.error_rel for e in own]
    ranges = tuple(abs(b - a) for a, b in pairwise(errors))
    centre, mean_range = statistics.fmean(errors), statistics.fmean(ranges)
    sigma = mean_range / _D2
    chart = ControlChart(tuple(own), centre, sigma, ranges, _D4 * mean_range, ())
    return replace(chart, checks=_chart_checks(chart))


def due_on(last: date, *, rules: str | RuleSet = "iso", every: str = "verify_every_days") -> date:
    """Day the next check is due.

    Parameters
    ----------
    last : datetime.date
        Day of the last one.
    rules : {"iso", "astm"} or RuleSet
        Intervals.
    every : str
        ``verify_every_days``, ``scope_every_days`` or ``machine_every_days``.
    """
    days = timedelta(days=rule_set(rules)[every])
    return last + min(days, date.max - last)  # a mistyped year must not spoil the log


def last_check(entries: Sequence[DailyCheck], *, test: str, on: date) -> DailyCheck | None:
    """The last check under a test up to a day, passed or not; of several on a day the last line."""
    so_far = [e for e in entries if e.test == test and e.on <= on]
    return max(reversed(so_far), key=lambda entry: entry.on, default=None)  # of equals the last


def last_that_counts(
    entries: Sequence[DailyCheck], *, test: str, on: date, rules: str | RuleSet = "iso"
) -> DailyCheck | None:
    """`last_check`, where it still counts on the day.

    One that failed counts whatever the day: nothing is tested until a block has passed.

    Parameters
    ----------
    entries : sequence of DailyCheck
        The log.
    test : str
        Ball/force.
    on : datetime.date
        The day.
    rules : {"iso", "astm"} or RuleSet
        How long a check counts.
    """
    last = last_check(entries, test=test, on=on)
    if last is None or (last.passed and on >= due_on(last.on, rules=rules)):
        return None
    return last


def block_of_the_day(entry: DailyCheck | None, *, on: date) -> Check:
    """Check ``block-of-the-day``: what `last_that_counts` says of the machine on a day."""
    if entry is None:
        message = f"the log holds no check under this test that counts on {on}"
        return Check("block-of-the-day", "warn", message, _ANNEX_A)
    message = (
        f"block {entry.block} on {entry.on}: {entry.mean_hbw:.1f} against "
        f"{entry.certified_hbw:g} HBW certified, error {entry.error_rel:+.2%}"
    )
    return Check("block-of-the-day", "pass" if entry.passed else "fail", message, _ANNEX_A)


def _entry(row: list[str]) -> DailyCheck:
    if len(row) != len(COLUMNS):
        raise ValueError(f"must have {len(COLUMNS)} fields (got {len(row)})")
    cells = dict(zip(COLUMNS, row, strict=True))
    if cells["passed"] not in ("yes", "no"):
        raise ValueError(f"passed must be yes or no (got {cells['passed']!r})")
    figures = {
        name: float(cells[name])
        for name in ("mean_hbw", "certified_hbw", "error_rel", "repeatability_rel")
    }
    for name, value in figures.items():
        if not math.isfinite(value):
            raise ValueError(f"{name} must be a number (got {cells[name]!r})")
    _error_follows(cells, figures)
    return DailyCheck(
        on=date.fromisoformat(cells["date"]),
        block=cells["block"],
        test=cells["test"],
        operator=cells["operator"],
        n=int(cells["n"]),
        passed=cells["passed"] == "yes",
        **figures,
    )


def _error_follows(cells: dict[str, str], figures: dict[str, float]) -> None:
    """Hold the error against mean and certified value, as closely as the written digits allow."""
    for name in ("mean_hbw", "certified_hbw"):
        if figures[name] <= 0.0:
            raise ValueError(f"{name} must be above 0 (got {cells[name]!r})")
    mean, certified, error = (figures[name] for name in ("mean_hbw", "certified_hbw", "error_rel"))
    off_mean = _half_a_digit(cells["mean_hbw"])
    off_certified = 0.5 * 10.0 ** (math.floor(math.log10(certified)) - 5)  # six digits, as written
    off_error = min(_half_a_digit(cells["error_rel"]), _COARSEST_ERROR) + NOISE
    low = (mean - off_mean) / (certified + off_certified) - 1.0 - off_error
    high = (mean + off_mean) / (certified - off_certified) - 1.0 + off_error
    if not low <= error <= high:
        raise ValueError(
            f"error_rel must be that of {cells['mean_hbw']} against {cells['certified_hbw']} HBW, "
            f"{mean / certified - 1.0:.6f} (got {cells['error_rel']!r}); "
            "correct the figure that is wrong"
        )


def _half_a_digit(cell: str) -> float:
    """Half a unit of the last digit of a number as written, 8E-06 too; at most half of one."""
    mantissa, _, power = cell.strip().lower().partition("e")
    place = int(power or 0) - len(mantissa.partition(".")[2])
    return 0.5 * 10.0 ** max(-_MOST_DIGITS, min(place, 0))


def _baseline(chart: ControlChart) -> Check:
    has = f"{chart.days} days on the chart"
    says = f"limits from fewer than {LEAST_BASELINE} are guesswork"
    if not chart.has_limits:
        says += ": there are none yet, and nothing is held against them"
    outcome: Outcome = "pass" if chart.has_limits else "warn"
    return Check("chart-baseline", outcome, f"{has}, {says}", "common practice, no source")


def _chart_checks(chart: ControlChart) -> tuple[Check, ...]:
    """Rules on the newest point; `z` are the errors from the centre line."""
    z = [entry.error_rel - chart.centre_rel for entry in chart.entries]
    sigma = chart.sigma_rel
    checks = [_baseline(chart)]

    def rule(code: str, broken: bool, says: str, source: str = _WECO) -> None:  # noqa: FBT001
        message = f"the newest day {'breaks' if broken else 'keeps'} the rule: {says}"
        checks.append(Check(code, "warn" if broken else "pass", message, source))

    steps = [b - a for a, b in pairwise(z)]
    if chart.has_limits:
        far, jump = 3 * sigma + NOISE, chart.moving_range_limit_rel + NOISE
        rule("chart-limits", abs(z[-1]) > far, "no day beyond 3 sigma of the centre")
        rule(
            "chart-moving-range",
            chart.moving_ranges_rel[-1] > jump,
            f"no step from day to day beyond {_D4} mean steps",
            "individuals chart, constants of ASTM STP 15D, from memory",
        )
        two, four = _beyond(z, 2 * sigma, 2, 3), _beyond(z, sigma, 4, 5)
        rule("chart-two-of-three", two, "not two of three days beyond 2 sigma")
        rule("chart-four-of-five", four, "not four of five days beyond 1 sigma")
    rule("chart-run", _beyond(z, 0.0, _RUN, _RUN), f"not {_RUN} days in a row on one side")
    trend = len(steps) >= _TREND - 1 and (
        min(steps[1 - _TREND :]) > NOISE or max(steps[1 - _TREND :]) < -NOISE
    )
    source = "run of six rising or falling: Nelson, J. Quality Technology 16 (1984), from memory"
    rule("chart-trend", trend, f"not {_TREND} days in a row rising or falling", source)
    return tuple(checks)


def _beyond(z: list[float], limit: float, count: int, among: int) -> bool:
    """Whether `count` of the last `among`, the newest with them, lie beyond on its side."""
    last = z[-among:] if len(z) >= among else []
    if not last:
        return False
    side = 1.0 if last[-1] > 0 else -1.0
    return side * last[-1] > limit + NOISE and sum(side * v > limit + NOISE for v in last) >= count
