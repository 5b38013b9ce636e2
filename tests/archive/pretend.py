"""Work that measures nothing, for tests and benchmarks of everything around it.

python -m tests.archive.pretend MANIFEST LEDGER RESULTS MILLISECONDS
"""

import hashlib
import os
import sys
import time
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from rimread.archive.items import Item, from_manifest
from rimread.archive.pool import Cores
from rimread.archive.results import write_results
from rimread.archive.run import Archive, Tally, remeasure
from rimread.archive.work import Settings
from rimread.ledger import open_ledger


def record(
    item: Item, status: str = "measured", code: str = "", message: str = ""
) -> dict[str, Any]:
    """A record with the fewest keys that count."""
    sha256 = hashlib.sha256(item.photo.encode()).hexdigest()
    return {
        "photo": item.photo,
        "sha256": None if code == "unreadable" else sha256,
        "status": status,
        "mean_mm": 3.0 + int(sha256[:4], 16) / 1e6 if status == "measured" else None,
        "reasons": [{"code": code, "message": message}] if code else [],
        "checks": [],
        "own": dict(item.own),
    }


def at_once(item: Item, _settings: Settings) -> dict[str, Any]:
    """Every tenth photo is refused, the rest are measured, in no time."""
    if item.photo.endswith("7.jpg"):
        return record(item, "refused", "no-indent", "There is none.")
    return record(item)


def slowly(item: Item, settings: Settings) -> dict[str, Any]:
    """The same, in as many milliseconds as the settings name as their test: keep it the same."""
    time.sleep(float(settings.test) / 1000.0)
    return at_once(item, settings)


def deadly(item: Item, settings: Settings) -> dict[str, Any]:
    """A photo called deadly ends the process."""
    if "deadly" in item.photo:
        os._exit(3)
    return at_once(item, settings)


class Here:
    """A pool that does the work when it is given, in this process."""

    at_once = 2

    def __init__(self) -> None:
        self.done: list[str] = []

    def submit(self, work: Callable[..., dict[str, Any]], *words: Any) -> Future[dict[str, Any]]:
        """Do it now."""
        self.done.append(words[0].photo)
        future: Future[dict[str, Any]] = Future()
        try:
            future.set_result(work(*words))
        except (ArithmeticError, LookupError) as error:
            future.set_exception(error)
        return future

    def restart(self) -> None:
        """Nothing to be done."""

    def close(self) -> None:
        """Nothing to be done."""


def manifest(path: Path, count: int) -> Path:
    """A manifest of so many photos that do not exist."""
    with path.open("w", encoding="utf-8") as file:
        file.write("photo,job\n")
        file.writelines(f"{k}.jpg,job {k}\n" for k in range(count))
    return path


def main() -> None:
    """Measure again in pretence, and say each time what has been counted."""
    source, ledger, results, milliseconds = sys.argv[1:]
    told = Path(results).with_suffix(".told")

    def tell(tally: Tally) -> None:
        with told.open("a", encoding="ascii") as file:
            print(tally.before + tally.now, file=file)

    pool = Cores(2)
    with (
        open_ledger(ledger) as book,
        Archive(
            lambda: from_manifest(Path(source)), Settings(test=milliseconds), run="r"
        ) as archive,
    ):
        remeasure(archive, book, pool, work=slowly, progress=tell)
        pool.close()
        write_results(archive, book, Path(results), own=("job",))


if __name__ == "__main__":
    from tests.archive.pretend import main as imported  # workers find `slowly` under this name

    imported()
