"""Errors under conditions wider than those of the tiers of `simulated.py`.

    python tests/accuracy/beyond.py [--count N] [--seed S] [--workers W]

Light at any elevation, bowls rougher than the metal around them (a polished piece whose grains show
in the bowl), edges rounded by up to 0.5 % of the diameter, small indents, hardly any grain or
noise. Nothing is tuned to these: they say what U is worth where the program was not expected to be
used.
"""

from __future__ import annotations

import math
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from multiprocessing import get_context
from typing import get_args

import cv2
import numpy as np
from asked import options
from errors import FOOT, HEAD, Outcome, figures, line
from simulated import outcome

from rimread.simulate import Camera, Indent, Light, Scene, Surface, simulate
from rimread.simulate.scene import Finish, LightKind

BALLS_MM = (10.0, 5.0, 2.5)
BINS: dict[str, tuple[float, ...]] = {
    "roughness of the bowl over that outside": (0, 0.6, 1, 1.3, 1.7, 2.5, math.inf),
    "rounding in % of d": (0, 0.05, 0.1, 0.2, 0.3, 0.5),
    "elevation in degrees": (0, 25, 35, 45, 55, 65, 80, 91),
    "d in px": (0, 150, 200, 300, 500),
}


def scene_of(seed: int, index: int) -> Scene:
    """One scene; each condition is drawn by itself."""
    rng = np.random.default_rng([seed, index])
    d_px, ball_mm = _log(rng, 110, 460), float(rng.choice(BALLS_MM))
    d1_mm = ball_mm * rng.uniform(0.24, 0.6)  # the range ISO 6506-1 allows for d/D
    px_per_mm = d_px / d1_mm
    sides = np.maximum(d_px * rng.uniform(1.6, 3.0) * np.array([1.0, rng.uniform(0.75, 1)]), 220)
    width_px, height_px = (int(side) for side in np.maximum(sides, 1.35 * d_px))
    x_mm, y_mm = rng.uniform(-1, 1, 2) * (
        np.array([width_px, height_px]) / 2 - 0.6 * d_px
    ) / px_per_mm  # fmt: skip
    return Scene(
        indents=(_indent(rng, d1_mm, ball_mm, (float(x_mm), float(y_mm)), px_per_mm),),
        surface=Surface(
            finish=str(rng.choice(get_args(Finish))),  # type: ignore[arg-type]
            finish_um=_log(rng, 0.003, 0.6),
            coarse=rng.uniform(0.6, 1.6),
            lay_deg=rng.uniform(0, 180),
            alpha_outside=_log(rng, 0.07, 0.5),
            alpha_inside=_log(rng, 0.07, 0.4),
            bowl_grain=rng.uniform(0, 0.15),
            scratches=int(rng.integers(4)),
            stains=int(rng.integers(3)),
            glints=int(rng.integers(20)),
        ),
        light=Light(
            kind=str(rng.choice(get_args(LightKind))),  # type: ignore[arg-type]
            elevation_deg=rng.uniform(15, 78),
            azimuth_deg=rng.uniform(0, 360),
            spread_deg=rng.uniform(3, 12),
            arc_deg=rng.uniform(15, 70),
            ambient=rng.uniform(0.02, 0.5),
            gradient=rng.uniform(0, 0.2),
        ),
        camera=Camera(
            width_px=width_px,
            height_px=height_px,
            px_per_mm=px_per_mm,
            blur_px=rng.uniform(0.5, 2.2),
            vignetting=rng.uniform(0, 0.25),
            veil=rng.uniform(0, 0.3),
            exposure=rng.uniform(0.12, 0.5),
            full_well_e=_log(rng, 5000, 40_000),
            read_noise_e=rng.uniform(3, 15),
            jpeg_quality=int(rng.integers(80, 98)),
        ),
    )


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _indent(
    rng: np.random.Generator,
    d1_mm: float,
    ball_mm: float,
    place_mm: tuple[float, float],
    px_per_mm: float,
) -> Indent:
    rounding_mm = min(_log(rng, 0.05, 3.0) / px_per_mm, 0.005 * d1_mm * rng.uniform(0.2, 1))
    return Indent(
        d1_mm=d1_mm,
        d2_mm=d1_mm * (1 - rng.uniform(0, 0.012)),
        ball_mm=ball_mm,
        x_mm=place_mm[0],
        y_mm=place_mm[1],
        angle_deg=rng.uniform(0, 180),
        recovery=rng.uniform(1.02, 1.3),
        pile=rng.uniform(-0.15, 0.3),
        pile_width=rng.uniform(0.1, 0.45),
        crest=rng.uniform(0, 1),
        lobes=rng.uniform(0, 0.4),
        lobe_count=int(rng.integers(2, 5)),
        lobe_deg=rng.uniform(0, 360),
        edge_round_mm=rounding_mm,
        texture=rng.uniform(0.1, 0.9),
        stretch=rng.uniform(0, 0.1),
    )


def measured(task: tuple[int, int]) -> Outcome:
    """One photo simulated and measured."""
    cv2.setNumThreads(1)
    seed, index = task
    scene = scene_of(seed, index)
    indent, surface = scene.indents[0], scene.surface
    facts: dict[str, float | str] = {
        "roughness of the bowl over that outside": surface.alpha_inside / surface.alpha_outside,
        "rounding in % of d": 100 * indent.edge_round_mm / indent.d1_mm,
        "elevation in degrees": 90.0
        if scene.light.kind == "coaxial"
        else scene.light.elevation_deg,
        "d in px": indent.d1_mm * scene.camera.px_per_mm,
    }
    shot = simulate(scene, rng=np.random.default_rng([seed, index, 1]))
    return outcome(shot, name=str(index), group="beyond", facts=facts)


def main() -> None:
    """Print the table."""
    asked = options(__doc__, count=1000).parse_args()
    tasks = [(asked.seed, index) for index in range(asked.count)]
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn")) as pool:
        found = list(pool.map(measured, tasks, chunksize=8))
    print(HEAD)
    print(line("all", figures(found)))
    for name, edges in BINS.items():
        print(f"\n{name}")
        for low, high in pairwise(edges):
            some = [one for one in found if low <= float(one.facts[name]) < high]
            print(line(f"  {low:g} to {high:g}", figures(some)))
    print(f"\n{FOOT}")
    print(f"\ngross: {', '.join(one.name for one in found if one.gross) or 'none'}")


if __name__ == "__main__":
    main()
