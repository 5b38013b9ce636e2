"""Series of the bench, and their lines read back from the ledger."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from itertools import chain
from typing import Any, Literal

from rimread.check import Check
from rimread.hardness import Indent, TestCondition, parse_test
from rimread.ledger import Entry, Ledger
from rimread.ledger.record import series_of
from rimread.report.model import ByEye
from rimread.report.results import budget_from

__all__ = [
    "Decision",
    "Line",
    "Series",
    "eyes_of",
    "failed_in",
    "indents_of",
    "judge_new",
    "last_that_counts",
    "lines_of",
    "piece_of",
    "placed",
]

Decision = Literal["accepted", "rejected", "corrected", "refused"]


@dataclass(frozen=True, slots=True)
class Series:
    """Indents that belong together.

    Parameters
    ----------
    id : str
        Its name in the ledger.
    purpose : str
        ``part``, or ``block`` for a check on a reference block.
    block : str
        Serial number of that block, else empty.
    begun : datetime.date
        Day (UTC), as the clock had it; nothing is looked up by it, for clocks are set back.
    after : int or None
        Number of the ledger's last entry when it was begun, so that not all of the ledger is read.
        None where an earlier version did not keep it, see `placed`.
    """

    id: str
    purpose: str
    block: str
    begun: date
    after: int | None = None

    @classmethod
    def fresh(
        cls, now: datetime, purpose: str = "part", block: str = "", *, after: int = 0
    ) -> Series:
        """Series with a name of its own."""
        name = f"{now.astimezone():%Y%m%d-%H%M%S}-{secrets.token_hex(2)}"
        return cls(name, purpose, block, now.astimezone(UTC).date(), after)

    @classmethod
    def remembered(cls, told: object) -> Series | None:
        """Series from what was kept; None when that cannot be used."""
        if not (isinstance(told, dict) and {"id", "purpose", "begun"} <= set(told)):
            return None
        name, purpose, block, begun = (
            str(told.get(key, "")) for key in ("id", "purpose", "block", "begun")
        )
        after = told.get("after")
        known = isinstance(after, int) and after >= 0
        try:
            return cls(name, purpose, block, date.fromisoformat(begun), after if known else None)
        except ValueError:
            return None

    def kept(self) -> dict[str, Any]:
        """What `remembered` takes: beside what is told, where it begins in the ledger."""
        return {**self.told(), "after": self.after}

    def told(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "id": self.id,
            "purpose": self.purpose,
            "block": self.block,
            "begun": self.begun.isoformat(),
        }


@dataclass(frozen=True, slots=True)
class Line:
    """One indent of a series as the page lists it.

    Parameters
    ----------
    entry : int
        Its number in the ledger.
    decision : {"accepted", "rejected", "corrected", "refused"}
        What became of it.
    record : mapping
        What the ledger holds.
    counts : bool
        Whether it goes into the mean.
    operator : str
        Who decided on it.
    reason : str
        Of a rejection or correction.
    """

    entry: int
    decision: Decision
    record: Mapping[str, Any]
    counts: bool
    operator: str
    reason: str = ""

    @property
    def test(self) -> TestCondition:
        """What its picture was measured under."""
        return parse_test(self.record["test"])

    @property
    def day(self) -> date:
        """Day of its picture, as the clock on the wall had it."""
        return datetime.fromisoformat(self.record["taken_at"]).astimezone().date()


def placed(series: Series, ledger: Ledger) -> Series:
    """The series with where it begins in this ledger.

    The ledger may be another one than last time, or a shorter copy put back; where an earlier
    version did not keep the number, all of it is looked through, this once.
    """
    last = ledger.head()[0]
    if series.after is not None:
        return replace(series, after=min(series.after, last))
    own = (entry.number for entry in ledger.entries() if series_of(entry.record) == series.id)
    return replace(series, after=next(own, last + 1) - 1)


def lines_of(ledger: Ledger, series: Series) -> list[Line]:
    """Lines of a series in the order of its pictures, corrections in the place of what they mend.

    Parameters
    ----------
    ledger : Ledger
        Where it is kept.
    series : Series
        Which.
    """
    lines: dict[int, Line] = {}  # a dict keeps the place of the first
    places: dict[int | None, int] = {}
    for entry in _entries_behind(ledger, series.after or 0):
        draft, record = entry.draft, entry.record
        place = places.get(draft.replaces, entry.number)
        if draft.kind == "withdrawal" and place in lines:
            lines[place] = replace(
                lines[place], decision="rejected", counts=False, reason=draft.reason
            )
        elif series_of(record) == series.id and not record.get("blind"):
            places[entry.number] = place
            lines[place] = _line(entry)
    return list(lines.values())


def judge_new(sha256: str, lines: Sequence[Line]) -> None:
    """Say that a photo counts already, before it is measured for nothing.

    Raises
    ------
    ValueError
        If a line that counts is of the photo with this hash.
    """
    for number, line in enumerate(lines, start=1):
        if line.counts and line.record["sha256"] == sha256:
            raise ValueError(
                f"this photo is indent {number} of the series already, and a photo counts once: "
                "open another one, or withdraw that indent first"
            )


def eyes_of(ledger: Ledger, series: Series) -> list[ByEye]:
    """Readings by eye of a series that no later entry replaces."""
    eyes: dict[int | None, ByEye] = {}
    for entry in _entries_behind(ledger, series.after or 0):
        draft, r = entry.draft, entry.record
        eyes.pop(draft.replaces, None)
        if draft.kind == "hand" and r.get("blind") and series_of(r) == series.id:
            eyes[entry.number] = ByEye(r["photo"], draft.operator, r["d1_mm"], r["d2_mm"])
    return list(eyes.values())


def _entries_behind(ledger: Ledger, number: int) -> Iterator[Entry]:
    """All entries with higher numbers, in order."""
    count, before = ledger.head()[0] - number, 0
    while True:
        entries = ledger.entries(newest=count)
        first = next(entries, None)
        if first is None:
            return iter(())
        if first.number == before or first.number <= number + 1:  # numbers have no gaps
            return chain([first], entries)
        # Another program wrote meanwhile: more of them. The same again, and one was cut out.
        count, before = count + first.number - number - 1, first.number


def _line(entry: Entry) -> Line:
    record = entry.record
    decision: Decision = record.get("decision", "accepted")
    hand = entry.draft.kind == "hand"
    counts = decision == "accepted" or (decision == "corrected" and hand)
    return Line(entry.number, decision, record, counts, entry.draft.operator, entry.draft.reason)


def last_that_counts(lines: Sequence[Line]) -> Line | None:
    """The last line that counts: day and person of what follows from the series."""
    return next((line for line in reversed(lines) if line.counts), None)


def piece_of(lines: Iterable[Line]) -> dict[str, Any]:
    """What was tested, as the lines that count were written: the job may be the next one by now.

    Words that differ from line to line stand one behind the other, for the indents lie in more
    places than one; the temperature is that of the last.
    """
    told = [line.record["series"] for line in lines if line.counts]
    words = {
        key: "; ".join(filter(None, dict.fromkeys(str(one.get(key) or "") for one in told)))
        for key in ("part", "heat", "location")
    }
    return {**words, "temperature_c": told[-1].get("temperature_c") if told else None}


def indents_of(lines: Iterable[Line]) -> list[Indent]:
    """Indents of the lines that count, with budgets that know what is common to all."""
    return [
        Indent(
            *(record["d1_mm"], record["d2_mm"], budget_from(record), record["photo"]),
            scale=record.get("scale_sha256") or "",
        )
        for record in (line.record for line in lines if line.counts)
    ]


def failed_in(lines: Iterable[Line]) -> tuple[Check, ...]:
    """Checks that failed when the lines that count were measured, their numbers named."""
    return tuple(
        Check(**told | {"message": f"indent {number}: {told['message']}"})
        for number, line in enumerate(lines, start=1)
        if line.counts
        for told in line.record["checks"]
        if told["outcome"] == "fail"
    )
