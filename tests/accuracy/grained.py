"""Metal whose grains or stains outdo the rim: what is found, how well it is read, and what U is.

    python tests/accuracy/grained.py [--count N] [--seed S] [--workers W]

The light of the first N photos of `simulated.py` times the shades of the metal: grains with
straight borders, as etching or coarse metal shows them, of a spread (of the logarithm of their
light, which the ball may have lessened in the bowl) and a size in radii of the indent; brush marks;
or blotches without borders, as of rust. The last column says how many of as many photos of the same
metal without an indent got a number: none should.
"""

import math
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import cv2
import numpy as np
from asked import options
from errors import FOOT, HEAD, Outcome, figures, line, reasons
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from simulated import names, outcome, scene_of

from rimread.refusal import Refusal
from rimread.rim import find_rim
from rimread.simulate import Simulated, Truth, simulate, truth_of

Shade = NDArray[np.floating]


def grains(shape: tuple[int, int], size_px: float, rng: np.random.Generator) -> Shade:
    """Cells about random points, each of a shade of its own, of unit spread."""
    height, width = shape
    points = rng.uniform(0, (width, height), (math.ceil(width * height / size_px**2) + 9, 2))
    y, x = np.indices(shape)
    nearest = cKDTree(points).query(np.stack([x.ravel(), y.ravel()], axis=1))[1]
    return rng.standard_normal(len(points))[nearest].reshape(shape)


def brushed(shape: tuple[int, int], size_px: float, rng: np.random.Generator) -> Shade:
    """Lines across the picture in one direction, of unit spread."""
    turn = rng.uniform(0, math.pi)
    y, x = np.indices(shape)
    lines = rng.standard_normal(math.ceil(2 * math.hypot(*shape) / size_px))
    at = (x * math.cos(turn) + y * math.sin(turn) + math.hypot(*shape)) / size_px
    return np.interp(at, np.arange(len(lines)), lines)


def blotched(shape: tuple[int, int], size_px: float, rng: np.random.Generator) -> Shade:
    """Clouds of this size, thrice and eight times of it, together of unit spread."""
    total = np.zeros(shape, np.float32)
    for sigma in (size_px, 3 * size_px, 8 * size_px):
        small = rng.standard_normal((shape[0] // 4, shape[1] // 4)).astype(np.float32)
        cloud = cv2.GaussianBlur(small, (0, 0), max(sigma / 4, 0.5))
        total += cv2.resize(cloud / cloud.std(), shape[::-1])
    return total / math.sqrt(3)


Texture = Callable[[tuple[int, int], float, np.random.Generator], Shade]
METALS: dict[str, tuple[Texture, float, float, float]] = {
    "grains 0.3": (grains, 0.2, 0.3, 0.5),
    "fine grains 0.3": (grains, 0.06, 0.3, 0.5),
    "grains 0.6": (grains, 0.12, 0.6, 0.5),
    "grains 0.4, bowl too": (grains, 0.15, 0.4, 1.0),
    "brushed 0.3": (brushed, 0.03, 0.3, 0.35),
    "blotches 0.5, bowl too": (blotched, 0.05, 0.5, 1.0),
}
"""Texture, size in radii, spread outside, and share of it in the bowl."""


def shaded(shot: Simulated, about: Truth, metal: str, seed: list[int]) -> Simulated:
    """A photo on another metal, whose texture is that about the rim of an indent."""
    texture, size, spread, within = METALS[metal]
    camera, radius = shot.scene.camera, (about.axis1_px + about.axis2_px) / 4
    y, x = np.indices(shot.picture.shape)
    bowl = np.hypot(x - about.centre_x_px, y - about.centre_y_px) < radius
    flat = texture(shot.picture.shape, size * radius, np.random.default_rng(seed))
    shade = np.exp(spread * flat * np.where(bowl & bool(shot.truth), within, 1.0))
    soft = cv2.GaussianBlur(shade, (0, 0), max(camera.blur_px, 0.5))
    code = 2.2 if camera.tone == "srgb" else 1.0  # about sRGB
    full = float(np.iinfo(shot.picture.dtype).max)
    light = (shot.picture / full) ** code * soft
    grey = np.clip(full * light ** (1 / code) + 0.5, 0, full)
    return replace(shot, picture=grey.astype(shot.picture.dtype))


def photographed(seed: int, name: str, metal: str, *, bare: bool = False) -> Simulated:
    """A photo of `simulated.py` on another metal, or that metal without the indent."""
    scene, index = scene_of(seed, name), int(name.rsplit("-", 1)[1])
    about = truth_of(scene, scene.indents[0])
    scene = replace(scene, indents=()) if bare else scene
    shot = simulate(scene, rng=np.random.default_rng([seed, index, 1]))
    return shaded(shot, about, metal, [seed, index, *metal.encode()])


def measured(task: tuple[int, str, str]) -> tuple[Outcome, bool]:
    """What comes of it, and whether the bare metal gets a number."""
    cv2.setNumThreads(1)
    seed, name, metal = task
    found = outcome(photographed(seed, name, metal), name=name, group=metal, facts={})
    bare = photographed(seed, name, metal, bare=True)
    return found, not isinstance(find_rim(bare.photo()), Refusal)


def main() -> None:
    """Print one row a metal."""
    asked = options(__doc__, count=60).parse_args()
    readable = [name for name in names(asked.count) if not name.startswith("refuse")]
    print(f"{HEAD}   bare")
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn")) as pool:
        for metal in METALS:
            tasks = [(asked.seed, name, metal) for name in readable]
            found, bare = zip(*pool.map(measured, tasks), strict=True)
            print(f"{line(metal, figures(found))}{sum(bare):7}", flush=True)
            print("  refused:", reasons(found))
    print(f"\n{FOOT}")


if __name__ == "__main__":
    main()
