"""Pictures that other programs drop into a folder, each once, when it is whole.

The folder is listed again and again: that works on network drives too, where the system does not
tell of new files.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from rimread.photo import ENDINGS

__all__ = ["EMPTY_FOR", "arrivals"]

EMPTY_FOR = 10.0
"""An empty file that has stayed so for so many settling times is handed over after all: whoever
made it does not know that nothing came of it. What is written into it later is a new picture."""


@dataclass(frozen=True, slots=True)
class _State:
    size: int
    changed_ns: int


@dataclass(slots=True)
class _Seen:
    state: _State
    since: float


def arrivals(
    folder: Path,
    *,
    existing: bool = False,
    settle_s: float = 1.0,
    every_s: float = 0.25,
    idle_s: float | None = None,
) -> Iterator[Path]:
    """Each picture of a folder, once it has stopped growing.

    What is there when this is called is there at the start. A file that is written anew after it
    was yielded is yielded again; one that stays empty is yielded late, see `EMPTY_FOR`.

    Parameters
    ----------
    folder : Path
        Watched itself, not what lies in folders inside it.
    existing : bool
        Whether pictures that are there at the start count.
    settle_s : float
        A file is whole when its size and time have stayed as they are for so long.
    every_s : float
        Time between two looks.
    idle_s : float, optional
        End when nothing new came for so long; never when left out.

    Raises
    ------
    ValueError
        If the folder is none, or a time is negative.
    OSError
        If the folder can no longer be read.
    """
    if not folder.is_dir():
        raise ValueError(f"{folder}: not a folder")
    if settle_s < 0 or every_s <= 0:
        raise ValueError(f"times are above 0 s (got settle {settle_s:g}, every {every_s:g})")
    done = {} if existing else _listing(folder)
    return _arriving(folder, done, settle_s, every_s, idle_s)


def _arriving(
    folder: Path, done: dict[Path, _State], settle_s: float, every_s: float, idle_s: float | None
) -> Iterator[Path]:
    """See `arrivals`; `done` are the pictures that do not count as they are."""
    growing: dict[Path, _Seen] = {}
    last = time.monotonic()
    while True:
        now = time.monotonic()
        listing = _listing(folder)
        empty_s = EMPTY_FOR * max(settle_s, every_s)
        for path in _whole(listing, done, growing, now, settle_s, empty_s):
            done[path] = listing[path]
            yield path
            last = time.monotonic()
        if any(seen.state.size for seen in growing.values()):  # an empty file may stay so
            last = max(last, now)
        if idle_s is not None and time.monotonic() - last > idle_s:
            return
        time.sleep(every_s)


def _whole(  # noqa: PLR0917  (the two times belong at the end)
    listing: dict[Path, _State],
    done: dict[Path, _State],
    growing: dict[Path, _Seen],
    now: float,
    settle_s: float,
    empty_s: float,
) -> list[Path]:
    """Files that have stayed as they are for long enough, oldest first."""
    for path in growing.keys() - listing.keys():
        del growing[path]
    ready = []
    for path, state in listing.items():
        if done.get(path) == state:
            continue
        seen = growing.get(path)
        if seen is None or seen.state != state:
            growing[path] = seen = _Seen(state, now)
        if now - seen.since >= (settle_s if state.size else empty_s):
            ready.append(path)
            del growing[path]
    return sorted(ready, key=lambda path: (listing[path].changed_ns, path.name))


def _listing(folder: Path) -> dict[Path, _State]:
    found = {}
    for path in folder.iterdir():
        if path.name.startswith(".") or path.suffix.lower() not in ENDINGS:
            continue
        try:
            told = path.stat()
        except OSError:  # moved away in this moment
            continue
        if path.is_file():
            found[path] = _State(told.st_size, told.st_mtime_ns)
    return found
