"""Files written whole or not at all, and named when they cannot be written."""

from __future__ import annotations

import errno
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TypeVar

__all__ = ["judge", "naming", "sync_names", "unfinished", "write"]

_T = TypeVar("_T")

_OF_NAME = 40  # letters of the name in that of the unfinished file, which must not get too long
_WINDOWS = os.name == "nt"
_TRIES, _PAUSE_S = 20, 0.05  # a second


def write(path: Path, data: bytes, *, make_folder: bool = False) -> None:
    """Write a file as `unfinished` does.

    Parameters
    ----------
    path : Path
        An existing file is replaced.
    data : bytes
        All of it.
    make_folder : bool
        Make the folder, and those above it, when they are missing.

    Raises
    ------
    OSError
        If it cannot be written, with the file's name in `filename`.
    """
    path = Path(path)
    new = [folder for folder in path.parents if make_folder and not folder.exists()]
    if new:
        path.parent.mkdir(parents=True, exist_ok=True)
    with unfinished(path) as own, naming(path, own):
        own.write_bytes(data)
    for folder in new:
        sync_names(folder.parent)


def judge(path: Path) -> None:
    """Say before the work what would keep a file from being written; what is there stays.

    Raises
    ------
    OSError
        If it cannot be begun, with the file's name in `filename`.
    """
    path = Path(path)
    place, beside = _places(path)
    with naming(path, beside):
        if place.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if _plain(place) and _begun(beside, place) == beside:
            with suppress(PermissionError):  # a scanner holds it for a moment: it may be written
                beside.unlink()


@contextmanager
def unfinished(path: Path) -> Iterator[Path]:
    """Give a file to write to, which gets its name when the block ends without an error.

    So no one ever sees half of it, and a power cut does not undo it. A link stays a link, and what
    is protected from writing stays. Two kinds are written in place, and half of them may be seen:
    what is no plain file (``/dev/stdout``, a named pipe), and a file that may be written in a
    folder that may not.

    Parameters
    ----------
    path : Path
        In a folder that is there; an existing file is replaced.

    Raises
    ------
    OSError
        If it cannot be begun or finished, with the file's name in `filename`. Errors from the block
        are left alone: it alone knows which are of this file, see `naming`.
    """
    path = Path(path)
    place, beside = _places(path)
    with naming(path, beside):
        plain = _plain(place)
        own = _begun(beside, place) if plain else place
    try:
        yield own
        if plain:
            with naming(path, own):
                _finish(own, place)
    finally:
        if own != place:
            own.unlink(missing_ok=True)


def _places(path: Path) -> tuple[Path, Path]:
    """Where a file comes to lie, and its unfinished self beside it."""
    place = path.resolve() if path.is_symlink() else path
    thread = f"{os.getpid()}-{threading.get_native_id()}"
    return place, place.with_name(f".{place.name[:_OF_NAME]}.{thread}")


def _plain(place: Path) -> bool:
    return place.is_file() or not place.exists()


def _begun(beside: Path, place: Path) -> Path:
    """The empty file beside, or the place itself where there can be none beside it."""
    there = place.exists()
    if there and not os.access(place, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    if there and _WINDOWS:  # where a program that shows it may hold it
        _patiently(lambda: place.open("rb+").close())
    try:
        beside.touch()
    except FileNotFoundError:
        if place.parent.is_dir():
            raise
        raise FileNotFoundError(errno.ENOENT, "no such folder") from None
    except PermissionError:
        if not there:
            raise
        return place
    return beside


def _finish(own: Path, place: Path) -> None:
    """Put the file on the disk, then into its place."""
    with _patiently(lambda: own.open("rb+")) as file:  # Windows syncs only what may be written
        _sync(file.fileno())
    if own != place:
        if place.exists():
            own.chmod(place.stat().st_mode)
        _patiently(lambda: own.replace(place))
    sync_names(place.parent)


def _patiently(act: Callable[[], _T]) -> _T:
    """Try for a second where Windows may say no because a scanner looks at a new file."""
    for _ in range(_TRIES if _WINDOWS else 0):
        try:
            return act()
        except PermissionError:
            time.sleep(_PAUSE_S)
    return act()


def _sync(handle: int) -> None:
    """Put a file on the disk; on macOS the first step leaves it in the drive's cache."""
    os.fsync(handle)
    if sys.platform == "darwin":
        import fcntl  # noqa: PLC0415  (not on Windows)

        with suppress(OSError):  # a network drive may not know it
            fcntl.fcntl(handle, fcntl.F_FULLFSYNC)


@contextmanager
def naming(path: Path, own: Path | None = None) -> Iterator[None]:
    """Let an OSError name the file a person knows, not none (a full disk) or our `own`."""
    try:
        yield
    except OSError as error:
        if error.filename is None or str(error.filename) == str(own):
            error.filename = str(path)
            del error.filename2  # None would be told as well
        raise


def sync_names(folder: Path) -> None:
    """Put the names in a folder on the disk, where the system and the drive can."""
    if os.name != "posix":
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
    except PermissionError:  # names may be put into it, but not listed
        return
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # as some network drives say
            raise
    finally:
        os.close(handle)
