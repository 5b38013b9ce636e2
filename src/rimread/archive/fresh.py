"""What was made of a file, remembered while the file stays as it is.

Workers of a cluster outlive the runs they work for: a scale file calibrated again, or a rules file
mended, in between must be read again.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, wraps
from pathlib import Path
from typing import TypeVar

__all__ = ["while_unchanged"]

_T = TypeVar("_T")


def while_unchanged(
    maxsize: int,
) -> Callable[[Callable[[str], _T]], Callable[[str], _T]]:
    """Remember what a function makes of a path while the file's size and time of change stay.

    Parameters
    ----------
    maxsize : int
        Files remembered at once.
    """

    def decorated(read: Callable[[str], _T]) -> Callable[[str], _T]:
        @lru_cache(maxsize=maxsize)
        def remembered(path: str, _changed_ns: int, _size: int) -> _T:
            return read(path)

        @wraps(read)
        def asked(path: str) -> _T:
            try:
                found = Path(path).stat()
            except OSError:
                return read(path)  # and says what is wrong with it
            return remembered(path, found.st_mtime_ns, found.st_size)

        return asked

    return decorated
