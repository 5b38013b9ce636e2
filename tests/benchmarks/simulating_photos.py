"""Time to simulate a photo of 1280 × 1024 pixels, on one thread.

python tests/benchmarks/simulating_photos.py [PHOTOS A TIER]
"""

import statistics
import sys
import time
from typing import get_args

import cv2
import numpy as np

from rimread.simulate import Tier, random_scene, simulate


def main() -> None:
    """Print one row a tier."""
    cv2.setNumThreads(1)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    print(f"{'tier':6} {'photos':>6} {'oversample':>10} {'median s':>8} {'longest s':>9}")
    for tier in get_args(Tier):
        for oversample in (1, 2):
            times = []
            for k in range(count):
                rng = np.random.default_rng(k)
                scene = random_scene(rng, tier=tier)
                start = time.process_time()  # what other work on the machine does not lengthen
                simulate(scene, rng=rng, oversample=oversample)
                times.append(time.process_time() - start)
            print(
                f"{tier:6} {count:6} {oversample:10} {statistics.median(times):8.2f} "
                f"{max(times):9.2f}"
            )


if __name__ == "__main__":
    main()
