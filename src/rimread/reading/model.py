"""What one photo says, with everything it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import final

from rimread import __version__
from rimread.check import Check
from rimread.diameters import Diameters
from rimread.hardness import Hardness, Indent, TestCondition
from rimread.neighbours import Place
from rimread.photo import Tone
from rimread.rim import Rim

__all__ = ["Reading", "indent_of"]


@final  # so that a type checker knows what `if reading:` leaves
@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What one photo says, with everything it rests on.

    Parameters
    ----------
    photo : str
        File name.
    scale_label, scale_sha256 : str
        Camera and objective, and hash of the scale file.
    test : TestCondition
        Ball, force, dwell.
    rim : Rim
        Traced points and what they say about the picture.
    diameters : Diameters
        On the specimen, in mm, with their budget.
    hardness : Hardness
        HBW and its budget; only the diameter's uncertainty is in it.
    checks : tuple of Check
        The rules that belong to one indent and to its photo.
    tone : {"srgb", "linear"}
        How the photo's grey values were taken to follow light.
    version : str
        Of this program.
    place : Place or None
        Among the indents of the photo; None when only one was looked for.
    """

    photo: str
    scale_label: str
    scale_sha256: str
    test: TestCondition
    rim: Rim
    diameters: Diameters
    hardness: Hardness
    checks: tuple[Check, ...]
    tone: Tone
    version: str = __version__
    place: Place | None = None

    @property
    def hbw(self) -> float:
        """Unrounded hardness."""
        return self.hardness.hbw

    @property
    def U_hbw(self) -> float:  # noqa: N802
        """Expanded uncertainty of `hbw` from the reading of the diameter alone."""
        return self.hardness.budget.U

    @property
    def designation(self) -> str:
        """Value, symbol and condition, e.g. ``229 HBW 10/3000``."""
        return self.hardness.designation

    @property
    def failed(self) -> bool:
        """Whether a check says that the result does not count."""
        return any(check.outcome == "fail" for check in self.checks)


def indent_of(reading: Reading) -> Indent:
    """The reading as one indent of a series, its budget with it."""
    found = reading.diameters
    return Indent(found.d1_mm, found.d2_mm, found.budget, reading.photo, reading.scale_sha256)
