"""One thread for matrix products while a rim is read.

A product shared between threads is rounded in another order, so that the digits of a photo would
go with the number of cores; and products as small as these are not faster by it. The limit holds
for the whole process, and whoever ended first would lift it for the others: so a process reads one
rim after the other. Several at once take several processes.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from threading import RLock
from typing import ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

__all__ = ["one_thread"]

P = ParamSpec("P")
R = TypeVar("R")

_AT_WORK = RLock()


def one_thread(work: Callable[P, R]) -> Callable[P, R]:
    """The same function, its matrix products on one thread."""

    @wraps(work)
    def alone(*args: P.args, **options: P.kwargs) -> R:
        with _AT_WORK, _libraries().limit(limits=1, user_api="blas"):
            return work(*args, **options)

    return alone


@cache
def _libraries() -> ThreadpoolController:
    """Those loaded, found once: that takes milliseconds."""
    return ThreadpoolController()
