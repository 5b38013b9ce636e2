"""A picture on the table, what it was measured with, and what still has to be decided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from rimread.bench.folder import Shot
from rimread.colour import in_channel
from rimread.hardness import TestCondition
from rimread.reading import Reading
from rimread.refusal import Refusal
from rimread.scale import Scale

__all__ = ["Pending", "UndecidedError", "Use"]


class UndecidedError(ValueError):
    """A picture waits for a decision."""


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

    def shown_shot(self) -> Shot:
        """The picture, in the values that the rim was read in."""
        if isinstance(self.result, Refusal):
            return self.shot
        photo = in_channel(self.shot.photo, self.result.rim.channel)
        return replace(self.shot, photo=photo)

    def shown_result(self) -> Reading | Refusal:
        """What the program found, once a person may see it.

        Raises
        ------
        UndecidedError
            While own readings are due.
        """
        if self.blind_due:
            raise UndecidedError("first enter your own readings, or say that you take none")
        return self.result

    def shown_reading(self) -> Reading:
        """The program's reading, once a person may see it.

        Raises
        ------
        ValueError
            While own readings are due, or if the picture was refused.
        """
        result = self.shown_result()
        if isinstance(result, Refusal):
            raise ValueError("this picture was refused: it has no number to accept")  # noqa: TRY004
        return result
