"""Proof that a ledger is as it was written."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass

import sqlalchemy as sa

from rimread.ledger.chain import GENESIS, canonical, entry_from, sha256_of
from rimread.ledger.ledger import Ledger
from rimread.ledger.schema import TRIGGERS, columns_of

__all__ = ["Audit", "Fault", "audit"]


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong: a code for programs, the entry it shows at (None: the whole), a sentence."""

    code: str
    number: int | None
    message: str


@dataclass(frozen=True, slots=True)
class Audit:
    """What a proof found; iterates over the faults.

    Parameters
    ----------
    faults : tuple of Fault
        Empty when the ledger is as it was written.
    number : int
        Of the last entry that was looked at, 0 when there is none.
    sha256 : str
        Hash of that entry.
    """

    faults: tuple[Fault, ...]
    number: int
    sha256: str

    def __iter__(self) -> Iterator[Fault]:
        return iter(self.faults)


def audit(ledger: Ledger, *, known: tuple[int, str] | None = None) -> Audit:
    """Prove that a ledger is as it was written; what is written meanwhile is no fault.

    Who can write to the database can also rewrite all of it, hashes included. Only a hash kept
    elsewhere (on paper, in a report, by mail) shows that: give it as `known`.

    Parameters
    ----------
    ledger : Ledger
        To be proved.
    known : tuple of int and str, optional
        Number and hash (or its first 12 digits or more) of an entry, noted when it was the last.
    """
    head = _head(ledger)  # before the entries: whatever it names must be among them
    number, sha256 = 0, GENESIS
    met = head == (number, sha256)
    faults: list[Fault] = []
    for row in ledger.rows():
        faults += _row_faults(row, number + 1, sha256)
        number, sha256 = int(row.number), str(row.hash)
        met = met or head == (number, sha256)
        if known is not None and number == known[0] and not sha256.startswith(known[1]):
            faults.append(Fault("known-hash", number, f"was noted as {known[1]} and is {sha256}"))
    if known is not None and number < known[0]:
        faults.append(Fault("cut-off", known[0], f"was noted and is gone; the last is {number}"))
    if isinstance(head, Fault):
        faults.append(head)
    else:
        faults += _head_faults(ledger, head, number, met=met or bool(faults))
    return Audit((*faults, *_trigger_faults(ledger)), number, sha256)


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


def _head(ledger: Ledger) -> tuple[int, str] | Fault:
    try:
        return ledger.head()
    except ValueError as error:
        return Fault("head", None, str(error))


def _head_faults(
    ledger: Ledger, head: tuple[int, str], number: int, *, met: bool
) -> Iterator[Fault]:
    noted = f"the last entry was noted as {head[0]}:{head[1]}"
    if head[0] > number:
        yield Fault("cut-off", None, f"{head[0]} entries were written; the last is {number}")
    elif not met:
        yield Fault("head", None, f"{noted} and has another hash")
    elif head[0] < number:  # written since, or put in beside the head
        later = _head(ledger)
        if isinstance(later, Fault):
            yield later
        elif later[0] < number:
            yield Fault("head", None, f"{noted} and is {number}")


def _trigger_faults(ledger: Ledger) -> Iterator[Fault]:
    database, there = ledger.triggers()
    for name in TRIGGERS[database]:
        if name not in there:
            yield Fault("unguarded", None, f"the trigger {name} that blocks changes is gone")
