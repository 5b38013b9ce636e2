"""Proof that a ledger is as it was written."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass

import sqlalchemy as sa

from rimread.ledger.chain import GENESIS, canonical, entry_from, sha256_of
from rimread.ledger.ledger import Ledger
from rimread.ledger.schema import TRIGGERS, columns_of

__all__ = ["Fault", "audit"]


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong: a code for programs, the entry it shows at (None: the whole), a sentence."""

    code: str
    number: int | None
    message: str


def audit(ledger: Ledger, *, known: tuple[int, str] | None = None) -> Iterator[Fault]:
    """Faults of a ledger, none when it is as it was written.

    Who can write to the database can also rewrite all of it, hashes included. Only a hash kept
    elsewhere (on paper, in a report, by mail) shows that: give it as `known`.

    Parameters
    ----------
    ledger : Ledger
        To be proved.
    known : tuple of int and str, optional
        Number and hash (or its first 12 digits or more) of an entry, noted when it was the last.
    """
    number, previous = 0, GENESIS
    faulty = False
    for row in ledger.rows():
        for fault in _row_faults(row, number + 1, previous):
            faulty = True
            yield fault
        number, previous = int(row.number), str(row.hash)
        if known is not None and number == known[0] and not previous.startswith(known[1]):
            faulty = True
            yield Fault("known-hash", number, f"was noted as {known[1]} and is {previous}")
    if known is not None and number < known[0]:
        yield Fault("cut-off", known[0], f"was noted and is gone; the last is {number}")
    yield from _head_faults(ledger, number, previous, faulty=faulty)
    yield from _trigger_faults(ledger)


def _row_faults(row: sa.Row[tuple[object, ...]], due: int, previous: str) -> Iterator[Fault]:
    number = int(row.number)
    if number != due:
        yield Fault("gap", number, f"follows entry {due - 1}: entries between are gone")
    try:
        entry = entry_from(row.body, row.hash)
        same = canonical(json.loads(row.body)) == row.body
    except ValueError as error:
        changed = not isinstance(row.body, str) or sha256_of(row.body) != row.hash
        yield Fault("hash" if changed else "text", number, str(error))
        return
    if not same:
        yield Fault("text", number, "its text is not in the form the ledger writes")
    if entry.previous != previous:
        yield Fault("chain", number, "does not name the hash of the entry before it")
    stored = row._mapping  # noqa: SLF001  (SQLAlchemy's public name for it)
    expected = columns_of(entry, row.body)
    wrong = sorted(key for key, value in expected.items() if stored[key] != value)
    if wrong:
        yield Fault("columns", number, f"{', '.join(wrong)} differ from its text")
    replaces = entry.draft.replaces
    if replaces is not None and not 0 < replaces < number:
        yield Fault("replaces", number, f"replaces entry {replaces}, which is not before it")


def _head_faults(ledger: Ledger, number: int, previous: str, *, faulty: bool) -> Iterator[Fault]:
    try:
        head = ledger.head()
    except ValueError as error:
        yield Fault("head", None, str(error))
        return
    if head[0] > number:
        yield Fault("cut-off", None, f"{head[0]} entries were written; the last is {number}")
    elif head != (number, previous) and not faulty:
        noted, found = (f"{n}:{sha256}" for n, sha256 in (head, (number, previous)))
        yield Fault("head", None, f"the last entry was noted as {noted} and is {found}")


def _trigger_faults(ledger: Ledger) -> Iterator[Fault]:
    database, there = ledger.triggers()
    for name in TRIGGERS[database]:
        if name not in there:
            yield Fault("unguarded", None, f"the trigger {name} that blocks changes is gone")
