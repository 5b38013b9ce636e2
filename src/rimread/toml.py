"""Small TOML files that people write: limits, blocks, the laboratory."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

__all__ = ["from_toml"]

_T = TypeVar("_T")


def from_toml(path: Path, what: str, make: Callable[[dict[str, Any]], _T]) -> _T:
    """What `make` makes of a file's values; its ValueError names the file as `what`.

    Raises
    ------
    OSError
        If the file cannot be read.
    ValueError
        If it is no TOML, or `make` does not take it.
    """
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise ValueError(f"{what} {path} is not TOML: {error}") from error
    try:
        return make(values)
    except ValueError as error:
        raise ValueError(f"{what} {path}: {error}") from error
