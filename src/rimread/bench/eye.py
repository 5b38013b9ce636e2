"""Two diameters read by a person's eye."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from rimread.bench.ask import Ask
from rimread.hardness import TestCondition, too_unequal

__all__ = ["Eye"]


@dataclass(frozen=True, slots=True)
class Eye:
    """What a person read.

    Parameters
    ----------
    first_mm, second_mm : float
        Two diameters at right angles.
    angle_deg : float
        Direction of the first in the photo, from x towards y.
    """

    first_mm: float
    second_mm: float
    angle_deg: float = 0.0

    @classmethod
    def asked(cls, ask: Ask, test: TestCondition) -> Self:
        """Take the readings a page sent.

        Raises
        ------
        ValueError
            If they can be no diameters of an indent of this test.
        """
        first, second = (ask.number(key, 0.01, test.ball_mm) for key in ("first_mm", "second_mm"))
        if too_unequal(first, second):
            raise ValueError("the two diameters of an indent are nearly equal: look at the unit")
        return cls(first, second, ask.number("angle_deg", -180.0, 180.0, default=0.0))
