"""Files written whole or not at all, and named when they cannot be written."""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["naming", "sync_names", "write"]

_OF_NAME = 40  # letters of the name in that of the unfinished file, which must not get too long


def write(path: Path, data: bytes) -> None:
    """Write a file so that no one ever sees half of it, and a power cut does not undo it.

    What is no plain file (``/dev/stdout``, a named pipe) is written as it is. A link stays a link,
    and what is protected from writing stays.

    Parameters
    ----------
    path : Path
        In a folder that is there; an existing file is replaced.
    data : bytes
        All of it.

    Raises
    ------
    OSError
        If it cannot be written, with the file's name in `filename`.
    """
    path = Path(path)
    with naming(path):
        if path.exists() and not path.is_file():
            path.write_bytes(data)
            return
        _replace(path.resolve() if path.is_symlink() else path, data)


def _replace(path: Path, data: bytes) -> None:
    mode = None
    if path.exists():
        if not os.access(path, os.W_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        mode = path.stat().st_mode
    own = f"{os.getpid()}-{threading.get_native_id()}"
    unfinished = path.with_name(f".{path.name[:_OF_NAME]}.{own}")
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if mode is not None:
            unfinished.chmod(mode)
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    sync_names(path.parent)


@contextmanager
def naming(path: Path) -> Iterator[None]:
    """Let an OSError name the file a person knows, not none (a full disk) or one beside it."""
    try:
        yield
    except OSError as error:
        if error.filename is None or Path(error.filename).parent == path.parent:
            error.filename, error.filename2 = str(path), None
        raise


def sync_names(folder: Path) -> None:
    """Put the names in a folder on the disk, where the system and the drive can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # as some network drives say
            raise
    finally:
        os.close(handle)
