"""Entries as text, and the hash that ties each to the one before.

The text of an entry is JSON in ASCII with sorted keys, no spaces and the shortest digits that give
the number back. The SHA-256 of that text is the entry's hash, and the next entry's text holds it:
whoever changes an entry must change all that follow. The text is stored as it was hashed, so that
any tool can prove it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any, Literal, get_args

__all__ = ["GENESIS", "Draft", "Entry", "Kind", "canonical", "entry_from", "sealed", "sha256_of"]

Kind = Literal["image", "hand", "withdrawal"]
"""Reading of a photo by the program, by a person, or the end of an entry without a new one."""

GENESIS = "0" * 64
"""What the first entry names as the hash before it."""

_NOTHING: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry before it is written.

    Parameters
    ----------
    kind : {"image", "hand", "withdrawal"}
        See `Kind`.
    record : mapping
        Plain JSON values; of an image, what `rimread.reading.reading_json` gives and more.
    operator : str
        Who read or ordered it.
    replaces : int or None
        Number of the entry this one corrects.
    reason : str
        Why it corrects; must be given when `replaces` is.
    task, attempt : str, int
        Of a photo in an archive: what makes it the same task when started again, and which try
        this is. The ledger holds each pair once. Empty and 0 elsewhere.

    Raises
    ------
    ValueError
        If a correction has no reason, or a withdrawal withdraws nothing.
    """

    kind: Kind
    record: Mapping[str, Any] = field(default_factory=lambda: _NOTHING)
    operator: str = ""
    replaces: int | None = None
    reason: str = ""
    task: str = ""
    attempt: int = 0

    def __post_init__(self) -> None:
        if self.kind not in get_args(Kind):
            raise ValueError(f"an entry is one of {', '.join(get_args(Kind))} (got {self.kind!r})")
        if (self.replaces is None) != (not self.reason.strip()):
            raise ValueError(
                "a correction names the entry it replaces and the reason, both or neither "
                f"(got entry {self.replaces}, reason {self.reason!r})"
            )
        if self.kind == "withdrawal" and self.replaces is None:
            raise ValueError("a withdrawal names the entry it withdraws")
        if bool(self.task) != (self.attempt > 0):
            raise ValueError(f"a task has attempts from 1 (got {self.task!r}, {self.attempt})")


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry as written.

    Parameters
    ----------
    number : int
        1, 2, 3 … without gaps.
    written_at : datetime.datetime
        UTC, by the clock of the computer that wrote it.
    draft : Draft
        What was written.
    previous, hash : str
        SHA-256 of the entry before and of this one.
    """

    number: int
    written_at: datetime
    draft: Draft
    previous: str
    hash: str

    @property
    def record(self) -> Mapping[str, Any]:
        """Shorthand for ``draft.record``."""
        return self.draft.record


def canonical(value: Mapping[str, Any]) -> str:
    """JSON text that is the same for the same values.

    Raises
    ------
    ValueError
        If a number is not finite.
    TypeError
        If a value is none that JSON has.
    """
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def sha256_of(text: str) -> str:
    """SHA-256 of the text in UTF-8, lower-case hexadecimal."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def sealed(draft: Draft, number: int, written_at: datetime, previous: str) -> tuple[str, str]:
    """Text and hash of an entry."""
    text = canonical(
        {
            "number": number,
            "written_at": written_at.astimezone(UTC).isoformat(timespec="microseconds"),
            "previous": previous,
            "kind": draft.kind,
            "operator": draft.operator,
            "replaces": draft.replaces,
            "reason": draft.reason,
            "task": draft.task,
            "attempt": draft.attempt,
            "record": dict(draft.record),
        }
    )
    return text, sha256_of(text)


def entry_from(text: str, sha256: str) -> Entry:
    """Entry from its text and stored hash; that it follows the entry before it is not proved.

    Raises
    ------
    ValueError
        If the text does not give the hash, or is not that of an entry.
    """
    if not isinstance(text, str) or sha256_of(text) != sha256:  # SQLite keeps bytes as bytes
        raise ValueError("its text was changed: it does not give its hash")
    try:
        told = json.loads(text)
        keys = ("kind", "record", "operator", "replaces", "reason", "task", "attempt")
        return Entry(
            number=int(told["number"]),
            written_at=datetime.fromisoformat(told["written_at"]),
            draft=Draft(**{key: told[key] for key in keys}),
            previous=str(told["previous"]),
            hash=sha256,
        )
    except (TypeError, KeyError, ValueError) as error:
        raise ValueError(f"not the text of an entry ({error})") from None
