"""A measurement that cannot be trusted, as a value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

__all__ = ["Refusal", "program_fault"]

_NOTHING: Mapping[str, float | str] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why no number is given; falsy, so that ``if result:`` reads naturally.

    Parameters
    ----------
    code : str
        Short lower-case identifier that programs can rely on, e.g. ``"cut-by-frame"``.
    message : str
        One plain sentence that says what to do at the scope.
    evidence : mapping of str to float or str
        The figures the decision rests on, units in the names.
    """

    code: str
    message: str
    evidence: Mapping[str, float | str] = field(default_factory=lambda: _NOTHING, compare=False)

    def __bool__(self) -> Literal[False]:
        return False


def program_fault(error: BaseException) -> Refusal:
    """Of a photo on which the program itself failed; the others go on."""
    return Refusal(
        "program-fault",
        f"The program failed on this photo ({type(error).__name__}: {error}); please report it, "
        "with the photo.",
    )
