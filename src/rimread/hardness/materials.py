"""Material groups and the force-diameter index each is tested with."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from rimread.check import ON_LIMIT, Check
from rimread.hardness.condition import TestCondition, plain_number

__all__ = ["MATERIALS", "Material", "index_check", "material", "wrong_ball"]


SOURCE: Final = "ISO 6506-1 table of materials, from memory"


@dataclass(frozen=True, slots=True)
class Material:
    """One group.

    Parameters
    ----------
    name, title : str
        Short name for options, and in words.
    classes : tuple of (lowest HBW, highest HBW, indices)
        Which indices 0.102 F/D² serve which hardness; a limit belongs to both its classes.
    balls_mm : tuple of float
        Balls allowed, largest first.
    """

    name: str
    title: str
    classes: tuple[tuple[float, float, tuple[float, ...]], ...]
    balls_mm: tuple[float, ...] = (10.0, 5.0, 2.5, 1.0)

    def indices(self, hbw: float) -> frozenset[float]:
        """Indices that serve this hardness."""
        low_side, high_side = hbw * (1.0 - ON_LIMIT), hbw * (1.0 + ON_LIMIT)
        return frozenset(
            index
            for low, high, indices in self.classes
            if low <= high_side and low_side <= high
            for index in indices
        )


_ANY = (0.0, math.inf)
_GROUPS = (
    Material("steel", "steel", ((*_ANY, (30.0,)),)),
    Material("nickel", "nickel alloys", ((*_ANY, (30.0,)),)),
    Material("titanium", "titanium alloys", ((*_ANY, (30.0,)),)),
    Material(
        "cast-iron",
        "cast iron",
        ((0.0, 140.0, (10.0,)), (140.0, math.inf, (30.0,))),
        balls_mm=(10.0, 5.0, 2.5),
    ),
    Material(
        "copper",
        "copper and copper alloys",
        ((0.0, 35.0, (5.0,)), (35.0, 200.0, (10.0,)), (200.0, math.inf, (30.0,))),
    ),
    Material(
        "light-metal",
        "light metals and their alloys",
        ((0.0, 35.0, (2.5,)), (35.0, 80.0, (5.0, 10.0, 15.0)), (80.0, math.inf, (10.0, 15.0))),
    ),
    Material("lead-tin", "lead and tin", ((*_ANY, (1.0,)),)),
)
MATERIALS: Final[Mapping[str, Material]] = MappingProxyType({m.name: m for m in _GROUPS})
"""Groups by their short names."""


def material(name: str) -> Material:
    """Group by name.

    Raises
    ------
    ValueError
        If it is not one of `MATERIALS`.
    """
    if name in ("sintered", "sintered-metal"):
        raise ValueError("sintered metal is tested after ISO 4498, which is not in here")
    if name not in MATERIALS:
        raise ValueError(f"material must be one of {', '.join(MATERIALS)} (got {name!r})")
    return MATERIALS[name]


def index_check(test: TestCondition, hbw: float, group: Material) -> Check:
    """Whether ball and force suit the material at this hardness: code ``material-index``."""
    allowed = sorted(group.indices(hbw))
    text = " or ".join(plain_number(i) for i in allowed)
    message = f"index 0.102 F/D² = {test.index:.4g} on {group.title} of {hbw:.0f} HBW, to be {text}"
    fits, wrong = test.has_index(*allowed), wrong_ball(test, group)
    if fits and wrong:
        message += f"; {wrong}"
    return Check("material-index", "pass" if fits and not wrong else "warn", message, SOURCE)


def wrong_ball(test: TestCondition, group: Material) -> str:
    """Why the material is not tested with this ball, empty when it is."""
    if test.ball_mm in group.balls_mm:
        return ""
    return f"{group.title} takes no {plain_number(test.ball_mm)} mm ball"
