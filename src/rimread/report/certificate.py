"""The facts of a test report put together: the series, its uncertainty, the checks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

from rimread.check import Check, Outcome
from rimread.hardness import (
    Conversion,
    DailyCheck,
    Indent,
    Piece,
    RuleSet,
    Series,
    Statement,
    TestCondition,
    Verification,
    block_of_the_day,
    convert,
    diameter_for,
    last_that_counts,
    not_of_one_indent,
    piece_checks,
    rule_set,
    series_checks,
    series_from_indents,
    statement_by,
)
from rimread.hardness.series import Policy
from rimread.hardness.uncertainty import Way
from rimread.names import elsewhere, path_parts
from rimread.reading import checks as reading_checks
from rimread.refusal import Refusal
from rimread.report.blocks import Picture
from rimread.report.lab import Lab
from rimread.report.model import ByEye, Job, TestReport
from rimread.report.results import Result, file_name
from rimread.scale.model import Scale

__all__ = ["report_from"]


def report_from(
    results: Sequence[Result],
    job: Job,
    *,
    lab: Lab = Lab(),  # noqa: B008  (frozen)
    rules: str | RuleSet = "iso",
    policy: Policy = "all",
    scales: Sequence[Scale] = (),
    daily: Sequence[DailyCheck] | None = None,
    verification: Verification | None = None,
    way: Way = "parts",
    convert_to: Sequence[str] = (),
    table: str = "iso-18265-a1",
    by_eye: Sequence[ByEye] = (),
    pictures: Sequence[Picture | Refusal] = (),
    made_on: date,
) -> TestReport:
    """Put a report together.

    Parameters
    ----------
    results : sequence of Result
        Of all photos of the test, the refused ones too.
    job, lab : Job, Lab
        What is known beside the photos.
    rules : {"iso", "astm"} or RuleSet
        Whose limits the checks take.
    policy : {"all", "drop-extremes"}
        Which indents go into the mean.
    scales : sequence of Scale
        Scale files the photos were measured with.
    daily : sequence of DailyCheck, optional
        Log of the checks on reference blocks; by the way ``bias`` those on the block of
        `verification` up to the day of the test tell how the machine changes from day to day.
    verification : Verification, optional
        Indents on a block, for `way`; its checks become the report's.
    way : {"parts", "permissible-error", "bias"}
        How the machine gets into the uncertainty, see `rimread.hardness.uncertainty`.
    convert_to, table : sequence of str, str
        Scales to convert to, and the table.
    by_eye : sequence of ByEye
        People's readings.
    pictures : sequence of Picture or Refusal
        One for each measured photo, or none; see `rimread.report.pictures`.
    made_on : datetime.date
        Day of the report.

    Raises
    ------
    ValueError
        If nothing was measured, the indents are of more than one test, a photo is there twice, a
        scale is not one the photos were measured with, pictures are not one for each, or
        something asked for needs a fact that is missing.
    """
    chosen = rule_set(rules)
    measured = tuple(r for r in results if r.indent is not None)
    _no_photo_twice(results)
    series = series_from_indents(_indents(measured), _one_test(measured), policy=policy)
    earlier = [entry for entry in daily or () if job.on is not None and entry.on <= job.on]
    statement = statement_by(
        way,
        series,
        verification,
        rules=chosen,
        daily_errors_rel=_errors(earlier, verification),
    )
    of_scales = tuple(scales)
    _scales_belong(of_scales, measured)
    if pictures and len(pictures) != len(measured):
        msg = f"one picture for each of {len(measured)} measured photos (got {len(pictures)})"
        raise ValueError(msg)
    block_check, of_block = _of_the_day(daily, series, job, chosen)
    return TestReport(
        lab=lab,
        job=job,
        rules=chosen,
        results=measured,
        refused=tuple(r for r in results if r.indent is None),
        series=series,
        statement=statement,
        checks=(
            *(series_checks(series, rules=chosen) if len(measured) > 1 else ()),
            *taken_twice(dict(enumerate(measured, start=1))),
            *_piece_checks(series, job, chosen),
            *_day_checks(of_scales, results, job, made_on),
            *_machine_checks(lab, job, chosen),
            *of_block,
            *(() if verification is None else _checks_on_block(verification)),
        ),
        scales=of_scales,
        block_check=block_check,
        conversions=_conversions(series, statement, job, convert_to, table),
        by_eye=_matched(by_eye, measured),
        pictures=tuple(pictures),
        made_on=made_on,
    )


# -- the series ---------------------------------------------------------------------------------


def _indents(measured: Sequence[Result]) -> list[Indent]:
    if not measured:
        raise ValueError("a report needs at least one measured indent (got none)")
    return [r.indent for r in measured if r.indent is not None]


def _one_test(measured: Sequence[Result]) -> TestCondition:
    tests = {r.test.name: r.test for r in measured if r.test is not None}
    if len(tests) != 1:
        raise ValueError(
            f"a report is of one test, ball and force (got {', '.join(sorted(tests))}); "
            f"make one report for each"
        )
    return next(iter(tests.values()))


def _no_photo_twice(results: Sequence[Result]) -> None:
    """A photo of several indents may come once with each of their numbers."""
    seen: dict[str, dict[int, Result]] = {}
    for result in results:
        same = seen.setdefault(result.sha256, {})
        if result.sha256 and same and (not result.number or {0, result.number} & same.keys()):
            first = same.get(result.number) or next(iter(same.values()))
            mend = "withdraw one entry, or choose with --entry" if first.entry else "take one out"
            raise ValueError(
                f"a photo counts once, and {_told(result)} is the same picture as "
                f"{_told(first)}: {mend}"
            )
        same[result.number] = result


def taken_twice(results: Mapping[int, Result]) -> Iterator[Check]:
    """Pairs of results, by their numbers, that look like two pictures of one indent."""
    return reading_checks.taken_twice(
        {
            number: (*result.centre_px, result.indent.mean_mm)
            for number, result in results.items()
            if result.indent is not None and result.centre_px is not None
        }
    )


def _told(result: Result) -> str:
    """Name, and the ledger's number of it."""
    return f"{result.name} ({result.entry.partition(',')[0]})" if result.entry else result.name


def _scales_belong(scales: Sequence[Scale], measured: Sequence[Result]) -> None:
    used = {r.scale_sha256 for r in measured}
    for scale in scales:
        if scale.sha256 not in used:
            raise ValueError(
                f"no photo was measured with this file of the scale {scale.label!r}: its hash "
                f"begins {scale.sha256[:12]}, the results name "
                f"{', '.join(sorted(h[:12] or 'none' for h in used))}"
            )


def _errors(daily: Sequence[DailyCheck], verification: Verification | None) -> list[float]:
    """Errors on this block under this test, of each day the last line.

    Days on which the block did not pass are left out: nothing is tested with such a machine.
    """
    if verification is None:
        return []
    block = verification.block
    of_days = {
        entry.on: entry.error_rel
        for entry in daily
        if (entry.block, entry.test, entry.passed) == (block.serial, block.test.name, True)
    }
    return list(of_days.values())


def _conversions(
    series: Series, statement: Statement | None, job: Job, scales: Sequence[str], table: str
) -> tuple[tuple[str, Conversion | Refusal], ...]:
    if not scales:
        return ()
    if job.material is None:
        raise ValueError("a conversion holds for a material: say which group, such as steel")
    hbw, U = (series.mean_hbw, None) if statement is None else (statement.hbw, statement.budget.U)
    return tuple(
        (to, convert(hbw, series.test, to=to, table=table, material=job.material, U_hbw=U))
        for to in scales
    )


def _matched(by_eye: Sequence[ByEye], measured: Sequence[Result]) -> tuple[tuple[int, ByEye], ...]:
    """Readings with the photo of the same path, or else of the same name.

    Cameras give one name in every folder: where both name theirs, it must be the same one.
    """
    places: dict[str, list[int]] = {}
    for index, result in enumerate(measured):
        paths = {result.photo, result.name}
        for name in paths | {file_name(path) for path in paths}:
            places.setdefault(name, []).append(index)
    found = []
    for reading in by_eye:
        at = places.get(reading.photo) or [
            index
            for index in places.get(file_name(reading.photo), [])
            if not elsewhere(path_parts(reading.photo), path_parts(measured[index].photo))
        ]
        if len(at) != 1:
            many = "several measured photos have" if at else "no measured photo has"
            raise ValueError(f"a reading by eye belongs to one photo; {many} {reading.photo!r}")
        result = measured[at[0]]
        read_mm = (reading.d1_mm + reading.d2_mm) / 2
        if result.indent and (far := not_of_one_indent(read_mm, result.indent.mean_mm)):
            raise ValueError(f"{reading.photo}, read by {reading.operator or 'eye'}: {far}")
        found.append((at[0], reading))
    return tuple(sorted(found, key=lambda pair: pair[0]))


# -- piece, machine, block ----------------------------------------------------------------------


def _piece_checks(series: Series, job: Job, rules: RuleSet) -> tuple[Check, ...]:
    piece = Piece(material=job.material, temperature_c=job.temperature_c)
    d_mm = diameter_for(series.mean_hbw, series.test)  # that of the hardness the report states
    return piece_checks(d_mm, series.test, piece, rules=rules)


def _day_checks(
    scales: Sequence[Scale], results: Sequence[Result], job: Job, made_on: date
) -> tuple[Check, ...]:
    """The day of the test against that of the report, the photos and the scales."""
    if job.on is None:
        return ()
    checks = [reading_checks.scale_in_date(scale, job.on) for scale in scales]
    if job.on > made_on:
        message = f"the test is dated {job.on}, after the day of this report, {made_on}"
        checks.append(Check("test-date", "warn", message, "common practice, no source"))
    others = sorted({r.taken_on for r in results if r.taken_on not in (None, job.on)})
    if others:
        days = ", ".join(day.isoformat() for day in others)
        message = f"the test is dated {job.on}, and photos were taken on {days}"
        checks.append(Check("photo-date", "warn", message, "common practice, no source"))
    return tuple(checks)


def _machine_checks(lab: Lab, job: Job, rules: RuleSet) -> tuple[Check, ...]:
    if lab.machine_valid_until is None or job.on is None or job.machine:
        return ()
    late = job.on > lab.machine_valid_until
    message = f"verification counts until {lab.machine_valid_until}, the test was on {job.on}"
    outcome: Outcome = "fail" if late else "pass"
    return (Check("machine-in-date", outcome, message, rules.source("machine_every_days")),)


def _of_the_day(
    daily: Sequence[DailyCheck] | None, series: Series, job: Job, rules: RuleSet
) -> tuple[DailyCheck | None, tuple[Check, ...]]:
    """The check on the block that counts on the day of the test, and what it says."""
    if daily is None:
        return None, ()
    if job.on is None:
        raise ValueError("the check of the day on the block needs the day of the test")
    entry = last_that_counts(daily, test=series.test.name, on=job.on, rules=rules)
    return entry, (block_of_the_day(entry, on=job.on),)


def _checks_on_block(verification: Verification) -> tuple[Check, ...]:
    """Its own checks and what failed, told apart from those of the piece's indents."""
    return tuple(
        replace(check, message=f"block {verification.block.serial}: {check.message}")
        for check in verification.checks
        if check.code.startswith("block-") or check.outcome != "pass"
    )
