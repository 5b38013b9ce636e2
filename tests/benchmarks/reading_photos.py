"""Time to read a photo, against ``cv2.imread`` of the same file in colour, on one thread.

python tests/benchmarks/reading_photos.py [PHOTO...]
"""

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2

from rimread.photo import read_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"
ROUNDS = 15


def milliseconds(work: Callable[[], object]) -> float:
    """Shortest of several, so that a busy machine does not decide."""
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1000 * min(times)


def main() -> None:
    """Print one row a photo and the median ratio."""
    cv2.setNumThreads(1)
    ratios = []
    print(f"{'photo':24} {'imread ms':>9} {'read_photo ms':>13} {'ratio':>6}")
    for path in map(Path, sys.argv[1:] or sorted(SAMPLES.glob("*.jpg"))):
        theirs = milliseconds(lambda path=path: cv2.imread(str(path)))
        ours = milliseconds(lambda path=path: read_photo(path))
        ratios.append(ours / theirs)
        print(f"{path.name:24} {theirs:9.2f} {ours:13.2f} {ours / theirs:6.2f}")
    print(f"median ratio {statistics.median(ratios):.2f}")


if __name__ == "__main__":
    main()
