"""The same complaint about many lines as one sentence."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rimread.table import Problem

__all__ = ["Complaints", "summed"]


@dataclass(slots=True)
class _Kind:
    first: Problem
    last: Problem
    count: int = 1


class Complaints:
    """Problems as they come, kept by their kinds: the first, the last and how many."""

    def __init__(self) -> None:
        self._kinds: dict[tuple[str, str], _Kind] = {}

    def add(self, problem: Problem, *, kind: str = "") -> None:
        """Take one in.

        Parameters
        ----------
        problem : Problem
            A line, or a folder.
        kind : str
            What makes it the same as others; what its message says before the cell it quotes, when
            left out.
        """
        key = (problem.code, kind or _without_the_cell(problem.message))
        known = self._kinds.setdefault(key, _Kind(problem, problem, 0))
        known.last = problem
        known.count += 1

    def sentences(self) -> list[str]:
        """One for each kind, in the order they came up."""
        return [_sentence(kind) for kind in self._kinds.values()]


def summed(problems: Iterable[Problem]) -> list[str]:
    """Sentences about problems, one for each kind.

    Examples
    --------
    >>> summed([Problem(2, "'date' is no day (got 'x')"), Problem(3, "'date' is no day (got 'y')")])
    ["line 2: 'date' is no day (got 'x'); so it is with 1 more line, line 3"]
    """
    complaints = Complaints()
    for problem in problems:
        complaints.add(problem)
    return complaints.sentences()


def _without_the_cell(message: str) -> str:
    before, quoted, _ = message.rpartition(" (got ")
    return before if quoted else message


def _sentence(kind: _Kind) -> str:
    more = kind.count - 1
    if not more:
        return str(kind.first)
    noun, last = ("line", "") if more == 1 else ("lines", "the last of them ")
    return f"{kind.first}; so it is with {more} more {noun}, {last}line {kind.last.line}"
