"""TOML files that people write or may change: scales, limits, blocks, the laboratory."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection, Iterable
from pathlib import Path
from typing import Any, TypeVar

__all__ = ["from_toml", "known_only", "toml_of"]

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
        values = toml_of(path.read_bytes())
    except ValueError as error:
        raise ValueError(f"{what} {path} is not TOML: {error}") from error
    try:
        return make(values)
    except ValueError as error:
        raise ValueError(f"{what} {path}: {error}") from error


def toml_of(data: bytes) -> dict[str, Any]:
    """Values of a TOML file, with or without the mark that editors put before it.

    Raises
    ------
    ValueError
        If it is none; the sentence says what people most often write otherwise.
    """
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ValueError(f"line {line} is no text in UTF-8; save the file as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise ValueError(
            f"{error}; numbers are written with a point, texts in quotation marks"
        ) from None
    except RecursionError:
        raise ValueError("nested too deeply") from None


def known_only(found: Iterable[str], known: Collection[str]) -> None:
    """Raise ValueError where a key is none of the known ones, and list them."""
    unknown = set(found).difference(known)
    if unknown:
        raise ValueError(f"unknown key {min(unknown)!r}; known are {', '.join(known)}")
