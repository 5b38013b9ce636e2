"""Errors of measured diameters over path-traced renderings, an oracle beside the simulator.

    python tests/accuracy/path_traced.py [--count N] [--wide M] [--seed S] [--keep FOLDER] [--each]

The simulator shades slopes; here scenes of the same tiers are a mesh of heights (`heights.py`)
whose light is followed from lamp to camera (`traced.py`, which needs Mitsuba 3 and LLVM), so that
the bowl lights and shadows itself, the ridge casts shadows and each lamp has its own glint. Blur,
noise and file are those of `rimread.simulate`. N scenes are of the simulator's tiers, M have wider
spans of roughness, edge, ridge and lamps. Some 20 s a rendering on two cores.
"""

from __future__ import annotations

import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from typing import get_args

import cv2
import numpy as np
from asked import options
from errors import FOOT, Outcome, each, reasons
from heights import Oddities, breaks
from numpy.typing import NDArray
from simulated import facts_of, outcome, tables
from traced import light_of

from rimread.simulate import Scene, Simulated, Tier, random_scene, truth_of
from rimread.simulate.camera import blurred, exposed, picture

WIDTH_PX, HEIGHT_PX = 800, 640
BRIGHTEST = 0.9  # of full scale, where someone minds the exposure
TIERS: tuple[Tier, ...] = get_args(Tier)


def names(count: int, wide: int) -> list[str]:
    """Names of the renderings of a run."""
    return [f"{TIERS[i % 3]}-{i}" for i in range(count)] + [f"wide-{i}" for i in range(wide)]


def scene_of(seed: int, name: str) -> tuple[Scene, Oddities]:
    """The scene of a rendering by its name, e.g. ``shop-17``; its edge is nowhere a hollow."""
    group, index = name.rsplit("-", 1)
    wide = group == "wide"
    rng = np.random.default_rng([seed, int(index), 9] if wide else [seed, int(index)])
    tier: Tier = "shop" if wide else group  # type: ignore[assignment]
    while True:
        scene = random_scene(rng, tier=tier, width_px=WIDTH_PX, height_px=HEIGHT_PX)
        size_px = rng.uniform(200, 460)
        if tier != "clean":
            light = replace(scene.light, elevation_deg=rng.uniform(10, 75))
            scene = replace(scene, light=light)
        scene = _placed(scene, size_px, rng)
        odd = Oddities(
            arc=bool(rng.random() < 0.5),
            uneven=(rng.uniform(0, 0.4), float(rng.integers(1, 5)), rng.uniform(0, 2 * math.pi)),
            wave=rng.normal(0, rng.uniform(0, 0.0004), (6, 2)),
            lamps_mm=rng.uniform(5, 15) * WIDTH_PX / scene.camera.px_per_mm,
        )
        if wide:
            scene = _widened(scene, rng)
        indent, turn = scene.indents[0], np.linspace(0, 2 * math.pi, 90)
        if breaks(scene, odd, turn).min() > 0.3 * indent.mean_mm / 2 / indent.bowl_radius_mm:
            return scene, odd


def _placed(scene: Scene, size_px: float, rng: np.random.Generator) -> Scene:
    """An indent of that size somewhere in the picture, without what is not rendered."""
    indent = scene.indents[0]
    room = np.array([WIDTH_PX, HEIGHT_PX]) / 2 - 0.6 * size_px
    x_mm, y_mm = (float(v) for v in rng.uniform(-room, room) / (size_px / indent.d1_mm))
    d2_mm = (1.0 - 0.02 * rng.random() ** 2) * indent.d1_mm
    return replace(
        scene,
        indents=(replace(indent, x_mm=x_mm, y_mm=y_mm, d2_mm=d2_mm),),
        surface=replace(scene.surface, stains=0, glints=0, cylinder_mm=0.0),
        camera=replace(
            scene.camera,
            px_per_mm=size_px / indent.d1_mm,
            aspect=1.0,
            k1_half_diagonal=0.0,
            motion_px=0.0,
        ),
    )


def _widened(scene: Scene, rng: np.random.Generator) -> Scene:
    """Shop conditions with roughness, edge, ridge, lamps and texture from wider spans."""
    indent = scene.indents[0]
    low, high = np.log([0.05, 0.4])
    alphas = np.exp(rng.uniform(low, high, 2))
    surface = replace(
        scene.surface,
        alpha_outside=float(alphas[0]),
        alpha_inside=float(alphas[1]),
        finish_um=scene.surface.finish_um * rng.uniform(1, 3),
    )
    edge_um = math.exp(rng.uniform(0, math.log(20)))
    indent = replace(
        indent,
        recovery=rng.uniform(1.0, 1.3),
        pile=rng.uniform(-0.15, 0.35),
        pile_width=rng.uniform(0.06, 0.5),
        lobes=rng.uniform(0, 0.6),
        edge_round_mm=min(1e-3 * edge_um, 0.006 * indent.d1_mm),
        texture=rng.uniform(0.1, 0.9),
    )
    light = replace(
        scene.light,
        lamps=int(rng.integers(3, 13)) if rng.random() < 0.6 else 0,
        spread_deg=rng.uniform(1.5, 12),
        ambient=rng.uniform(0.01, 0.4),
    )
    camera = replace(scene.camera, blur_px=rng.uniform(0.6, 2.5), jpeg_quality=None)
    return replace(scene, indents=(indent,), surface=surface, light=light, camera=camera)


def photographed(
    light: NDArray[np.float32], scene: Scene, *, held_back: bool, rng: np.random.Generator
) -> Simulated:
    """The file a camera makes of that light."""
    exposure = exposed(blurred(light, scene.camera, oversample=1), scene.camera)
    if held_back:
        exposure *= np.float32(min(1.0, BRIGHTEST / float(np.quantile(exposure, 0.99))))
    pixels = picture(exposure, scene.camera, rng=rng)
    return Simulated(pixels, (truth_of(scene, scene.indents[0]),), scene)


def rendered(seed: int, name: str, keep: Path | None) -> Simulated:
    """One rendering; with a folder its light is kept there and not worked out twice."""
    scene, odd = scene_of(seed, name)
    hard, index = name.startswith("hard"), int(name.rsplit("-", 1)[1])
    file = keep / f"{seed}-{name}.npy" if keep else None
    if file is not None and file.exists():
        light = np.load(file).astype(np.float32)
    else:
        light = light_of(scene, odd, rng=np.random.default_rng([seed, index, 1]))
        if file is not None:
            np.save(file, light)
    shot = photographed(
        light, scene, held_back=not hard, rng=np.random.default_rng([seed, index, 2])
    )
    if file is not None:
        cv2.imwrite(str(file.with_suffix(".png")), shot.picture)
    return shot


def measured(task: tuple[int, str, Path | None]) -> Outcome:
    """One rendering made and measured."""
    cv2.setNumThreads(1)
    seed, name, keep = task
    shot = rendered(seed, name, keep)
    return outcome(shot, name=name, group=name.rsplit("-", 1)[0], facts=facts_of(shot))


def main() -> None:
    """Print the tables."""
    parser = options(__doc__, count=60)
    parser.add_argument("--wide", type=int, default=20, help="renderings of wider conditions")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="for the renderings")
    parser.add_argument("--each", action="store_true", help="one line a rendering as well")
    asked = parser.parse_args()
    if asked.keep:
        asked.keep.mkdir(parents=True, exist_ok=True)
    tasks = [(asked.seed, name, asked.keep) for name in names(asked.count, asked.wide)]
    if asked.workers == 1:
        found = [measured(task) for task in tasks]
    else:
        with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn")) as pool:
            found = list(pool.map(measured, tasks))
    print("\n".join([*([*each(found), ""] if asked.each else []), *tables(found)]))
    print(f"\nrefused: {reasons(found) or 'none'}")
    print(f"gross: {', '.join(o.name for o in found if o.gross) or 'none'}\n\n{FOOT}")


if __name__ == "__main__":
    main()
