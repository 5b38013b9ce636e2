"""How far a long run is, on standard error: a line that renews itself, or one now and then."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

from rimread.cli._io import quiet, say

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.archive.run import Tally

__all__ = ["Progress"]

_BAR = 20  # characters
_EVERY_S = 0.2  # on a screen
_SELDOM_S = 30.0  # into a file


class Progress:
    """Bar, rate, time left and counts of a run.

    Parameters
    ----------
    total : int
        Photos and lines there are.
    """

    def __init__(self, total: int) -> None:
        self._total = total
        self._screen = sys.stderr.isatty()
        self._begun = self._told = time.monotonic()
        self._wide = 0

    def __call__(self, tally: Tally) -> None:
        """Tell the counts, not too often."""
        now = time.monotonic()
        if now - self._told < (_EVERY_S if self._screen else _SELDOM_S):
            return
        self._told = now
        self._write(self._line(tally, now), "")

    def say(self, sentence: str) -> None:
        """Tell a person something without spoiling the line."""
        if self._screen:
            self._put(f"\r{'':{self._wide}}\r")
        say(sentence)

    def end(self, tally: Tally) -> None:
        """Tell the last counts."""
        self._write(self._line(tally, time.monotonic()), "\n")

    def _line(self, tally: Tally, now: float) -> str:
        share = tally.passed / self._total if self._total else 1.0
        rate = tally.now / max(now - self._begun, 1e-3)
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

    def _write(self, line: str, end: str) -> None:
        if self._screen:
            self._put(f"\r{line:{self._wide}}{end}")
            self._wide = len(line)
        else:
            self._put(f"{line}\n")

    @staticmethod
    def _put(words: str) -> None:
        with quiet(sys.stderr):
            sys.stderr.write(words)


def _clock(seconds: float | None) -> str:
    if seconds is None:
        return "?:??:??"
    minutes, s = divmod(round(seconds), 60)
    hours, m = divmod(minutes, 60)
    return f"{hours}:{m:02}:{s:02}"
