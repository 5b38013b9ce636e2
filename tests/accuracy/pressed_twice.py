"""Indents pressed twice a little apart: how many get a number, and how wrong it is.

    python tests/accuracy/pressed_twice.py [--count N] [--seed S] [--workers W]

The first N photos of `simulated.py` of the tiers clean and shop, the ball pressed once more some
way beside its first place. The second bowl is whole, of the first a crescent is left, and the true
diameter is that of the second.
"""

import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import cv2
import numpy as np
from asked import options
from errors import FOOT, HEAD, Outcome, figures, line, reasons
from simulated import outcome, scene_of

from rimread.simulate import Simulated, simulate

APART = ((0.005, 0.02), (0.02, 0.06), (0.06, 0.15), (0.15, 0.4))
"""Shares of the diameter."""


def pressed(seed: int, index: int, apart: tuple[float, float]) -> Simulated:
    """A photo, the second indent the first of its truths."""
    scene = scene_of(seed, f"{('clean', 'shop')[index % 2]}-{index}")
    rng = np.random.default_rng([seed, index, 2])
    turn, away_mm = rng.uniform(0, 2 * math.pi), scene.indents[0].d1_mm * rng.uniform(*apart)
    last = scene.indents[0]
    first = replace(
        last,
        x_mm=last.x_mm + away_mm * math.cos(turn),
        y_mm=last.y_mm + away_mm * math.sin(turn),
    )
    shot = simulate(replace(scene, indents=(first, last)), rng=rng)
    return replace(shot, truth=shot.truth[::-1])


def measured(task: tuple[int, int, tuple[float, float]]) -> Outcome:
    """What comes of it."""
    cv2.setNumThreads(1)
    seed, index, apart = task
    group = f"{100 * apart[0]:g} to {100 * apart[1]:g} % of d"
    return outcome(pressed(seed, index, apart), name=str(index), group=group, facts={})


def main() -> None:
    """Print one row for each range of distances."""
    asked = options(__doc__, count=60).parse_args()
    print(HEAD)
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn")) as pool:
        for apart in APART:
            tasks = [(asked.seed, index, apart) for index in range(asked.count)]
            found = list(pool.map(measured, tasks))
            print(line(found[0].group, figures(found)))
            print("  refused:", reasons(found))
    print(f"\n{FOOT}")


if __name__ == "__main__":
    main()
