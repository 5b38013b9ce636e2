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
        """Times per second; 0 before the second time, as far apart as the clock can tell."""
        times = list(self._times)
        span_s = times[-1] - times[0] if times else 0.0  # Windows' clock stands for 16 ms
        return (len(times) - 1) / span_s if span_s > 0 else 0.0
