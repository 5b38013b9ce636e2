"""What measuring an archive again costs: cores used, the ledger's share, the parent's memory.

python -m tests.benchmarks.remeasuring speed [PHOTOS] [WORKERS]
python -m tests.benchmarks.remeasuring waiting [MILLISECONDS]
python -m tests.benchmarks.remeasuring memory [ROWS ...]

``speed`` measures copies of the sample images with one process and with several, the processes
started beforehand. On a computer that does other work the gain says nothing; then the processor
time of a photo, which must not grow with the processes, and that of the parent tell as much.
``waiting`` lets workers sleep instead of measuring: what is lost then, the machinery loses.
``memory`` measures nothing, so that the rows pass as fast as they can, and tells the largest
resident size of the parent, each count in a process of its own.
"""

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from tests.archive import pretend

from rimread.archive.items import Item, from_folder, from_manifest
from rimread.archive.pool import Cores, cores
from rimread.archive.results import write_results
from rimread.archive.run import Archive, remeasure
from rimread.archive.work import Settings, measure_item
from rimread.ledger import open_ledger

ROOT = Path(__file__).parents[2]
PLATES = ("hall-plate-1.jpg", "hall-plate-2.jpg", "bench-axle-1.jpg", "bench-hook-1.jpg")


class Timed:
    """A ledger that keeps count of the time spent in it."""

    def __init__(self, ledger: Any) -> None:
        self._ledger = ledger
        self.seconds = 0.0

    def __getattr__(self, name: str) -> Any:
        method = getattr(self._ledger, name)

        def timed(*words: Any, **more: Any) -> Any:
            start = time.perf_counter()
            try:
                return method(*words, **more)
            finally:
                self.seconds += time.perf_counter() - start

        return timed


def copies(folder: Path, count: int) -> Path:
    """A folder of so many photos."""
    folder.mkdir()
    for k in range(count):
        shutil.copy(ROOT / "sample_images" / PLATES[k % len(PLATES)], folder / f"{k:05}.jpg")
    return folder


def counted(item: Item, settings: Settings) -> dict[str, Any]:
    """Measure, and tell the processor time it took, which other programs do not stretch much."""
    start = time.process_time()
    record = measure_item(item, settings)
    return record | {"processor_s": time.process_time() - start}


def measured(folder: Path, pool: Cores, book: Timed, run: str) -> float:
    """Seconds for all photos of a folder."""
    settings = Settings(test="10/3000", shelf=str(ROOT / "calibration"))
    with Archive(lambda: from_folder(folder), settings, run=run) as archive:
        start = time.perf_counter()
        tally = remeasure(archive, book, pool, work=counted)  # type: ignore[arg-type]
        seconds = time.perf_counter() - start
    assert tally.measured == sum(1 for _ in folder.iterdir())
    return seconds


def speed(count: int = 64, workers: int = 0) -> None:
    """Print photos a second by number of processes, and the ledger's share."""
    first = 0.0
    print(
        f"{'processes':>9} {'photos':>6} {'seconds':>8} {'photos/s':>8} {'gain':>5} {'ledger':>7}"
    )
    with tempfile.TemporaryDirectory() as temporary:
        photos = copies(Path(temporary, "photos"), count)
        warm = copies(Path(temporary, "warm"), 8)
        for processes in (1, workers or cores()):
            with open_ledger(Path(temporary, f"{processes}.db")) as ledger:
                book = Timed(ledger)
                pool = Cores(processes)
                measured(warm, pool, book, "warm")
                book.seconds = 0.0
                parent = time.process_time()
                seconds = measured(photos, pool, book, "all")
                parent = time.process_time() - parent
                pool.close()
                each = [e.record["processor_s"] for e in ledger.entries(newest=count)]
            first = first or seconds
            print(
                f"{processes:9} {count:6} {seconds:8.2f} {count / seconds:8.2f} "
                f"{first / seconds:5.2f} {book.seconds / seconds:7.2%}  "
                f"{sum(each) / count:18.3f} {parent / count:7.4f}"
            )


def waiting(milliseconds: int = 75, count: int = 200) -> None:
    """Print which share of the workers' time is work, when the work is to sleep."""
    print("processes  seconds   gain  at work")
    first = 0.0
    for processes in (1, 2, 4):
        with tempfile.TemporaryDirectory() as temporary:
            pool = Cores(processes)
            settings = Settings(test=str(milliseconds))
            for run, rows_ in (("warm", 2 * processes), ("all", count)):
                path = pretend.manifest(Path(temporary, f"{run}.csv"), rows_)
                with (
                    open_ledger(Path(temporary, "book.db")) as book,
                    Archive(partial(from_manifest, path), settings, run=run) as archive,
                ):
                    start = time.perf_counter()
                    remeasure(archive, book, pool, work=pretend.slowly)
                    seconds = time.perf_counter() - start
            pool.close()
        first = first or seconds
        ideal = count * milliseconds / 1000.0 / processes
        print(f"{processes:9} {seconds:8.2f} {first / seconds:6.2f} {ideal / seconds:8.1%}")


def memory(*counts: int) -> None:
    """Print the parent's largest resident size by number of rows."""
    print(f"{'rows':>8} {'MB':>7} {'rows/s':>7}")
    for count in counts or (1000, 100_000):
        words = [sys.executable, "-m", "tests.benchmarks.remeasuring", "rows", str(count)]
        done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True)
        print(done.stdout, end="", flush=True)


def rows(count: int) -> None:
    """One line of `memory`."""
    import resource  # noqa: PLC0415  (not on Windows)

    with tempfile.TemporaryDirectory() as temporary:
        path = pretend.manifest(Path(temporary, "list.csv"), count)
        start = time.perf_counter()
        pool = Cores(cores())
        with (
            open_ledger(Path(temporary, "book.db")) as book,
            Archive(lambda: from_manifest(path), Settings(test="1"), run="r") as archive,
        ):
            tally = remeasure(archive, book, pool, work=pretend.at_once)
            pool.close()
            written = write_results(archive, book, Path(temporary, "out.csv"), own=("job",))
        assert tally.now == written.rows == count
        seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    megabytes = peak / (1e6 if sys.platform == "darwin" else 1e3)
    print(f"{count:8} {megabytes:7.1f} {count / seconds:7.0f}")


def main(words: Sequence[str]) -> None:
    """Run one of them."""
    kind, *numbers = words or ["speed"]
    {"speed": speed, "waiting": waiting, "memory": memory, "rows": rows}[kind](*map(int, numbers))


if __name__ == "__main__":
    main(sys.argv[1:])
