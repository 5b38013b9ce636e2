"""Which ball and force for which piece: the pairs that fit, and why the others do not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rimread.check import ON_LIMIT
from rimread.hardness.condition import STANDARD_PAIRS, TestCondition, plain_number
from rimread.hardness.formula import depth_mm, diameter_for
from rimread.hardness.materials import Material, material, wrong_ball
from rimread.hardness.piece import Piece, distance_rule
from rimread.hardness.rules import RuleSet, rule_set

__all__ = ["Excluded", "Option", "Plan", "plan"]


@dataclass(frozen=True, slots=True)
class Option:
    """A pair that fits, with what it asks of the piece.

    Parameters
    ----------
    test : TestCondition
        Ball and force.
    d_min_mm, d_max_mm : float
        Diameters to expect, from the hardest to the softest.
    thickness_mm, edge_mm, spacing_mm : float
        Least thickness, centre to edge, centre to next centre, for the largest indent expected.
    """

    test: TestCondition
    d_min_mm: float
    d_max_mm: float
    thickness_mm: float
    edge_mm: float
    spacing_mm: float


@dataclass(frozen=True, slots=True)
class Excluded:
    """A pair that does not fit, and why."""

    test: TestCondition
    why: str


@dataclass(frozen=True, slots=True)
class Plan:
    """Pairs in order of preference: the largest ball first, then the largest force.

    Parameters
    ----------
    material : Material
        Group.
    hbw_low, hbw_high : float
        Expected hardness.
    rules : RuleSet
        Whose limits.
    options : tuple of Option
        What fits; empty when nothing does.
    excluded : tuple of Excluded
        The rest.
    """

    material: Material
    hbw_low: float
    hbw_high: float
    rules: RuleSet
    options: tuple[Option, ...]
    excluded: tuple[Excluded, ...]

    @property
    def conduct(self) -> tuple[tuple[str, str], ...]:
        """How to carry out the test: sentence and source."""
        r = self.rules
        force_on = (r["application_min_s"], r["application_max_s"])
        room = (r["temperature_min_c"], r["temperature_max_c"])
        ra = r["roughness_ra_um"]
        time = f"bring the force on within {force_on[0]:g} s to {force_on[1]:g} s, without shock"
        dwell = f"hold it for {r['dwell_min_s']:g} s to {r['dwell_max_s']:g} s"
        warmth = f"work between {room[0]:g} °C and {room[1]:g} °C"
        face = f"smooth, even, clean face without scale, Ra {ra:g} µm or better"
        face_source = f"ISO 6506-1:2014 6.1-6.2; Ra: {r.source('roughness_ra_um')}"
        return (
            (time, r.source("application_min_s")),
            (f"{dwell}; another time goes into the designation", r.source("dwell_min_s")),
            (warmth, r.source("temperature_min_c")),
            (f"{face}, prepared without heat or cold work", face_source),
            ("on a ground face read at about 45° to the grinding marks", "from memory, unsure"),
        )


def plan(
    group: str,
    hbw_low: float,
    hbw_high: float,
    *,
    piece: Piece | None = None,
    pairs: Sequence[tuple[float, float]] = STANDARD_PAIRS,
    rules: str | RuleSet = "iso",
) -> Plan:
    """Choose ball and force.

    Parameters
    ----------
    group : str
        Material group, a key of `rimread.hardness.materials.MATERIALS`.
    hbw_low, hbw_high : float
        Expected hardness, equal for a single figure.
    piece : Piece, optional
        Its thickness, radius, room to the edge and between indents, as far as known.
    pairs : sequence of (ball mm, force kgf)
        What the machine has.
    rules : {"iso", "astm"} or RuleSet
        Whose limits.

    Raises
    ------
    ValueError
        If the material is unknown, the hardness impossible or beyond the rules, or the machine has
        nothing.
    """
    chosen, made_of = rule_set(rules), material(group)
    if not (math.isfinite(hbw_high) and 0.0 < hbw_low <= hbw_high):
        msg = (
            f"expected hardness must run from above 0 HBW upwards (got {hbw_low:g} to {hbw_high:g})"
        )
        raise ValueError(msg)
    most = chosen["most_hbw"]
    if hbw_high > most:
        raise ValueError(
            f"by {chosen.title} the Brinell test ends at {most:g} HBW (got {hbw_high:g})"
        )
    if not pairs:
        raise ValueError("the machine must have at least one pair of ball and force (got none)")
    options, excluded = [], []
    for ball, force in sorted(set(pairs), reverse=True):
        test = TestCondition(ball, force)
        option = _option(test, hbw_low, hbw_high, chosen)
        why = _why_not(
            test,
            option,
            group=made_of,
            piece=piece or Piece(),
            rules=chosen,
            hbw=(hbw_low, hbw_high),
        )
        if option is None or why:
            excluded.append(Excluded(test, why))
        else:
            options.append(option)
    return Plan(made_of, hbw_low, hbw_high, chosen, tuple(options), tuple(excluded))


def _option(test: TestCondition, low: float, high: float, rules: RuleSet) -> Option | None:
    """Lengths of a pair; None when the softest piece would swallow the ball."""
    try:
        d_max, d_min = diameter_for(low, test), diameter_for(high, test)
    except ValueError:
        return None
    return Option(
        test=test,
        d_min_mm=d_min,
        d_max_mm=d_max,
        thickness_mm=rules["thickness_in_depths"] * depth_mm(d_max, test),
        edge_mm=rules[distance_rule("edge", low, rules)] * d_max,
        spacing_mm=rules[distance_rule("spacing", low, rules)] * d_max,
    )


def _why_not(
    test: TestCondition,
    option: Option | None,
    *,
    group: Material,
    piece: Piece,
    rules: RuleSet,
    hbw: tuple[float, float],
) -> str:
    """First rule the pair breaks, empty when it fits."""
    why = wrong_ball(test, group) or _wrong_index(test, group, hbw)
    if why or option is None:
        return why or "the ball would sink in altogether"
    low, high = (rules[f"d_{end}_in_balls"] * test.ball_mm for end in ("min", "max"))
    if option.d_max_mm > high * (1.0 + ON_LIMIT):
        return f"indent of {option.d_max_mm:.2f} mm too large, at most {high:.4g} mm"
    if option.d_min_mm < low * (1.0 - ON_LIMIT):
        return f"indent of {option.d_min_mm:.2f} mm too small, at least {low:.4g} mm"
    return _no_room(option, piece, rules)


def _wrong_index(test: TestCondition, group: Material, hbw: tuple[float, float]) -> str:
    both = group.indices(hbw[0]) & group.indices(hbw[1])
    if not both:
        return (
            f"no one index serves {group.title} from {hbw[0]:g} to {hbw[1]:g} HBW; "
            f"plan the softer and the harder pieces apart"
        )
    if test.has_index(*both):
        return ""
    text = " or ".join(plain_number(i) for i in sorted(both))
    return f"index {test.index:.3g}, {group.title} of this hardness is tested with {text}"


def _no_room(option: Option, piece: Piece, rules: RuleSet) -> str:
    for what, has, needs in (
        ("thickness", piece.thickness_mm, option.thickness_mm),
        ("room to the edge", piece.edge_mm, option.edge_mm),
        ("room between indents", piece.spacing_mm, option.spacing_mm),
        ("surface radius", piece.radius_mm, rules["radius_in_balls"] * option.test.ball_mm),
    ):
        if has is not None and has < needs * (1.0 - ON_LIMIT):
            return f"{what} {plain_number(has)} mm, needs {needs:.2f} mm"
    return ""
