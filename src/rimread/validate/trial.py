"""Photos simulated and measured, one after the other or on several cores."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import as_completed
from dataclasses import asdict, dataclass, replace
from typing import Any

import cv2
import numpy as np

from rimread.archive.pool import Cores
from rimread.reading import measure_photo
from rimread.refusal import Refusal
from rimread.simulate import Simulated, simulate
from rimread.validate.working import Working, scene_drawn

__all__ = ["MEASURED", "Trial", "run", "shot_of", "tried"]

MEASURED = "measured"

_LARGE_PX = 4_000_000
"""Larger pictures are sampled once a pixel: finer would take the better part of a minute each."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One simulated photo and what came of it.

    Parameters
    ----------
    index : int
        Number of the photo, from 0.
    light, finish : str
        What was simulated.
    true_mm : float
        True mean diameter.
    code : str
        ``"measured"``, or the code of the refusal.
    mean_mm, U_mm : float or None
        What was measured; None for a refusal.
    """

    index: int
    light: str
    finish: str
    true_mm: float
    code: str
    mean_mm: float | None = None
    U_mm: float | None = None

    @property
    def measured(self) -> bool:
        """Whether there is a number."""
        return self.code == MEASURED

    @property
    def error_rel(self) -> float:
        """Measured less true, over true."""
        assert self.mean_mm is not None  # noqa: S101  (of measured ones only)
        return self.mean_mm / self.true_mm - 1.0

    @property
    def U_rel(self) -> float:  # noqa: N802
        """Expanded uncertainty over the true diameter."""
        assert self.U_mm is not None  # noqa: S101  (of measured ones only)
        return self.U_mm / self.true_mm

    @property
    def covered(self) -> bool:
        """Whether the true value lies within U."""
        return abs(self.error_rel) <= self.U_rel


def run(
    working: Working,
    *,
    count: int,
    seed: int,
    jobs: int = 1,
    told: Callable[[Trial], None] = lambda _: None,
) -> tuple[Trial, ...]:
    """Simulate and measure photos; the same seed gives the same trials whatever `jobs` is.

    Parameters
    ----------
    working : Working
        What is simulated.
    count : int
        How many photos; their diameters are spread evenly over the range.
    seed : int
        Of all random numbers.
    jobs : int
        Processes.
    told : callable
        Called with each trial when it is done, in any order.

    Raises
    ------
    ValueError
        If the count, the seed or the number of processes makes no sense.
    """
    for what, value, least in (("count", count, 1), ("seed", seed, 0), ("jobs", jobs, 1)):
        if value < least:
            raise ValueError(f"{what} must be at least {least} (got {value})")
    found = []
    for trial in _done(working, count, seed, min(jobs, count)):
        told(trial)
        found.append(trial)
    return tuple(sorted(found, key=lambda trial: trial.index))


def tried(working: Working, index: int, count: int, seed: int) -> Trial:
    """Photo `index` of `count`: simulated, measured with the scale as the file has it."""
    shot = shot_of(working, index, count, seed)
    stated = working.like is None or working.like.tone_stated
    photo = replace(shot.photo(f"simulated {index}"), tone_stated=stated)
    scale, scene = working.scale, shot.scene
    result = measure_photo(photo, scale, working.test, on=scale.calibrated_on)
    said = Trial(index, scene.light.kind, scene.surface.finish, shot.truth[0].mean_mm, MEASURED)
    if isinstance(result, Refusal):
        return replace(said, code=result.code)
    measured = result.diameters
    return replace(said, mean_mm=measured.mean_mm, U_mm=measured.budget.U)


def shot_of(working: Working, index: int, count: int, seed: int) -> Simulated:
    """Photo `index` of `count` with its scene and truth."""
    rng, of_picture = (np.random.default_rng([seed, index, stream]) for stream in (0, 1))
    width = working.high_mm - working.low_mm
    mean_mm = working.low_mm + width * (index + rng.uniform()) / count
    scene = scene_drawn(working, mean_mm, rng)
    large = scene.camera.width_px * scene.camera.height_px > _LARGE_PX
    return simulate(scene, rng=of_picture, oversample=1 if large else 2)


def _done(working: Working, count: int, seed: int, jobs: int) -> Iterator[Trial]:
    if jobs == 1:
        for index in range(count):
            yield tried(working, index, count, seed)
        return
    pool = Cores(jobs)
    try:
        waiting = [pool.submit(_work, working, index, count, seed) for index in range(count)]
        for future in as_completed(waiting):
            yield Trial(**future.result())
    finally:
        pool.close()


def _work(working: Working, index: int, count: int, seed: int) -> dict[str, Any]:
    cv2.setNumThreads(1)  # one process a core does more than threads that wait for each other
    return asdict(tried(working, index, count, seed))
