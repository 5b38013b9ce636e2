"""Reference blocks at the bench: a certificate as it is asked for, a series held against it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from rimread.bench.ask import Ask
from rimread.bench.folder import Folder
from rimread.bench.series import Line, failed_in, indents_of, last_that_counts
from rimread.hardness import (
    Block,
    TestCondition,
    Verification,
    append_daily,
    last_check,
    parse_test,
    read_daily,
    series_from_indents,
    verify,
)

__all__ = ["asked", "expired", "failed_last", "logged", "verified"]


def asked(ask: Ask) -> Block:
    """Block with what a person read from its certificate.

    Raises
    ------
    ValueError
        If a field cannot be.
    """
    until = ask.text("valid_until", most=10)
    return Block(
        serial=ask.text("serial", least=1, most=80),
        certified_hbw=ask.number("certified_hbw", 1.0, 1000.0),
        U_hbw=ask.number("U_hbw", 0.0, 100.0, open_low=True),
        k=ask.number("k", 1.0, 20.0, default=2.0),
        test=parse_test(ask.text("test", least=1, most=40)),
        valid_until=date.fromisoformat(until) if until else None,
    )


def verified(lines: Sequence[Line], block: Block, rules: str) -> Verification | None:
    """The block's series held against its certificate; None before the first indent.

    With what failed when its indents were measured. The certificate must hold on the day of the
    last indent, whenever the series is ended.

    Raises
    ------
    ValueError
        If the indents were made under another test than the certificate's.
    """
    last = last_that_counts(lines)
    if last is None:
        return None
    whole = series_from_indents(indents_of(lines), last.test)
    found = verify(whole, block, on=last.day, rules=rules)
    return replace(found, checks=found.checks + failed_in(lines))


def expired(block: Block, on: date) -> str:
    """What to tell a person of a certificate that has run out by that day, empty when it holds."""
    if block.valid_until is None or on <= block.valid_until:
        return ""
    return (
        f"The certificate of block {block.serial} ran out on {block.valid_until.isoformat()}: a "
        "check on it cannot pass."
    )


def failed_last(log: Path, test: TestCondition | None, on: date) -> str:
    """What to tell a person when the last check under this test failed, empty when it did not."""
    if test is None or not log.exists():
        return ""
    try:
        last = last_check(read_daily(log), test=test.name, on=on)
    except (OSError, ValueError) as error:
        return f"The daily log of block checks cannot be read: {error}"
    if last is None or last.passed:
        return ""
    return (
        f"The last check on a block under this test failed (block {last.block} on "
        f"{last.on.isoformat()}, error {last.error_rel:+z.2%}): find out why, and check again "
        "before you test parts."
    )


def logged(lines: Sequence[Line], folder: Folder, serial: str, rules: str) -> dict[str, str]:
    """Write a check that has ended into the daily log.

    Returns
    -------
    dict
        ``note``, what became of the check, and ``warning`` where it failed.

    Raises
    ------
    OSError
        If the log cannot be written.
    ValueError
        If the file is no such log.
    """
    last = last_that_counts(lines)
    if last is None:
        note = f"The check on block {serial} had no indent that counts: it is not in the daily log."
        return {"note": note, "warning": ""}
    try:
        found = verified(lines, folder.block(serial), rules)
    except ValueError as error:
        note = f"The series is ended. Its check is not in the daily log: {error}"
        return {"note": note, "warning": ""}
    if found is None:
        return {"note": "", "warning": ""}
    append_daily(folder.daily_log, found, on=last.day, operator=last.operator)
    return _ended(found)


def _ended(found: Verification) -> dict[str, str]:
    """Words for a check that stands in the daily log."""
    serial = found.block.serial
    if found.passed:
        return {"note": f"The check on block {serial} passed; the daily log has it.", "warning": ""}
    why = "; ".join(check.message for check in found.checks if check.outcome == "fail")
    return {
        "note": "",
        "warning": f"The check on block {serial} failed; the daily log has it: {why}.",
    }
