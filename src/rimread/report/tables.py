"""The tables of a test report: indents, readings by people, refusals, uncertainty, checks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from rimread.budget import Budget, in_step
from rimread.check import Check, Outcome
from rimread.hardness import brinell, rounded
from rimread.report.blocks import Block, Column, Heading, Table, Words
from rimread.report.model import TestReport
from rimread.report.results import Result, file_name

__all__ = [
    "NOT_KNOWN",
    "budget_table",
    "by_eye",
    "check_rows",
    "check_table",
    "indents",
    "joined",
    "ranges",
    "refused",
    "set_by_hand",
    "two_digits",
]

NOT_KNOWN: Final = "not known"
_WORDS: Final[dict[Outcome, str]] = {"pass": "pass", "warn": "LOOK", "fail": "FAIL"}
_DECIMALS: Final = (3, 4)  # of a diameter in mm, at least and at most


def indents(report: TestReport) -> Iterator[Block]:
    """Every diameter with its uncertainty and what U covers."""
    yield Heading("Indents")
    decimals = _decimals(report.results)
    yield Table(
        "Diameters in mm; HBW of each indent with the uncertainty of its reading",
        (
            Column("No.", 6, "right"),
            Column("Photo", 21),
            *(Column(t, 8, "right") for t in ("d1", "d2", "mean d", "U(d)")),
            Column("d/D", 7, "right"),
            Column("HBW", 8, "right"),
            Column("U(HBW)", 9, "right"),
            Column("k", 7, "right"),
        ),
        tuple(
            _row(i, result, report, decimals)
            for i, result in enumerate(report.results)
        ),
        marked=frozenset(
            i
            for i, result in enumerate(report.results)
            if not report.series.used[i] or any(c.outcome == "fail" for c in result.checks)
        ),
    )  # fmt: skip
    if not all(report.series.used):
        yield Words("* left out of the mean", small=True)
    if any(result.by_hand for result in report.results):
        yield Words("† rim set by a person, see below", small=True)
    covers = joined(r.hardness.covers for r in report.results if r.hardness is not None)
    if covers:
        yield Words(
            f"U(d) and U(HBW) are expanded with the k beside them and cover the {covers}.",
            small=True,
        )


def _row(i: int, result: Result, report: TestReport, decimals: int) -> tuple[str, ...]:
    indent, hardness = result.indent, result.hardness
    assert indent is not None  # noqa: S101  (measured)
    number = f"{i + 1}{'' if report.series.used[i] else ' *'}{' †' if result.by_hand else ''}"
    d1, d2, mean = (f"{d:.{decimals}f}" for d in (indent.d1_mm, indent.d2_mm, indent.mean_mm))
    known = hardness is not None and indent.budget is not None
    return (
        *(number, file_name(result.name), d1, d2, mean),
        f"{indent.budget.U:.{decimals}f}" if indent.budget is not None else NOT_KNOWN,
        f"{indent.mean_mm / report.test.ball_mm:.3f}",
        rounded(report.series.hbw[i]),
        two_digits(hardness.budget.U) if hardness is not None else NOT_KNOWN,
        f"{indent.budget.k:.2f}" if known and indent.budget is not None else "",
    )


def _decimals(results: Sequence[Result]) -> int:
    """As many decimals as the least sure diameter deserves, the same in the whole table."""
    U = [r.indent.budget.U for r in results if r.indent is not None and r.indent.budget is not None]
    return max(_DECIMALS[0], min(_DECIMALS[1], _places(max(U, default=0.0))))


def set_by_hand(report: TestReport) -> Iterator[Block]:
    """Both values where a person did not agree with the program."""
    rows = tuple(
        (
            str(i + 1),
            NOT_KNOWN if by.image_mean_mm is None else f"{by.image_mean_mm:.4f}",
            NOT_KNOWN if by.image_hbw is None else rounded(by.image_hbw),
            f"{report.series.indents[i].mean_mm:.4f}",
            rounded(report.series.hbw[i]),
            "; ".join(x for x in (by.how, by.reason) if x) or NOT_KNOWN,
        )
        for i, result in enumerate(report.results)
        if (by := result.by_hand) is not None
    )
    if not rows:
        return
    yield Heading("Rims set by hand")
    yield Table(
        "A person set these rims anew; the result takes the person's, diameters in mm",
        (
            Column("No.", 6, "right"),
            *(
                Column(title, 13, "right")
                for title in ("program, d", "program, HBW", "person, d", "person, HBW")
            ),
            Column("How and why", 42),
        ),
        rows,
    )


def by_eye(report: TestReport) -> Iterator[Block]:
    """People's readings beside the image's."""
    if not report.by_eye:
        return
    rows = []
    for i, eye in report.by_eye:
        mean = (eye.d1_mm + eye.d2_mm) / 2.0
        image, hbw = report.series.indents[i].mean_mm, brinell(mean, report.test)
        rows.append(
            (
                str(i + 1),
                eye.operator or NOT_KNOWN,
                *(f"{d:.3f}" for d in (eye.d1_mm, eye.d2_mm, mean)),
                rounded(hbw),
                f"{mean - image:+.3f}",
                f"{hbw - report.series.hbw[i]:+.1f}",
            )
        )
    yield Heading("Read by eye")
    yield Table(
        "Two diameters in mm read by a person, or told by an archive's list; not in the result",
        (
            Column("No.", 6, "right"),
            Column("Read by", 26),
            *(Column(t, 10, "right") for t in ("d1", "d2", "mean d", "HBW")),
            Column("eye less image, mm", 14, "right"),
            Column("in HBW", 10, "right"),
        ),
        tuple(rows),
    )


def refused(report: TestReport) -> Iterator[Block]:
    """Photos without a number, and why."""
    if not report.refused:
        return
    yield Heading("Photos refused")
    yield Table(
        "These gave no number and are not in the result",
        (Column("Photo", 30), Column("Code", 20), Column("Reason", 50)),
        tuple(
            (file_name(r.name), reason.code, reason.message)
            for r in report.refused
            for reason in r.reasons
        )
        or tuple((file_name(r.name), "", "") for r in report.refused),
    )


def budget_table(budget: Budget) -> Table:
    """Contributions to the uncertainty of the result."""
    return Table(
        "Standard uncertainties in HBW",
        (
            Column("Contribution", 22),
            Column("u", 8, "right"),
            Column("share", 8, "right"),
            Column("From", 62),
        ),
        tuple(
            (
                part.name,
                _beside(part.u, budget.u),
                f"{(part.u / budget.u) ** 2:.0%}" if budget.u > 0.0 else "",
                part.how,
            )
            for part in budget.components
        ),
        small=True,
    )


def check_table(caption: str, rows: Sequence[tuple[str, ...]]) -> Table:
    """Rows of `check_rows` under their heads."""
    return Table(
        caption,
        (Column("Rule", 17), Column("Outcome", 10), Column("Found", 45), Column("Source", 28)),
        tuple(rows),
        marked=frozenset(i for i, row in enumerate(rows) if row[1] != _WORDS["pass"]),
        small=True,
    )


def check_rows(report: TestReport, outcome: Outcome) -> Iterator[tuple[str, ...]]:
    """A line for each rule and finding; of what passed one line a rule."""
    groups: dict[tuple[str, str, str], list[int | None]] = {}
    shown: dict[tuple[str, str, str], Check] = {}
    for i, check in report.all_checks:
        if check.outcome == outcome:
            key = (check.code, check.source, "" if outcome == "pass" else check.message)
            groups.setdefault(key, []).append(i)
            shown.setdefault(key, check)
    for key, indents in groups.items():
        yield _check_row(shown[key], indents, len(report.results))


def _check_row(check: Check, indents: Sequence[int | None], n: int) -> tuple[str, ...]:
    numbers = [i for i in indents if i is not None]
    found = check.message
    if numbers and n > 1:
        which = "all" if len(numbers) == n else ranges(numbers)
        also = ", the first:" if check.outcome == "pass" and len(numbers) > 1 else ":"
        found = f"{'' if which == 'all' else 'indent '}{which}{also} {found}"
    return (check.code, _WORDS[check.outcome], found, check.source)


def ranges(numbers: Sequence[int]) -> str:
    """Indents counted from one, runs drawn together.

    >>> ranges([0, 1, 2, 4])
    '1–3, 5'
    """
    runs: list[list[int]] = []
    for number in sorted(n + 1 for n in numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(r[0]) if len(r) == 1 else f"{r[0]}–{r[-1]}" for r in runs)


def _beside(u: float, combined: float) -> str:
    """A contribution with the decimals that the combined uncertainty deserves, and one more."""
    decimals = _places(combined) + 1
    least = 10.0**-decimals
    return f"< {least:.{decimals}f}" if 0.0 < u < least else f"{u:.{decimals}f}"


def _places(uncertainty: float) -> int:
    """Decimals that an uncertainty has when it is written down."""
    return len(two_digits(uncertainty).partition(".")[2])


def two_digits(value: float) -> str:
    """An uncertainty with the digits that count (GUM 7.2.6)."""
    return in_step(value, value)[0] if value > 0.0 else "0"


def joined(texts: Iterable[str]) -> str | None:
    """Texts that differ, one after another; None where there is none."""
    return "; ".join(dict.fromkeys(text for text in texts if text)) or None
