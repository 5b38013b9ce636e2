"""Manners the verbs share: what goes to which stream, how errors read, which exit codes."""

from __future__ import annotations

import errno
import glob
import json
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

import typer

from rimread import whole

__all__ = [
    "MISUSE",
    "REFUSED",
    "apart",
    "expand",
    "line_safe",
    "print_json",
    "printing",
    "quiet",
    "say",
    "shown",
    "speaking",
    "telling",
    "told",
    "until_stopped",
    "writable",
]

REFUSED = 1
"""Exit code: something was refused or failed a check."""

MISUSE = 2
"""Exit code: a wrong option, or an input that cannot be read. Wins over `REFUSED`."""


_WINDOWS = os.name == "nt"
_BREAKS = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")  # controls and other line ends


@contextmanager
def speaking() -> Iterator[None]:
    """Turn misuse into one sentence on standard error and exit code 2.

    ValueError is what the library raises for misuse, OSError what files do; anything else is a
    fault of the program and keeps its traceback.
    """
    try:
        yield
        with printing():
            sys.stdout.flush()
    except OSError as error:
        if _nobody_reads(error):  # of a list: who has seen enough misses nothing
            _to_nobody(sys.stdout)
            raise typer.Exit from None
        say(f"{error.filename}: {error.strerror}" if error.filename else str(error))
        raise typer.Exit(MISUSE) from None
    except ValueError as error:
        say(str(error))
        raise typer.Exit(MISUSE) from None


@contextmanager
def telling() -> Iterator[None]:
    """Print what came of it all; the exit code that follows is the same if nobody reads it."""
    with quiet(sys.stdout):
        yield


def told(tell: Callable[..., None], *what: object) -> bool:
    """Print with `tell`; False, once, when nobody reads any more, and all is quiet from then on."""
    with telling():
        tell(*what)
        sys.stdout.flush()
        return True
    return False


@contextmanager
def printing(stream: TextIO | None = None) -> Iterator[None]:
    """Let an error of standard output, or another stream, name it as those of files do.

    That the reader of a pipe has gone Windows calls an invalid argument; what is read from a drive
    that went away, too.
    """
    try:
        yield
    except OSError as error:
        if _WINDOWS and error.errno == errno.EINVAL and error.filename is None:
            raise BrokenPipeError(errno.EPIPE, os.strerror(errno.EPIPE)) from None
        if error.filename is None and not _nobody_reads(error):
            error.filename = "standard error" if stream is sys.stderr else "standard output"
        raise


@contextmanager
def quiet(stream: TextIO) -> Iterator[None]:
    """Write to nobody from where the reader of a pipe has gone."""
    try:
        with printing(stream):
            yield
            stream.flush()
    except OSError as error:
        if not _nobody_reads(error):
            raise
        _to_nobody(stream)


def _nobody_reads(error: OSError) -> bool:
    """Whether the reader of a pipe has gone; an error that names a file is that file's."""
    return isinstance(error, BrokenPipeError) and error.filename is None


def _to_nobody(stream: TextIO) -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)


@contextmanager
def until_stopped(sentence: str) -> Iterator[None]:
    """Take Ctrl-C for the end that a person wants, and say so."""
    try:
        yield
    except KeyboardInterrupt:
        say(sentence)


def say(sentence: str) -> None:
    """Tell a person something on standard error."""
    with quiet(sys.stderr):
        print(f"rimread: {shown(sentence)}", file=sys.stderr)


def shown(line: str) -> str:
    r"""A line for people, in which what would break it (a file may be so named) is an escape.

    >>> shown("indent\n7.jpg")
    'indent\\n7.jpg'
    """
    return _BREAKS.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), line)


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


def writable(option: str, out: Path | None, *suffixes: str) -> None:
    """Say before the work that a file is none of its kind, but a photo, or cannot be made."""
    if out is None:
        return
    if out.suffix.lower() not in suffixes:
        raise ValueError(
            f"{option} takes a file that ends in {' or '.join(suffixes)} (got {str(out)!r})"
        )
    whole.judge(out)


def expand(names: Iterable[str]) -> list[Path]:
    """Files from names and patterns; ``cmd.exe`` does not expand ``*.jpg`` by itself.

    A name that exists is taken as it is, brackets and all; a pattern that matches nothing stays,
    so that it is reported as missing.
    """
    paths: list[Path] = []
    for name in names:
        there = os.path.exists(name)
        matches = [] if there else sorted(glob.glob(name))  # noqa: PTH207  (any root)
        paths.extend(Path(match) for match in matches or [name])
    return paths
