"""Errors of measured diameters over simulated photos, by the conditions they were made under.

    python tests/accuracy/simulated.py [--count N] [--seed S] [--workers W] [--each]

N readable photos, a third of each tier, and N / 40 (at least 3) of each kind that must be refused.
The scale is the exact one, so that the figures hold the rim alone. At the end the scatter of
repeated photos in which nothing but noise differs is held against the Cramér-Rao bound.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise
from multiprocessing import get_context
from typing import get_args

import cv2
import numpy as np
from asked import options
from errors import FOOT, HEAD, Outcome, each, figures, line, ordered, refusals
from scipy.ndimage import map_coordinates

from rimread.diameters import diameters
from rimread.photo import linear_light
from rimread.refusal import Refusal
from rimread.rim import find_rim
from rimread.simulate import (
    Camera,
    Indent,
    Light,
    Scene,
    Simulated,
    Spoiled,
    Surface,
    Tier,
    random_scene,
    simulate,
    spoiled_scene,
)

LEAST_IN_CELL = 20
"""Photos a cell needs before its coverage is judged."""
LEAST_COVERED = 0.85

BINS: dict[str, tuple[float, ...]] = {
    "d in px": (0, 200, 300, 450, 650, math.inf),
    "blur in px": (0, 0.8, 1.2, 1.8, 2.6, math.inf),
    "noise in % of the light": (0, 1.5, 3, 6, math.inf),
    "contrast at the rim in %": (0, 5, 10, 20, 35, math.inf),
    "elevation in degrees": (0, 25, 35, 45, 55, 90),
    "ridge over depth": (-1, 0, 0.08, 0.16, 0.25, 1),
    "rounding in px": (0, 0.3, 0.6, 1.2, 2.5, math.inf),
}
KINDS = ("light", "finish")


def scene_of(seed: int, name: str) -> Scene:
    """The scene of a photo by its name, e.g. ``shop-17`` or ``refuse-tiny-3``."""
    group, index = name.rsplit("-", 1)
    rng = np.random.default_rng([seed, int(index)])
    if group.startswith("refuse-"):
        return spoiled_scene(rng, group.removeprefix("refuse-"))  # type: ignore[arg-type]
    return random_scene(rng, tier=group)  # type: ignore[arg-type]


def photographed(seed: int, name: str) -> Simulated:
    """The photo of that scene."""
    rng = np.random.default_rng([seed, int(name.rsplit("-", 1)[1]), 1])
    return simulate(scene_of(seed, name), rng=rng)


def names(count: int) -> list[str]:
    """Names of the photos of a run."""
    tiers: tuple[Tier, ...] = get_args(Tier)
    readable = [f"{tiers[i % 3]}-{i}" for i in range(count)]
    spoiled = max(3, count // 40)
    return readable + [f"refuse-{kind}-{i}" for kind in get_args(Spoiled) for i in range(spoiled)]


def measured(task: tuple[int, str]) -> Outcome:
    """One photo simulated and measured."""
    cv2.setNumThreads(1)
    seed, name = task
    shot = photographed(seed, name)
    readable = not name.startswith("refuse-")
    return outcome(
        shot,
        name=name,
        group=name.rsplit("-", 1)[0],
        readable=readable,
        facts=facts_of(shot) if readable else {},
    )


def outcome(
    shot: Simulated,
    *,
    name: str,
    group: str,
    readable: bool = True,
    facts: dict[str, float | str],
) -> Outcome:
    """What comes of a photo."""
    true_mm = shot.truth[0].mean_mm if readable else math.nan
    told = (name, group, readable, true_mm)
    rim = find_rim(shot.photo())
    if isinstance(rim, Refusal):
        return Outcome(*told, code=rim.code, facts=facts)
    found = diameters(rim, shot.scale)
    return Outcome(*told, code="measured", mean_mm=found.mean_mm, U_mm=found.budget.U, facts=facts)


def facts_of(shot: Simulated) -> dict[str, float | str]:
    """Conditions of a photo, those of `BINS` and `KINDS`."""
    scene, truth = shot.scene, shot.truth[0]
    camera, indent = scene.camera, scene.indents[0]
    elevation = 90.0 if scene.light.kind == "coaxial" else scene.light.elevation_deg
    return {
        "d in px": (truth.axis1_px + truth.axis2_px) / 2,
        "blur in px": math.hypot(
            camera.blur_px, camera.defocus_px / 2, camera.motion_px / math.sqrt(12)
        ),
        "noise in % of the light": 100 * _noise(camera) / camera.exposure,
        "contrast at the rim in %": 100 * float(np.median(np.abs(_steps(shot, reach_px=6.0)[0]))),
        "elevation in degrees": elevation,
        "ridge over depth": indent.pile,
        "rounding in px": indent.edge_round_mm * camera.px_per_mm,
        "light": scene.light.kind,
        "finish": scene.surface.finish,
    }


def _noise(camera: Camera) -> float:
    """Standard deviation of a pixel at the middle exposure, in fractions of full scale."""
    return math.sqrt(
        camera.exposure / camera.full_well_e + (camera.read_noise_e / camera.full_well_e) ** 2
    )


def _steps(shot: Simulated, *, reach_px: float) -> tuple[np.ndarray, np.ndarray]:
    """Light inside less light outside along the true rim, over their sum, and as it is."""
    truth = shot.truth[0]
    t = np.linspace(0, 2 * np.pi, 180, endpoint=False)[:, None]
    turn = math.radians(truth.angle_deg)
    light = linear_light(shot.photo(), shot.picture)

    def beside(q: np.ndarray) -> np.ndarray:
        u, v = (truth.axis1_px / 2 + q) * np.cos(t), (truth.axis2_px / 2 + q) * np.sin(t)
        x = truth.centre_x_px + u * math.cos(turn) - v * math.sin(turn)
        y = truth.centre_y_px + u * math.sin(turn) + v * math.cos(turn)
        return np.asarray(map_coordinates(light, [y, x], order=1, mode="nearest").mean(axis=1))

    q = np.linspace(reach_px / 2, reach_px, 5)[None]
    inner, outer = beside(-q), beside(q)
    return (inner - outer) / np.maximum(inner + outer, 1e-9), inner - outer


def outcomes(count: int, *, seed: int = 0, workers: int = 1) -> list[Outcome]:
    """A run of `count` readable photos and those that must be refused."""
    tasks = [(seed, name) for name in names(count)]
    if workers == 1:
        return [measured(task) for task in tasks]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        return list(pool.map(measured, tasks, chunksize=8))


def cells(found: Sequence[Outcome]) -> dict[str, list[tuple[str, list[Outcome]]]]:
    """Outcomes of readable photos in the cells of each condition."""
    readable = [o for o in found if o.readable]
    tables = {
        name: [
            (f"{low:g} to {high:g}", [o for o in readable if low <= float(o.facts[name]) < high])
            for low, high in pairwise(edges)
        ]
        for name, edges in BINS.items()
    }
    for name in KINDS:
        kinds = sorted({str(o.facts[name]) for o in readable})
        tables[name] = [(kind, [o for o in readable if o.facts[name] == kind]) for kind in kinds]
    return tables


def poorly_covered(found: Sequence[Outcome]) -> list[str]:
    """Cells of `LEAST_IN_CELL` measured photos or more that U covers less often than asked."""
    low = []
    for name, table in cells(found).items():
        for label, some in table:
            of = figures(some)
            if of.measured >= LEAST_IN_CELL and of.covered < LEAST_COVERED:
                low.append(f"{name}: {label} ({of.covered:.0%} of {of.measured})")
    return low


@dataclass(frozen=True)
class Floor:
    """Repeated photos of one scene in which only the noise differs, against the bound."""

    name: str
    contrast_to_noise: float
    scatter_px: float
    bound_px: float
    bias_px: float

    @property
    def ratio(self) -> float:
        """Scatter over the bound; below one there is a mistake somewhere."""
        return self.scatter_px / self.bound_px


def noise_scene(*, blur_px: float, noise: float, elevation_deg: float) -> Scene:
    """A polished specimen without any texture under a ring light, the noise far above shot noise.

    Parameters
    ----------
    blur_px : float
    noise : float
        Standard deviation of a pixel in fractions of full scale.
    elevation_deg : float
        Of the light.
    """
    well = 1e6
    return Scene(
        indents=(
            Indent(d1_mm=2.0, d2_mm=2.0, ball_mm=5.0, x_mm=0.013, y_mm=-0.027, edge_round_mm=0.0),
        ),
        surface=Surface(finish="polished", finish_um=0.0),
        light=Light(kind="ring", elevation_deg=elevation_deg),
        camera=Camera(
            width_px=480,
            height_px=400,
            px_per_mm=130.0,
            blur_px=blur_px,
            exposure=0.4,
            full_well_e=well,
            read_noise_e=noise * well,
            tone="linear",
            bits=16,
        ),
    )


def radius_bound_px(*, step: float, noise: float, blur_px: float, radius_px: float) -> float:
    """Cramér-Rao bound of the radius of a full circle, a Gaussian-blurred step in white noise.

    ``(s / C) sqrt(b / (sqrt(pi) R))`` with b² = blur² + 1/12 for the area of the pixels: the bound
    of an edge position (Gatherer 1993, CSL-TR-93-560) along 2 pi R pixels of arc; own derivation.
    """
    b = math.sqrt(blur_px**2 + 1 / 12)
    return noise / step * math.sqrt(b / (math.sqrt(math.pi) * radius_px))


def floor_of(
    scene: Scene, *, repeats: int, estimate: Callable[[Simulated], float | None], name: str = ""
) -> Floor:
    """Scatter of an estimate of the mean diameter in px over repeated photos, and its bound."""
    quiet = replace(scene.camera, read_noise_e=0.0, full_well_e=1e12)
    still = simulate(replace(scene, camera=quiet), rng=np.random.default_rng(0))
    _, step = _steps(still, reach_px=6 * scene.camera.blur_px)
    contrast, noise = float(np.sqrt(np.mean(step**2))), _noise(scene.camera)
    true_px = (still.truth[0].axis1_px + still.truth[0].axis2_px) / 2
    values = [estimate(simulate(scene, rng=np.random.default_rng([11, i]))) for i in range(repeats)]
    told = np.array([value for value in values if value is not None])
    bound = radius_bound_px(
        step=contrast, noise=noise, blur_px=scene.camera.blur_px, radius_px=true_px / 2
    )
    return Floor(
        name=name,
        contrast_to_noise=contrast / noise,
        scatter_px=float(told.std(ddof=1)) if len(told) > 2 else math.nan,
        bound_px=2 * bound,
        bias_px=float(told.mean()) - true_px if len(told) else math.nan,
    )


def mean_diameter_px(shot: Simulated) -> float | None:
    """What this program measures, in px of the undistorted picture."""
    rim = find_rim(shot.photo())
    if isinstance(rim, Refusal):
        return None
    return diameters(rim, shot.scale).mean_mm * shot.scale.px_per_mm_x


NOISE_SETS = (
    # blur in px, noise in full scale, elevation of the light
    (0.8, 0.02, 50.0),
    (1.2, 0.02, 50.0),
    (1.2, 0.05, 50.0),
    (2.0, 0.05, 50.0),
    (1.2, 0.05, 35.0),
)


def floors(repeats: int) -> list[Floor]:
    """Each noise-dominated set against its bound."""
    return [
        floor_of(
            noise_scene(blur_px=blur, noise=noise, elevation_deg=elevation),
            repeats=repeats,
            estimate=mean_diameter_px,
            name=f"blur {blur:g}, noise {noise:g}, light at {elevation:g}",
        )
        for blur, noise, elevation in NOISE_SETS
    ]


def tables(found: list[Outcome]) -> list[str]:
    """Figures of each group of readable photos, of all, and of each cell."""
    groups = ordered(o.group for o in found if o.readable)
    rows = [line(group, figures(o for o in found if o.group == group)) for group in groups]
    rows = [HEAD, *rows, line("all readable", figures(found))]
    for name, table in cells(found).items():
        rows += ["", name, *(line(f"  {label}", figures(some)) for label, some in table)]
    return rows


def main() -> None:
    """Print the tables."""
    parser = options(__doc__, count=300)
    parser.add_argument("--repeats", type=int, default=40, help="photos of each noise set")
    parser.add_argument("--each", action="store_true", help="one line a photo as well")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    found = outcomes(asked.count, seed=asked.seed, workers=asked.workers)
    print("\n".join([*([*each(found), ""] if asked.each else []), *tables(found)]))
    print("\n".join(["", *refusals(found), "", FOOT]))
    bad = [o.name for o in found if o.gross or (o.measured and not o.readable)]
    print(f"\ngross, or given a number: {', '.join(bad) or 'none'}")
    print(f"cells covered below {LEAST_COVERED:.0%}: {'; '.join(poorly_covered(found)) or 'none'}")
    print("\nscatter of the mean diameter where nothing but noise differs")
    print(f"{'':36}{'step/noise':>11}{'sd px':>9}{'bound px':>9}{'ratio':>7}{'bias px':>9}")
    for floor in floors(asked.repeats):
        print(
            f"{floor.name:36}{floor.contrast_to_noise:11.1f}{floor.scatter_px:9.4f}"
            f"{floor.bound_px:9.4f}{floor.ratio:7.2f}{floor.bias_px:9.4f}"
        )


if __name__ == "__main__":
    main()
