"""A picture on the table, what it was measured with, and what still has to be decided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rimread.bench.folder import Shot
from rimread.hardness import TestCondition
from rimread.reading import Reading
from rimread.refusal import Refusal
from rimread.scale import Scale

__all__ = ["Pending", "Use"]


@dataclass(frozen=True, slots=True)
class Use:
    """What a picture is measured with: test, scale, and the scale's file in the folder."""

    test: TestCondition
    scale: Scale
    scale_file: str


@dataclass(frozen=True, slots=True, eq=False)
class Pending:
    """A picture that waits for a person's decision.

    Parameters
    ----------
    id : str
        Names it to the page and, once decided, to the ledger.
    shot : Shot
        The picture.
    result : Reading or Refusal
        What the program found.
    use : Use
        What it was measured with.
    blind_due : bool
        Whether a person must enter own readings before the result is shown.
    blind : mapping or None
        The person's readings, as the ledger will keep them.
    note : str
        What else a person should know.
    """

    id: str
    shot: Shot
    result: Reading | Refusal
    use: Use
    blind_due: bool
    blind: Mapping[str, Any] | None = None
    note: str = ""
