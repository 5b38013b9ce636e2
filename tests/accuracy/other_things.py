"""Round things that are no indents: how many get a number, and how many of those a warning.

    python tests/accuracy/other_things.py [--count N] [--seed S] [--workers W]

Each thing is drawn, N times in other sizes and shades, over a simulated photo of bare ground metal:
the light of the picture times what the thing returns, with edges as soft as the scene's blur. No
number is right here; what the refusals and the check bowl-shading let through a person must see.
"""

import math
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import cv2
import numpy as np
from asked import options
from numpy.typing import NDArray

from rimread.hardness import parse_test
from rimread.reading import measure_photo
from rimread.refusal import Refusal
from rimread.simulate import Simulated, simulate, spoiled_scene

Shade = NDArray[np.floating]
WIDTH, HEIGHT = 960, 768
TEST = parse_test("10/3000")
SOFT = 0.004
"""Half width of an edge in radii, about a pixel."""


def inside(edge: Shade | float, share: Shade) -> Shade:
    """1 within an edge, 0 outside, softly."""
    return 0.5 * (1 + np.tanh((edge - share) / SOFT))


def hole(share: Shade, _turn: Shade, rng: np.random.Generator) -> Shade:
    """A drilled hole: dark, with a bright or a dull chamfer."""
    chamfer = inside(1 + rng.uniform(0, 0.1), share) - inside(1.0, share)
    return 1 - rng.uniform(0.85, 0.97) * inside(1.0, share) + rng.uniform(-0.5, 1) * chamfer


def sticker(share: Shade, _turn: Shade, rng: np.random.Generator) -> Shade:
    """A round label, or a dot of paint: another shade all over."""
    return 1 + rng.choice([rng.uniform(-0.7, -0.2), rng.uniform(0.2, 1)]) * inside(1.0, share)


def spot_face(share: Shade, _turn: Shade, rng: np.random.Generator) -> Shade:
    """A face milled flat, with the cutter's rings, and a shadow at its step."""
    rings = 1 + rng.uniform(0, 0.1) * np.sin(share * 2 * math.pi / rng.uniform(0.02, 0.06))
    step = np.exp(-(((share - 1) / rng.uniform(0.01, 0.04)) ** 2))
    return np.where(share < 1, rings, 1) * (1 - rng.uniform(0.4, 0.8) * step)


def bolt_head(share: Shade, turn: Shade, rng: np.random.Generator) -> Shade:
    """A bearing circle on a hexagon, dark beside it."""
    flat = share * np.cos(np.mod(turn, math.pi / 3) - math.pi / 6)
    return rng.uniform(0.1, 0.3) + rng.uniform(0.3, 0.5) * inside(1.15, flat) * (
        1 + inside(1.0, share)
    )


def drop(share: Shade, _turn: Shade, rng: np.random.Generator) -> Shade:
    """Oil or water: a little darker within, with a bright or dark seam."""
    seam = np.exp(-(((share - 1) / rng.uniform(0.01, 0.04)) ** 2))
    return 1 - rng.uniform(0, 0.3) * inside(1.0, share) + rng.uniform(-0.5, 0.8) * seam


def dried_ring(share: Shade, turn: Shade, rng: np.random.Generator) -> Shade:
    """What coolant leaves where it dries: a dark, uneven ring."""
    edge = 1 + sum(rng.normal(0, 0.006) * np.cos(n * turn + n) for n in range(2, 7))
    within = np.exp(-np.maximum(edge - share, 0) / rng.uniform(0.01, 0.06))
    return 1 - rng.uniform(0.2, 0.7) * within * inside(edge, share)


def washer(share: Shade, _turn: Shade, rng: np.random.Generator) -> Shade:
    """A ring of sheet metal, with its shadow."""
    bore, bright = rng.uniform(0.4, 0.6), rng.uniform(0.7, 1.3)
    shadow = 1 - rng.uniform(0.4, 0.8) * np.exp(-np.maximum(share - 1, 0) / 0.03)
    return np.where(share > 1, shadow, 1) * (
        1 + (bright - 1) * (inside(1.0, share) - inside(bore, share))
    )


def dust(share: Shade, _turn: Shade, rng: np.random.Generator) -> Shade:
    """Dust on the glass before the sensor: a disc out of focus, a little darker."""
    return 1 - rng.uniform(0.05, 0.3) * 0.5 * (1 - np.tanh((share - 1) / rng.uniform(0.01, 0.05)))


Thing = Callable[[Shade, Shade, np.random.Generator], Shade]
THINGS: dict[str, Thing] = {
    "drilled hole": hole,
    "sticker or paint": sticker,
    "spot face": spot_face,
    "bolt head": bolt_head,
    "drop": drop,
    "dried ring": dried_ring,
    "washer": washer,
    "dust on the sensor": dust,
}


def drawn(name: str, seed: int, index: int) -> Simulated:
    """A photo of bare metal with a thing on it."""
    rng = np.random.default_rng([seed, index, *name.encode()])
    scene = spoiled_scene(rng, "blank", width_px=WIDTH, height_px=HEIGHT)
    radius = HEIGHT * rng.uniform(0.2, 0.42)
    camera = replace(
        scene.camera, bits=8, tone="srgb", px_per_mm=2 * radius / rng.uniform(2.6, 5.5)
    )
    shot = simulate(replace(scene, camera=camera), rng=rng)
    y, x = np.indices(shot.picture.shape, dtype=float)
    x, y = x - WIDTH / 2 - rng.uniform(-40, 40), y - HEIGHT / 2 - rng.uniform(-20, 20)
    shade = THINGS[name](np.hypot(x, y) / radius, np.arctan2(y, x), rng)
    light = (shot.picture / 255.0) ** 2.2 * np.maximum(shade, 0)  # about sRGB
    picture = np.clip(255 * light ** (1 / 2.2), 0, 255).astype(np.uint8)
    return replace(shot, picture=picture)


def told(task: tuple[str, int, int]) -> str:
    """What the program says: a refusal's code, a number, or one with a warning."""
    shot = drawn(*task)
    read = measure_photo(shot.photo(), shot.scale, TEST)
    if isinstance(read, Refusal):
        return read.code
    (check,) = (check for check in read.checks if check.code == "bowl-shading")
    return "a number" if check.outcome == "pass" else "a number, warned of"


def main() -> None:
    """Print one row a thing."""
    asked = options(__doc__, count=24).parse_args()
    cv2.setNumThreads(1)
    print(f"{'':20}{'drawn':>6}{'number':>8}{'warned':>8}  refused")
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn")) as pool:
        for name in THINGS:
            tasks = [(name, asked.seed, index) for index in range(asked.count)]
            said = Counter(pool.map(told, tasks))
            warned, blind = said.pop("a number, warned of", 0), said.pop("a number", 0)
            codes = ", ".join(f"{code} {count}" for code, count in said.most_common())
            print(f"{name:20}{asked.count:6}{warned + blind:8}{warned:8}  {codes}", flush=True)


if __name__ == "__main__":
    main()
