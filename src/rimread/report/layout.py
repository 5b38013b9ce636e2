"""What a test report says, in which order and in which words.

After the list of ISO 6506-1 for a test report (from memory: the standard named, the piece
identified, the result, the temperature where it was unusual, what was not by the standard or
optional, what may have affected the result, the basis of a conversion) and what certificates
commonly hold besides (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from rimread.check import Outcome
from rimread.hardness import (
    Conversion,
    TestCondition,
    rounded,
)
from rimread.hardness.condition import plain_number
from rimread.refusal import Refusal
from rimread.report.blocks import (
    Block,
    Column,
    Fact,
    Facts,
    Heading,
    Letterhead,
    Page,
    Picture,
    Pictures,
    Signatures,
    Table,
    Verdict,
    Words,
)
from rimread.report.model import TestReport
from rimread.report.results import file_name
from rimread.report.tables import (
    NOT_KNOWN,
    budget_table,
    by_eye,
    check_rows,
    check_table,
    indents,
    joined,
    ranges,
    refused,
    set_by_hand,
    two_digits,
)
from rimread.report.text import CAUTION
from rimread.scale.model import Scale

__all__ = ["missing_pictures", "page_of"]

_NOT_PASSED: Final[tuple[Outcome, ...]] = ("fail", "warn")


def page_of(report: TestReport) -> Page:
    """The page of a test report.

    Parameters
    ----------
    report : TestReport
        What is known.
    """
    job = report.job
    name = " ".join(x for x in ("Brinell test report", job.number) if x)
    title = ", ".join(x for x in (name, job.part, job.heat and f"heat {job.heat}") if x)
    return Page(
        title=title,
        foot=" · ".join(x for x in (report.lab.name, name, f"rimread {report.version}") if x),
        blocks=(
            *_head(report),
            *_asked(report),
            *indents(report),
            *set_by_hand(report),
            *by_eye(report),
            *refused(report),
            *_uncertainty(report),
            *_checks(report),
            *_converted(report),
            *_cautions(report),
            *_signatures(report),
            *_annex(report),
        ),
    )


# -- first page ---------------------------------------------------------------------------------


def _head(report: TestReport) -> Iterator[Block]:
    lab, job = report.lab, report.job
    yield Letterhead(
        name=lab.name,
        lines=tuple(x for x in (*lab.address, lab.contact) if x),
        logo_png=lab.logo_png,
        title="Brinell hardness test report",
        beside=(
            Fact("Report no.", job.number or None),
            Fact("Date of test", None if job.on is None else job.on.isoformat()),
            Fact("Report made", report.made_on.isoformat()),
        ),
    )
    yield Verdict(report.series.designation, tuple(_result_lines(report)), _alarm(report))


def _alarm(report: TestReport) -> str:
    failed = sorted({check.code for _, check in report.all_checks if check.outcome == "fail"})
    if not failed:
        return ""
    return f"A check failed ({', '.join(failed)}): under that rule this result does not count."


def _result_lines(report: TestReport) -> Iterator[str]:
    series, statement = report.series, report.statement
    n, used = len(series.hbw), sum(series.used)
    of = "one indent" if n == 1 else f"mean of {n} indents"
    if used < n:
        of = (
            f"mean of {used} of {n} indents, the highest and the lowest left out "
            f"(common practice, no source in a standard)"
        )
    if statement is None:
        yield f"{of}; the uncertainty is {NOT_KNOWN}: not every indent has one"
    elif statement.way == "bias":
        yield f"{of}; with the error on the block taken off: {statement.text}"
    else:
        U, k = statement.budget.U, statement.budget.k
        yield f"{of}, U = {two_digits(U)} HBW ({U / statement.hbw:.1%}), k = {k:.2f}"
    if series.sd_hbw is not None:
        low, high = min(series.hbw), max(series.hbw)
        yield (
            f"from {rounded(low)} to {rounded(high)} HBW: range {two_digits(series.range_hbw)} "
            f"HBW ({series.range_rel_hbw:.1%}), standard deviation "
            f"{two_digits(series.sd_hbw)} HBW; range of d {series.range_rel_d:.1%}"
        )
    yield from (c.text for _, c in report.conversions if isinstance(c, Conversion))


def _asked(report: TestReport) -> Iterator[Block]:
    lab, job, test = report.lab, report.job, report.test
    usual = " ".join(x for x in (lab.machine, lab.machine_serial) if x)
    until = lab.machine_valid_until if usual and not job.machine else None
    yield Heading("Piece and test")
    yield Facts(
        (
            Fact("Part", job.part or None),
            Fact("Heat or lot", job.heat or None),
            Fact("Location of indents", job.location or None),
            Fact("Material", job.grade or job.material),
            Fact("Order", job.order or None),
            Fact("Customer", job.customer or None),
            Fact("Operator", job.operator or None),
            Fact("Standard and edition", job.edition or None),
            Fact("Temperature", None if job.temperature_c is None else f"{job.temperature_c:g} °C"),
            Fact("Test", _test_words(test), wide=True),
            Fact("Machine", job.machine or usual or None),
            Fact("Machine verified until", None if until is None else until.isoformat()),
            Fact("Block check of the day", _block_words(report), wide=True),
            Fact("Scope and scale", joined(r.scale_label for r in report.results), wide=True),
            *_requirement(job.requirement),
            Fact("Deviations, remarks", job.remarks or None, wide=True),
        )
    )
    yield Words(
        "Diameters were read from photos by a program: the rim is traced, an ellipse is fitted to "
        "it in millimetres, d1 and d2 are its longer and its shorter axis, at right angles. "
        f"Limits of the checks: {report.rules.title}.",
        small=True,
    )


def _requirement(text: str) -> tuple[Fact, ...]:
    """Printed when there is one; whether it is met is for the person who signs to say."""
    return (Fact("Required (not judged)", text, wide=True),) if text else ()


def _test_words(test: TestCondition) -> str:
    dwell = "10 s to 15 s by designation" if test.dwell_s is None else f"{test.dwell_s:g} s"
    return (
        f"HBW {test.name}: ball {plain_number(test.ball_mm)} mm, force "
        f"{plain_number(test.force_kgf)} kgf ({_newtons(test.force_n)}), dwell {dwell}"
    )


def _newtons(force_n: float) -> str:
    return f"{force_n / 1000:.4g} kN" if force_n >= 1000 else f"{force_n:.4g} N"


def _block_words(report: TestReport) -> str | None:
    entry = report.block_check
    if entry is None:
        return None
    return (
        f"block {entry.block}, {entry.on}: {entry.mean_hbw:.1f} HBW, certified "
        f"{entry.certified_hbw:g}, error {entry.error_rel:+.2%}, "
        f"{'passed' if entry.passed else 'FAILED'}"
        + (f" ({entry.operator})" if entry.operator else "")
    )


# -- uncertainty and checks ---------------------------------------------------------------------


def _uncertainty(report: TestReport) -> Iterator[Block]:
    statement = report.statement
    yield Heading("Uncertainty of the result")
    if statement is None:
        yield Words(f"The uncertainty is {NOT_KNOWN}: not every indent in the mean has one.")
        return
    yield Words(
        f"{statement.text}. It covers: {statement.covers}. U is expanded: with k = "
        f"{statement.budget.k:.2f} about 95 times in 100 the true value lies within."
    )
    if statement.way == "bias":
        yield Words(
            f"For the value as measured, {report.series.designation}, with the error left in: "
            f"U = {two_digits(statement.U_uncorrected)} HBW."
        )
    yield Words("What makes it up stands in the annex.", small=True)


def _checks(report: TestReport) -> Iterator[Block]:
    """What did not pass, one by one; what passed by name, the rest of it in the annex."""
    rows = [row for outcome in _NOT_PASSED for row in check_rows(report, outcome)]
    passed = dict.fromkeys(c.code for _, c in report.all_checks if c.outcome == "pass")
    for row in rows:
        passed.pop(row[0], None)
    yield Heading("Checks")
    if rows:
        yield check_table("These did not pass: FAIL does not count, LOOK asks for an eye", rows)
    yield Words(
        f"{'The others passed' if rows else 'All passed'}: {', '.join(passed) or 'none'}. "
        "Each with its limit and the source of it stands in the annex.",
        small=True,
    )


def _converted(report: TestReport) -> Iterator[Block]:
    if not report.conversions:
        return
    yield Heading("Converted values")
    for to, result in report.conversions:
        if not isinstance(result, Conversion):
            yield Words(f"{to}: no value. {result.message}.")
            continue
        within = ""
        if result.low is not None and result.high is not None:
            low, high = f"{result.low:.1f}", f"{result.high:.1f}"
            within = f" U of the measured value alone takes it from {low} to {high}."
        extra = (
            " Square brackets: beyond the table's normal range, for information." * result.bracketed
        )
        yield Words(f"{result.text}.{within}{extra} Table read in: {result.table.source}.")
    yield Words(
        "A converted value is approximate, carries the unknown error of its table on top of U, and "
        "never replaces a test on the other scale.",
        small=True,
    )


# -- end ----------------------------------------------------------------------------------------


def _cautions(report: TestReport) -> Iterator[Block]:
    yield Heading("Before this result is used", whole=True)
    yield Words(CAUTION, strong=True)
    memory = any("from memory" in check.source for _, check in report.all_checks)
    yield Words(
        "A program has read pictures. It does not know whether the surface was prepared, the "
        "piece thick enough, the indents far enough from each other and from edges, the force "
        "right. Who signs has seen that the fitted rim lies on the edge of every indent. The "
        "result holds for the piece and the places tested."
        + (
            " Limits marked “from memory” could not be read in the standard: hold them against "
            "your own copy."
            if memory
            else ""
        )
        + " Blank lines are facts the program was not told; fill them in by hand or strike them "
        "out before signing.",
        small=True,
    )
    if report.lab.note:
        yield Words(report.lab.note, small=True)


def _signatures(report: TestReport) -> Iterator[Block]:
    first, *others = report.lab.signatures
    yield Signatures(
        (Fact(first, report.job.operator or None), *(Fact(role, None) for role in others))
    )


def _annex(report: TestReport) -> Iterator[Block]:
    yield Heading("Annex: pictures and what the figures rest on", annex=True)
    yield from _pictures(report)
    if report.statement is not None:
        yield Heading("What makes up the uncertainty")
        yield budget_table(report.statement.budget)
    yield Heading("Checks that passed")
    yield check_table(
        "Each rule with what was found; indents are told by number",
        list(check_rows(report, "pass")),
    )
    yield from _scales(report.scales)
    yield Heading("Hashes (SHA-256)")
    yield Table(
        "They prove that a file is the one that was measured",
        (Column("File", 34), Column("SHA-256", 66)),
        tuple(_hash_rows(report)),
        small=True,
    )
    versions = joined(r.version for r in report.results) or NOT_KNOWN
    yield Words(
        f"Measured with rimread {versions}, report made with rimread {report.version} on "
        f"{report.made_on}.",
        small=True,
    )


def _pictures(report: TestReport) -> Iterator[Block]:
    shown = tuple(p for p in report.pictures if isinstance(p, Picture))
    if shown:
        yield Words(
            "Dots: traced and used. Crosses: traced, left out. Closed line: the fitted rim. Solid "
            "line: d1. Dashed line: d2.",
            small=True,
        )
        yield Pictures(shown)
    for reason, which in missing_pictures(report).items():
        yield Words(f"No picture of {which}: {reason}.", small=True)


def missing_pictures(report: TestReport) -> dict[str, str]:
    """Why there is no picture, and of which indents."""
    lacking: dict[str, list[int]] = {}
    for i, picture in enumerate(report.pictures):
        if isinstance(picture, Refusal):
            lacking.setdefault(picture.message, []).append(i)
    return {reason: f"indent {ranges(numbers)}" for reason, numbers in lacking.items()}


def _scales(scales: Sequence[Scale]) -> Iterator[Block]:
    for scale in scales:
        certificate = scale.certificate
        traced = "none was given, a generous share for that is in U"
        if certificate is not None:
            traced = (
                f"{certificate.certified_mm:g} mm for {certificate.nominal_mm:g} mm nominal, "
                f"U = {certificate.U_mm:g} mm, k = {certificate.k:g}"
            )
        yield Heading("Scale file")
        yield Facts(
            (
                Fact("Camera and objective", scale.label),
                Fact("Counts", f"from {scale.calibrated_on} to {scale.valid_until}"),
                Fact(
                    "Scale at the centre",
                    f"{scale.px_per_mm_x:.3f} px/mm along x, {scale.px_per_mm_y:.3f} along y",
                ),
                Fact("Picture", f"{scale.width_px} × {scale.height_px} pixels"),
                Fact("Stage micrometer certificate", traced),
                Fact("Made from", joined(p.name for p in scale.photos)),
            )
        )


def _hash_rows(report: TestReport) -> Iterator[tuple[str, str]]:
    for result in (*report.results, *report.refused):
        name = file_name(result.name)
        yield (f"{name} ({result.entry})" if result.entry else name), result.sha256 or NOT_KNOWN
    labels: dict[str, str] = {}
    for result in report.results:
        labels.setdefault(result.scale_sha256, result.scale_label)
    for sha256, label in labels.items():
        yield f"scale file: {label}", sha256 or NOT_KNOWN
    for scale in report.scales:
        for photo in scale.photos:
            yield f"stage photo: {photo.name}", photo.sha256
