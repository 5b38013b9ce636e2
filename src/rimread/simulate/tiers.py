"""How rough working conditions are: the spans from which scenes are drawn, tier by tier."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from rimread.simulate.scene import Finish, LightKind

__all__ = ["TIERS", "Conditions", "Span", "Tier"]

Tier = Literal["clean", "shop", "hard"]
Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Conditions:
    """Spans from which one tier is drawn; our own judgement of what shops see, no source."""

    lights: tuple[LightKind, ...]
    finishes: tuple[Finish, ...]
    elevation_deg: Span
    ambient: Span
    gradient: float
    separate_lamps: float
    pile: Span
    pile_width: Span
    crest: Span
    lobes: Span
    oval: float
    round_over_d: Span
    finish_um: Span
    bowl_texture: Span
    alpha: Span
    bowl_grain: Span
    scratches: int
    stains: int
    glints: int
    cylinder: float
    tilt_deg: float
    blur_px: Span
    defocus_px: float
    motion_px: float
    veil: float
    full_well_e: Span
    read_noise_e: Span
    exposure: Span
    jpeg_quality: tuple[int, int]
    sharpening: float


_ALL_FINISHES: tuple[Finish, ...] = get_args(Finish)

TIERS: dict[Tier, Conditions] = {
    "clean": Conditions(
        lights=("ring", "ring", "arcs"),
        finishes=("ground", "blasted", "polished"),
        elevation_deg=(28, 62),
        ambient=(0.05, 0.15),
        gradient=0.05,
        separate_lamps=0.0,
        pile=(0.02, 0.2),
        pile_width=(0.15, 0.4),
        crest=(0.0, 0.8),
        lobes=(0.0, 0.2),
        oval=0.003,
        round_over_d=(0.0004, 0.002),
        finish_um=(0.03, 0.35),
        bowl_texture=(0.1, 0.4),
        alpha=(0.15, 0.3),
        bowl_grain=(0.0, 0.08),
        scratches=0,
        stains=0,
        glints=0,
        cylinder=0.0,
        tilt_deg=0.0,
        blur_px=(0.5, 1.1),
        defocus_px=0.0,
        motion_px=0.0,
        veil=0.05,
        full_well_e=(10_000, 30_000),
        read_noise_e=(3, 10),
        exposure=(0.2, 0.45),
        jpeg_quality=(88, 97),
        sharpening=0.0,
    ),
    "shop": Conditions(
        lights=("ring", "side", "coaxial", "arcs"),
        finishes=_ALL_FINISHES,
        elevation_deg=(22, 65),
        ambient=(0.05, 0.35),
        gradient=0.2,
        separate_lamps=0.25,
        pile=(-0.1, 0.25),
        pile_width=(0.1, 0.45),
        crest=(0.0, 1.1),
        lobes=(0.0, 0.35),
        oval=0.008,
        round_over_d=(0.0004, 0.003),
        finish_um=(0.05, 0.8),
        bowl_texture=(0.1, 0.7),
        alpha=(0.09, 0.4),
        bowl_grain=(0.0, 0.14),
        scratches=5,
        stains=3,
        glints=40,
        cylinder=0.1,
        tilt_deg=0.8,
        blur_px=(0.5, 1.6),
        defocus_px=1.0,
        motion_px=1.0,
        veil=0.25,
        full_well_e=(5_000, 20_000),
        read_noise_e=(4, 16),
        exposure=(0.1, 0.55),
        jpeg_quality=(80, 97),
        sharpening=0.2,
    ),
    "hard": Conditions(
        lights=("ring", "side", "coaxial", "arcs"),
        finishes=_ALL_FINISHES,
        elevation_deg=(14, 70),
        ambient=(0.03, 0.8),
        gradient=0.4,
        separate_lamps=0.4,
        pile=(-0.3, 0.4),
        pile_width=(0.08, 0.6),
        crest=(0.0, 1.5),
        lobes=(0.1, 0.6),
        oval=0.015,
        round_over_d=(0.0008, 0.007),
        finish_um=(0.1, 1.8),
        bowl_texture=(0.2, 1.0),
        alpha=(0.07, 0.55),
        bowl_grain=(0.0, 0.2),
        scratches=14,
        stains=5,
        glints=200,
        cylinder=0.2,
        tilt_deg=2.2,
        blur_px=(0.6, 2.8),
        defocus_px=3.0,
        motion_px=4.0,
        veil=0.6,
        full_well_e=(1_000, 8_000),
        read_noise_e=(6, 24),
        exposure=(0.04, 0.8),
        jpeg_quality=(60, 95),
        sharpening=0.4,
    ),
}
