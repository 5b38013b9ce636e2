"""How often something happens, of late."""

from __future__ import annotations

import time
from collections import deque

__all__ = ["Rate"]


class Rate:
    """Counts what happens and says how often it did; one thread ticks, any may ask.

    Parameters
    ----------
    last : int
        How many of the latest times count.
    """

    def __init__(self, last: int) -> None:
        self._times: deque[float] = deque(maxlen=last)

    def tick(self) -> None:
        """It has happened once more."""
        self._times.append(time.monotonic())

    def forget(self) -> None:
        """Begin anew, after a pause that is not to count."""
        self._times.clear()

    @property
    def per_s(self) -> float:
        """Times per second; 0 before the second time."""
        times = list(self._times)
        return (len(times) - 1) / (times[-1] - times[0]) if len(times) > 1 else 0.0
