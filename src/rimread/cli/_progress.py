"""How far a long run is, on standard error: a line that renews itself, or one now and then."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

from rimread.cli._io import quiet, say

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.archive.run import Tally

__all__ = ["Line", "Progress"]

_BAR = 20  # characters
_EVERY_S = 0.2  # on a screen
_SELDOM_S = 30.0  # into a file


class Line:
    """A line that renews itself on a screen, or one now and then in a file."""

    def __init__(self) -> None:
        self._screen = sys.stderr.isatty()
        self._told = time.monotonic()
        self._wide = 0

    def due(self) -> bool:
        """Whether it is time to tell something again."""
        now = time.monotonic()
        if now - self._told < (_EVERY_S if self._screen else _SELDOM_S):
            return False
        self._told = now
        return True

    def write(self, line: str, *, last: bool = False) -> None:
        """Tell it; the last one stays on the screen."""
        if self._screen:
            self._put(f"\r{line:{self._wide}}" + ("\n" if last else ""))
            self._wide = len(line)
        else:
            self._put(f"{line}\n")

    def clear(self) -> None:
        """Make room for a sentence."""
        if self._screen:
            self._put(f"\r{'':{self._wide}}\r")

    @staticmethod
    def _put(words: str) -> None:
        with quiet(sys.stderr):
            sys.stderr.write(words)


class Progress:
    """Bar, rate, time left and counts of a run.

    Parameters
    ----------
    total : int
        Photos and lines there are.
    """

    def __init__(self, total: int) -> None:
        self._total = total
        self._shown = Line()
        self._begun = time.monotonic()

    def __call__(self, tally: Tally) -> None:
        """Tell the counts, not too often."""
        if self._shown.due():
            self._shown.write(self._line(tally))

    def say(self, sentence: str) -> None:
        """Tell a person something without spoiling the line."""
        self._shown.clear()
        say(sentence)

    def end(self, tally: Tally) -> None:
        """Tell the last counts."""
        self._shown.write(self._line(tally), last=True)

    def _line(self, tally: Tally) -> str:
        share = tally.passed / self._total if self._total else 1.0
        rate = tally.now / max(time.monotonic() - self._begun, 1e-3)
        left = (self._total - tally.passed) / rate if rate > 0.0 else None
        bar = "#" * int(_BAR * share)
        parts = [
            f"[{bar:{_BAR}}] {tally.passed} of {self._total}",
            f"{rate:.1f}/s",
            f"{_clock(left)} left",
            f"{tally.measured} measured",
            f"{tally.refused} refused",
        ]
        if tally.unreadable:
            parts.append(f"{tally.unreadable} unreadable")
        if tally.before:
            parts.append(f"{tally.before} done before")
        return "  ".join(parts)


def _clock(seconds: float | None) -> str:
    if seconds is None:
        return "?:??:??"
    minutes, s = divmod(round(seconds), 60)
    hours, m = divmod(minutes, 60)
    return f"{hours}:{m:02}:{s:02}"
