"""One thread for matrix products while a rim is read.

A product shared between threads is rounded in another order, so that the digits of a photo would
go with the number of cores; and products as small as these are not faster by it.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

__all__ = ["one_thread"]

P = ParamSpec("P")
R = TypeVar("R")


def one_thread(work: Callable[P, R]) -> Callable[P, R]:
    """The same function, its matrix products on one thread."""

    @wraps(work)
    def alone(*args: P.args, **options: P.kwargs) -> R:
        with _libraries().limit(limits=1, user_api="blas"):
            return work(*args, **options)

    return alone


@cache
def _libraries() -> ThreadpoolController:
    """Those loaded, found once: that takes milliseconds."""
    return ThreadpoolController()
