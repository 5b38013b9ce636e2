"""Working conditions drawn at random: scenes a shop meets, and scenes that must be refused."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal, TypeVar, get_args

import numpy as np
from numpy.typing import NDArray

from rimread.simulate.glow import glow
from rimread.simulate.relief import cylinder_ovality, ground
from rimread.simulate.scene import Camera, Indent, Light, Scene, Surface
from rimread.simulate.tiers import TIERS, Conditions, Span, Tier

__all__ = ["Spoiled", "random_scene", "rim_levels", "several_scene", "spoiled_scene"]

Spoiled = Literal[
    "blank",
    "scratched-blank",
    "cut-by-frame",
    "crescent",
    "overlapping",
    "smeared",
    "tiny",
    "black",
    "blown-out",
]

_T = TypeVar("_T")
F32 = NDArray[np.float32]

_TRIES = 30
_SHOWS = 0.05  # least contrast someone would call clean; our own judgement, no source


def random_scene(
    rng: np.random.Generator, *, tier: Tier = "shop", width_px: int = 1280, height_px: int = 1024
) -> Scene:
    """One whole indent under conditions of a tier.

    Parameters
    ----------
    rng : numpy.random.Generator
        The scene comes from here; give the picture its own.
    tier : {"clean", "shop", "hard"}
        How rough the conditions are.
    width_px, height_px : int
        Size of the picture.

    Raises
    ------
    ValueError
        If the tier is not one of the three.
    """
    if tier not in TIERS:
        raise ValueError(f"tier is one of {get_args(Tier)}, got {tier!r}")
    for _ in range(_TRIES):
        scene = _drawn(rng, TIERS[tier], width_px, height_px)
        if tier != "clean" or _shows(scene):
            break
    return scene


def _drawn(rng: np.random.Generator, c: Conditions, width_px: int, height_px: int) -> Scene:
    ball_mm = float(rng.choice([10.0, 5.0, 2.5]))
    d1_mm = ball_mm * rng.uniform(0.24, 0.6)  # the range ISO 6506-1 allows for d/D
    camera = _camera(rng, c, width_px, height_px, d1_mm)
    surface = _surface(rng, c)
    indent = _indent(rng, c, (surface, camera), (ball_mm, d1_mm))
    return Scene(indents=(indent,), surface=surface, light=_light(rng, c), camera=camera)


def rim_levels(scene: Scene) -> tuple[F32, F32]:
    """Light just inside and just outside the boundary of the first indent, both shape (36,).

    As the specimen returns it, before lens and camera and without the texture of the finish.
    """
    indent = replace(scene.indents[0], edge_round_mm=0.0)
    t = np.linspace(0, 2 * math.pi, 36, endpoint=False)
    rho = np.array([[0.98], [1.02]]) * indent.mean_mm / 2
    x, y = (indent.x_mm + rho * np.cos(t)), (indent.y_mm + rho * np.sin(t))
    relief = ground(replace(scene, indents=(indent,)), x.astype(np.float32), y.astype(np.float32))
    inside, outside = glow(scene, cells=64).look_up(relief.gx, relief.gy, relief.inside)
    return inside, outside


def _shows(scene: Scene) -> bool:
    """Whether bowl and ridge differ in light along most of the boundary.

    Someone who takes a clean photo turns the light until they do.
    """
    inside, outside = rim_levels(scene)
    contrast = np.abs(inside - outside) / (inside + outside)
    return bool(np.mean(contrast > _SHOWS) > 0.7)


def several_scene(
    rng: np.random.Generator,
    count: int,
    *,
    tier: Tier = "shop",
    width_px: int = 1280,
    height_px: int = 1024,
) -> Scene:
    """Several whole indents of one ball and load, at least 1.4 diameters apart.

    Parameters
    ----------
    rng : numpy.random.Generator
        The scene comes from here; give the picture its own.
    count : int
        How many, 2 to 9.
    tier : {"clean", "shop", "hard"}
        How rough the conditions are.
    width_px, height_px : int
        Size of the picture.

    Raises
    ------
    ValueError
        If the count is not 2 to 9 or the tier is not one of the three.
    """
    if not 2 <= count <= 9:
        raise ValueError(f"count is 2 to 9, got {count!r}")
    scene = random_scene(rng, tier=tier, width_px=width_px, height_px=height_px)
    first = scene.indents[0]
    # A square grid with room for all; each indent wanders within its cell.
    columns = math.ceil(math.sqrt(count))
    cell_mm = 1.9 * first.d1_mm
    px_per_mm = min(width_px, height_px) / (columns * cell_mm)
    cells = rng.permutation(columns**2)[:count]
    indents = tuple(
        replace(
            first,
            d1_mm=first.d1_mm * grown,
            d2_mm=first.d2_mm * grown,
            x_mm=(cell % columns - (columns - 1) / 2 + rng.uniform(-0.12, 0.12)) * cell_mm,
            y_mm=(cell // columns - (columns - 1) / 2 + rng.uniform(-0.12, 0.12)) * cell_mm,
            lobe_deg=rng.uniform(0, 360),
        )
        for cell, grown in zip(cells, rng.uniform(0.98, 1.0, count), strict=True)
    )
    return replace(scene, indents=indents, camera=replace(scene.camera, px_per_mm=px_per_mm))


def spoiled_scene(
    rng: np.random.Generator, kind: Spoiled, *, width_px: int = 1280, height_px: int = 1024
) -> Scene:
    """A scene no diameter may be read from, clean apart from what spoils it.

    Parameters
    ----------
    rng : numpy.random.Generator
        The scene comes from here; give the picture its own.
    kind : str
        One of `Spoiled`: no indent, cut by the frame, two that overlap, moved during the
        exposure, a few pixels wide, far too dark, far too bright.
    width_px, height_px : int
        Size of the picture.

    Raises
    ------
    ValueError
        If the kind is not one of `Spoiled`.
    """
    if kind not in get_args(Spoiled):
        raise ValueError(f"kind is one of {get_args(Spoiled)}, got {kind!r}")
    scene = random_scene(rng, tier="clean", width_px=width_px, height_px=height_px)
    camera, indent = scene.camera, scene.indents[0]
    size_px = indent.d1_mm * camera.px_per_mm
    if kind in {"blank", "scratched-blank"}:
        scratches = int(rng.integers(5, 15)) if kind == "scratched-blank" else 0
        stains = int(rng.integers(0, 5))
        surface = replace(scene.surface, finish="ground", scratches=scratches, stains=stains)
        return replace(scene, indents=(), surface=surface)
    if kind in {"cut-by-frame", "crescent"}:
        lost = rng.uniform(0.1, 0.5) if kind == "cut-by-frame" else rng.uniform(0.65, 0.9)
        beyond = (camera.width_px / 2 / camera.px_per_mm) + (lost - 0.5) * indent.d1_mm
        moved = replace(indent, x_mm=math.copysign(beyond, rng.uniform(-1, 1)))
        return replace(scene, indents=(moved,))
    if kind == "overlapping":
        return replace(scene, indents=_overlapping(rng, indent))
    change: dict[Spoiled, dict[str, float]] = {
        "smeared": {
            "motion_px": rng.uniform(0.15, 0.3) * size_px,
            "motion_deg": rng.uniform(0, 180),
        },
        "tiny": {"px_per_mm": rng.uniform(6, 20) / indent.d1_mm},
        "black": {"exposure": rng.uniform(0.0002, 0.0008), "full_well_e": 5_000},
        "blown-out": {"exposure": rng.uniform(15, 40)},
    }
    return replace(scene, camera=replace(camera, **change[kind]))  # type: ignore[arg-type]


def _overlapping(rng: np.random.Generator, indent: Indent) -> tuple[Indent, Indent]:
    apart, turn = rng.uniform(0.4, 0.85) * indent.d1_mm, rng.uniform(0, 2 * math.pi)
    dx, dy = 0.5 * apart * math.cos(turn), 0.5 * apart * math.sin(turn)
    return replace(indent, x_mm=-dx, y_mm=-dy), replace(indent, x_mm=dx, y_mm=dy)


def _pick(rng: np.random.Generator, choices: tuple[_T, ...]) -> _T:
    return choices[int(rng.integers(len(choices)))]


def _log_uniform(rng: np.random.Generator, span: Span) -> float:
    return math.exp(rng.uniform(math.log(span[0]), math.log(span[1])))


def _light(rng: np.random.Generator, c: Conditions) -> Light:
    return Light(
        kind=_pick(rng, c.lights),
        elevation_deg=rng.uniform(*c.elevation_deg),
        azimuth_deg=rng.uniform(0, 360),
        spread_deg=rng.uniform(2, 12),
        arc_deg=rng.uniform(15, 50),
        lamps=int(rng.integers(4, 13)) if rng.random() < c.separate_lamps else 0,
        ambient=rng.uniform(*c.ambient),
        gradient=rng.uniform(0, c.gradient),
    )


def _camera(
    rng: np.random.Generator, c: Conditions, width_px: int, height_px: int, d1_mm: float
) -> Camera:
    size_px = rng.uniform(0.2, 0.72) * min(width_px, height_px)
    sixteen = bool(rng.random() < 0.1)
    lossless = sixteen or bool(rng.random() < 0.3)
    return Camera(
        width_px=width_px,
        height_px=height_px,
        px_per_mm=size_px / d1_mm,
        aspect=1.0 + rng.uniform(-0.002, 0.002),
        k1_half_diagonal=rng.uniform(-0.03, 0.03),
        blur_px=rng.uniform(*c.blur_px),
        defocus_px=rng.uniform(0, c.defocus_px),
        motion_px=rng.uniform(0, c.motion_px),
        motion_deg=rng.uniform(0, 180),
        vignetting=rng.uniform(0, 0.3),
        veil=rng.uniform(0, c.veil),
        exposure=_log_uniform(rng, c.exposure),
        full_well_e=_log_uniform(rng, c.full_well_e),
        read_noise_e=rng.uniform(*c.read_noise_e),
        tone="linear" if rng.random() < 0.15 else "srgb",
        sharpening=rng.uniform(0, c.sharpening) if rng.random() < 0.3 else 0.0,
        bits=16 if sixteen else 8,
        jpeg_quality=None if lossless else int(rng.integers(*c.jpeg_quality)),
    )


def _surface(rng: np.random.Generator, c: Conditions) -> Surface:
    finish = _pick(rng, c.finishes)
    alpha = rng.uniform(*c.alpha)
    return Surface(
        finish=finish,
        finish_um=_log_uniform(rng, c.finish_um) * (0.3 if finish == "polished" else 1.0),
        coarse=_log_uniform(rng, (0.3, 1.6)),
        lay_deg=rng.uniform(0, 180),
        alpha_outside=alpha,
        alpha_inside=max(alpha * rng.uniform(0.35, 1.1), c.alpha[0]),
        bowl_grain=rng.uniform(*c.bowl_grain),
        scratches=int(rng.integers(0, c.scratches + 1)),
        stains=int(rng.integers(0, c.stains + 1)),
        glints=int(rng.integers(0, c.glints + 1)),
        cylinder_mm=rng.uniform(30, 120) if rng.random() < c.cylinder else 0.0,
        cylinder_deg=rng.uniform(0, 180),
        tilt_deg=abs(rng.normal(0, 0.5)) * c.tilt_deg,
        tilt_toward_deg=rng.uniform(0, 360),
    )


def _indent(
    rng: np.random.Generator,
    c: Conditions,
    where: tuple[Surface, Camera],
    size: tuple[float, float],
) -> Indent:
    (surface, camera), (ball_mm, d1_mm) = where, size
    recovery = rng.uniform(1.03, 1.3)
    angle_deg, ratio = rng.uniform(0, 180), 1.0 - c.oval * rng.random()
    if surface.cylinder_mm:
        angle_deg = surface.cylinder_deg
        ratio = cylinder_ovality(
            bowl_radius_mm=recovery * ball_mm / 2, cylinder_mm=surface.cylinder_mm
        )
    room_x, room_y = (
        side / 2 / camera.px_per_mm - 0.56 * d1_mm for side in (camera.width_px, camera.height_px)
    )
    return Indent(
        d1_mm=d1_mm,
        d2_mm=d1_mm * ratio,
        ball_mm=ball_mm,
        x_mm=rng.uniform(-room_x, room_x),
        y_mm=rng.uniform(-room_y, room_y),
        angle_deg=angle_deg,
        recovery=recovery,
        pile=rng.uniform(*c.pile),
        pile_width=rng.uniform(*c.pile_width),
        crest=rng.uniform(*c.crest),
        lobes=rng.uniform(*c.lobes),
        lobe_count=int(rng.integers(1, 5)),
        lobe_deg=rng.uniform(0, 360),
        edge_round_mm=_log_uniform(rng, c.round_over_d) * d1_mm,
        texture=rng.uniform(*c.bowl_texture),
        stretch=rng.uniform(0, 0.1),
    )
