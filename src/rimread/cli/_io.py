"""Manners the verbs share: what goes to which stream, how errors read, which exit codes."""

from __future__ import annotations

import glob
import json
import os
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

import typer

__all__ = [
    "MISUSE",
    "REFUSED",
    "apart",
    "expand",
    "line_safe",
    "print_json",
    "say",
    "speaking",
    "telling",
    "until_stopped",
]

REFUSED = 1
"""Exit code: something was refused or failed a check."""

MISUSE = 2
"""Exit code: a wrong option, or an input that cannot be read. Wins over `REFUSED`."""


@contextmanager
def speaking() -> Iterator[None]:
    """Turn misuse into one sentence on standard error and exit code 2.

    ValueError is what the library raises for misuse, OSError what files do; anything else is a
    fault of the program and keeps its traceback.
    """
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:  # the reader of a pipe has seen enough
        _to_nobody()
        raise typer.Exit from None
    except OSError as error:
        say(f"{error.filename}: {error.strerror}" if error.filename else str(error))
        raise typer.Exit(MISUSE) from None
    except ValueError as error:
        say(str(error))
        raise typer.Exit(MISUSE) from None


@contextmanager
def telling() -> Iterator[None]:
    """Print what came of it all; the exit code that follows is the same if nobody reads it."""
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        _to_nobody()


def _to_nobody() -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


@contextmanager
def until_stopped(sentence: str) -> Iterator[None]:
    """Take Ctrl-C for the end that a person wants, and say so."""
    try:
        yield
    except KeyboardInterrupt:
        say(sentence)


def say(sentence: str) -> None:
    """Tell a person something on standard error."""
    print(f"rimread: {sentence}", file=sys.stderr, flush=True)


def print_json(record: Mapping[str, Any]) -> None:
    """One object on one line of standard output, in ASCII so that no console can spoil it."""
    print(json.dumps(record, allow_nan=False), flush=True)


def line_safe(stream: TextIO) -> None:
    """Let a stream replace what its encoding lacks instead of failing (Windows pipes)."""
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="backslashreplace")


def apart(option: str, out: Path | None, *read: Path | None) -> None:
    """Raise ValueError where a file to be written is one that is read: it would be lost."""
    for path in filter(None, read):
        if out is not None and out.resolve() == path.resolve():
            raise ValueError(f"{option} {out}: would be written over what is read from it")


def expand(names: Iterable[str]) -> list[Path]:
    """Files from names and patterns; ``cmd.exe`` does not expand ``*.jpg`` by itself.

    A name that exists is taken as it is, brackets and all; a pattern that matches nothing stays,
    so that it is reported as missing.
    """
    paths: list[Path] = []
    for name in names:
        there = os.path.exists(name)  # noqa: PTH110  (a name too long is none)
        matches = [] if there else sorted(glob.glob(name))  # noqa: PTH207  (any root)
        paths.extend(Path(match) for match in matches or [name])
    return paths
