"""Working conditions of a lab, and scenes drawn from them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np

from rimread.hardness import TestCondition
from rimread.hardness.rules import rule_set
from rimread.scale.model import Scale
from rimread.simulate import Camera, Indent, Scene, Surface, Tier, random_scene, rim_levels
from rimread.simulate.scene import Finish, LightKind
from rimread.validate.character import Character

__all__ = ["Working", "largest_mm", "scale_drawn", "scene_drawn", "test_range_mm"]

_DRAWS = 8
"""Surfaces and lights drawn for one scene; the one whose rim looks most like the photo's stays."""
_MARGIN = 0.06
"""Free border round an indent, in its diameters."""
_MOST_K1 = 0.2  # what the simulated camera takes
_LEAST_PX = 60.0  # across; smaller indents are refused anyway
_JITTER = 0.1
"""Relative spread of the exposure from photo to photo; our own judgement, no source."""


@dataclass(frozen=True, slots=True)
class Working:
    """What is simulated.

    Parameters
    ----------
    scale : Scale
        Of the scope.
    test : TestCondition
        Ball, force, dwell.
    low_mm, high_mm : float
        Range of the mean diameter.
    lights : tuple of str
        Kinds of light the lab uses; empty for all those of the tier.
    finishes : tuple of str
        Kinds of finish; empty for all those of the tier.
    tier : {"clean", "shop", "hard"}
        How rough everything else is, see `rimread.simulate.random_scene`.
    like : Character or None
        What one of the lab's photos says; without it noise and blur are drawn from the tier.

    Raises
    ------
    ValueError
        If the range is empty, or does not fit into the picture, or an indent is too small in it.
    """

    scale: Scale
    test: TestCondition
    low_mm: float
    high_mm: float
    lights: tuple[LightKind, ...] = ()
    finishes: tuple[Finish, ...] = ()
    tier: Tier = "shop"
    like: Character | None = None

    def __post_init__(self) -> None:
        given = f"(got {self.low_mm:g} mm to {self.high_mm:g} mm)"
        most = min(largest_mm(self.scale), 0.94 * self.test.ball_mm)
        least = _LEAST_PX / self.scale.px_per_mm_x
        if max(self.low_mm, self.high_mm) > most * (1.0 + 1e-9):
            raise ValueError(
                f"the largest indent that fits into these photos and is smaller than the ball is "
                f"{most:.3g} mm {given}"
            )
        if not 0.0 < self.low_mm < self.high_mm:
            raise ValueError(f"a range of diameters begins above 0 and below its end {given}")
        if self.low_mm < least:
            raise ValueError(f"the smallest indent of 60 px across is {least:.3g} mm {given}")
        for what, chosen, known in (
            ("light", self.lights, get_args(LightKind)),
            ("finish", self.finishes, get_args(Finish)),
            ("tier", (self.tier,), get_args(Tier)),
        ):
            for name in chosen:
                if name not in known:
                    raise ValueError(f"{what} must be one of {', '.join(known)} (got {name!r})")


def largest_mm(scale: Scale) -> float:
    """Largest mean diameter that lies in the picture with a free border."""
    side = min(scale.width_px / scale.px_per_mm_x, scale.height_px / scale.px_per_mm_y)
    return side / (1.0 + 4.0 * _MARGIN)


def test_range_mm(scale: Scale, test: TestCondition) -> tuple[float, float]:
    """The test's own range of diameters (ISO 6506-1), as far as it fits into the photos."""
    rules = rule_set("iso")
    low = max(rules["d_min_in_balls"] * test.ball_mm, _LEAST_PX / scale.px_per_mm_x)
    return low, min(rules["d_max_in_balls"] * test.ball_mm, largest_mm(scale))


test_range_mm.__test__ = False  # type: ignore[attr-defined]  # pytest must not collect it


def scale_drawn(scale: Scale, rng: np.random.Generator) -> Scale:
    """The scale as it may truly be: drawn from its own uncertainty (Student's t)."""
    covariance = np.array(scale.covariance)
    size = np.sqrt(np.diag(covariance)) + 1e-300
    values, vectors = np.linalg.eigh(covariance / np.outer(size, size))
    step = vectors @ (np.sqrt(np.maximum(values, 0.0)) * rng.standard_normal(3))
    heavy = rng.chisquare(scale.dof) / scale.dof if math.isfinite(scale.dof) else 1.0
    dx, dy, dk = size * step / math.sqrt(heavy)
    return replace(
        scale,
        px_per_mm_x=scale.px_per_mm_x + float(dx),
        px_per_mm_y=scale.px_per_mm_y + float(dy),
        k1_half_diagonal=float(np.clip(scale.k1_half_diagonal + dk, -_MOST_K1, _MOST_K1)),
    )


def scene_drawn(working: Working, mean_mm: float, rng: np.random.Generator) -> Scene:
    """A scene with an indent of this size under the working conditions.

    Parameters
    ----------
    working : Working
    mean_mm : float
        True mean diameter.
    rng : numpy.random.Generator
        Everything drawn comes from here; give the picture its own.
    """
    true = scale_drawn(working.scale, rng)
    like = working.like
    draws = 1 if like is None or like.contrast is None else _DRAWS
    scenes = [_scene(working, true, mean_mm, rng) for _ in range(draws)]
    return scenes[0] if draws == 1 else min(scenes, key=lambda scene: _unlike(scene, like))


def _scene(working: Working, true: Scale, mean_mm: float, rng: np.random.Generator) -> Scene:
    base = random_scene(rng, tier=working.tier)
    light, surface = base.light, base.surface
    if working.lights:
        light = replace(light, kind=working.lights[int(rng.integers(len(working.lights)))])
    if working.finishes:
        surface = replace(
            surface, finish=working.finishes[int(rng.integers(len(working.finishes)))]
        )
    surface = replace(surface, cylinder_mm=0.0)
    camera = _camera(base.camera, true, working.like, rng)
    indent = _indent(base.indents[0], base.surface, working, mean_mm)
    return Scene((_placed(indent, true, rng),), surface, light, camera)


def _camera(base: Camera, true: Scale, like: Character | None, rng: np.random.Generator) -> Camera:
    camera = replace(
        base,
        width_px=true.width_px,
        height_px=true.height_px,
        px_per_mm=true.px_per_mm_x,
        aspect=true.px_per_mm_y / true.px_per_mm_x,
        k1_half_diagonal=true.k1_half_diagonal,
    )
    if like is None:
        return camera
    if like.blur_px is not None:
        camera = replace(camera, blur_px=like.blur_px, defocus_px=0.0, motion_px=0.0)
    return replace(
        camera,
        veil=0.0,  # in the contrast
        sharpening=0.0,  # in noise and blur
        exposure=max(like.exposure, 1e-3) * math.exp(_JITTER * rng.standard_normal()),
        full_well_e=like.noise.full_well_e,
        read_noise_e=like.noise.read_noise_e,
        tone=like.tone,
        bits=like.bits,
        jpeg_quality=like.jpeg_quality,
    )


def _indent(base: Indent, surface: Surface, working: Working, mean_mm: float) -> Indent:
    """An indent of another size, similar in shape; a cylinder's ovality is left behind."""
    ratio = 1.0 if surface.cylinder_mm else base.d2_mm / base.d1_mm
    d1_mm = 2.0 * mean_mm / (1.0 + ratio)
    return replace(
        base,
        d1_mm=d1_mm,
        d2_mm=2.0 * mean_mm - d1_mm,
        ball_mm=working.test.ball_mm,
        edge_round_mm=base.edge_round_mm * mean_mm / base.mean_mm,
    )


def _placed(indent: Indent, true: Scale, rng: np.random.Generator) -> Indent:
    """Somewhere whole in the picture."""
    room = (
        max(side / 2.0 - (0.5 + _MARGIN) * indent.d1_mm, 0.0)
        for side in (true.width_px / true.px_per_mm_x, true.height_px / true.px_per_mm_y)
    )
    x_mm, y_mm = (half * rng.uniform(-1.0, 1.0) for half in room)
    return replace(indent, x_mm=x_mm, y_mm=y_mm)


def _unlike(scene: Scene, like: Character | None) -> float:
    """How far contrast and polarity of the rim lie from the photo's."""
    if like is None or like.contrast is None or like.polarity is None:
        return 0.0
    inside, outside = rim_levels(scene)
    step = (inside - outside) / (inside + outside)
    return math.hypot(
        float(np.abs(step).mean()) - like.contrast, float(step.mean()) - like.polarity
    )
