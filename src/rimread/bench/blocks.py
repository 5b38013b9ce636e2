"""Reference blocks at the bench: a certificate as it is asked for, a series held against it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from rimread.bench.ask import Ask
from rimread.bench.folder import Folder
from rimread.bench.series import Line, failed_in, indents_of, last_that_counts
from rimread.hardness import (
    Block,
    Verification,
    append_daily,
    parse_test,
    series_from_indents,
    verify,
)

__all__ = ["asked", "logged", "verified"]


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


def logged(lines: Sequence[Line], folder: Folder, serial: str, rules: str) -> str:
    """Write a check that has ended into the daily log; what to tell a person where it cannot be.

    Raises
    ------
    OSError
        If the log cannot be written.
    ValueError
        If the file is no such log.
    """
    last = last_that_counts(lines)
    if last is None:
        return ""
    try:
        found = verified(lines, folder.block(serial), rules)
    except ValueError as error:
        return f"The series is ended. Its check is not in the daily log: {error}"
    if found is not None:
        append_daily(folder.daily_log, found, on=last.day, operator=last.operator)
    return ""
