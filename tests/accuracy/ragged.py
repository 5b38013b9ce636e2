"""Rims that are no ellipses, as coarse grains make them: how well they are read, and what U is.

    python tests/accuracy/ragged.py [--count N] [--seed S] [--workers W]

The first N photos of `simulated.py`, their boundaries off the ellipse by so much of the radius
(root mean square) in harmonics 3 to 20, of which the lower ones are the larger. The true diameter
is that of the ellipse. U should cover it, and not be many times what people would disagree by.
"""

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import cv2
import numpy as np
from asked import options
from errors import FOOT, HEAD, Outcome, figures, line, reasons
from simulated import names, outcome, scene_of

from rimread.simulate import Simulated, simulate

RAGGED = (0.0, 0.0015, 0.003, 0.005, 0.008)
HARMONICS = np.arange(3, 21)


def photographed(seed: int, name: str, ragged: float) -> Simulated:
    """A photo of `simulated.py`, its boundary ragged."""
    scene, index = scene_of(seed, name), int(name.rsplit("-", 1)[1])
    rng = np.random.default_rng([seed, index, 3])
    waves = rng.standard_normal((len(HARMONICS), 2)) / np.sqrt(HARMONICS)[:, None]
    waves *= ragged / np.sqrt((waves**2).sum() / 2)
    indent = replace(scene.indents[0], waves=tuple((float(a), float(b)) for a, b in waves))
    scene = replace(scene, indents=(indent, *scene.indents[1:]))
    return simulate(scene, rng=np.random.default_rng([seed, index, 1]))


def measured(task: tuple[int, str, float]) -> Outcome:
    """What comes of it."""
    cv2.setNumThreads(1)
    seed, name, ragged = task
    group = f"{100 * ragged:g} % of the radius"
    return outcome(photographed(seed, name, ragged), name=name, group=group, facts={})


def main() -> None:
    """Print one row for each raggedness."""
    asked = options(__doc__, count=60).parse_args()
    readable = [name for name in names(asked.count) if not name.startswith("refuse")]
    print(HEAD)
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn")) as pool:
        for ragged in RAGGED:
            found = list(pool.map(measured, [(asked.seed, name, ragged) for name in readable]))
            print(line(found[0].group, figures(found)))
            print("  refused:", reasons(found))
    print(f"\n{FOOT}")


if __name__ == "__main__":
    main()
