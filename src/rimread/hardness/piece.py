"""The rules that tie an indent to its piece: thickness, spacing, edges, curvature, the room."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from rimread.check import ON_LIMIT, Check, Outcome
from rimread.hardness.condition import TestCondition, plain_number
from rimread.hardness.formula import brinell, depth_mm
from rimread.hardness.materials import index_check, material
from rimread.hardness.rules import RuleSet, rule_set

__all__ = ["TEMPERATURE_C", "Piece", "distance_rule", "explained_by_lay", "piece_checks"]

_ALONG_DEG = 20.0  # nearer than this to the lay counts as along it: own choice, no source

TEMPERATURE_C = (-50.0, 100.0)
"""Where a room or a yard can be; beyond it is a slip of the pen: own choice, no source."""

_WORDS = {
    "thickness_mm": ("thickness", "mm"),
    "edge_mm": ("distance to the edge", "mm"),
    "spacing_mm": ("spacing", "mm"),
    "neighbour_mm": ("diameter of the next indent", "mm"),
    "radius_mm": ("radius", "mm"),
    "temperature_c": ("temperature", "°C"),
    "application_s": ("time to full force", "s"),
}
"""Figures of a `Piece` in words, and their unit."""


@dataclass(frozen=True, slots=True)
class Piece:
    """What is known of the piece and the test's surroundings; None is not checked.

    Parameters
    ----------
    material : str or None
        Group, a key of `rimread.hardness.materials.MATERIALS`.
    thickness_mm : float or None
        At the indent.
    edge_mm, spacing_mm : float or None
        From the indent's centre to the nearest edge and to the nearest other indent's centre.
    neighbour_mm : float or None
        Mean diameter of that other indent, where it is known; the larger of the two counts.
    radius_mm : float or None
        Of a curved surface.
    temperature_c, application_s : float or None
        Of the test, and the time to full force.
    """

    material: str | None = None
    thickness_mm: float | None = None
    edge_mm: float | None = None
    spacing_mm: float | None = None
    neighbour_mm: float | None = None
    radius_mm: float | None = None
    temperature_c: float | None = None
    application_s: float | None = None

    def __post_init__(self) -> None:
        if self.material is not None:
            material(self.material)
        for name, (words, unit) in _WORDS.items():
            value = getattr(self, name)
            if value is not None and not math.isfinite(value):
                raise ValueError(f"{words} must be a finite number of {unit} (got {value})")
            if value is not None and unit != "°C" and value <= 0.0:
                raise ValueError(f"{words} must be above 0 {unit} (got {value:g})")
        low, high = TEMPERATURE_C
        if self.temperature_c is not None and not low <= self.temperature_c <= high:
            raise ValueError(
                f"temperature must lie in {low:g} °C to {high:g} °C (got {self.temperature_c:g})"
            )


def piece_checks(
    mean_mm: float, test: TestCondition, piece: Piece, *, rules: str | RuleSet = "iso"
) -> tuple[Check, ...]:
    """Checks of one indent on its piece.

    Parameters
    ----------
    mean_mm : float
        Mean diameter.
    test : TestCondition
        Ball, force, dwell.
    piece : Piece
        What is known; what is None gives no check.
    rules : {"iso", "astm"} or RuleSet
        Whose limits.

    Returns
    -------
    tuple of Check
        Codes ``thickness``, ``edge``, ``spacing``, ``curvature``, ``temperature``,
        ``application``, ``dwell``, ``material-index``, those that can be told.
    """
    chosen = rule_set(rules)
    hbw = brinell(mean_mm, test)
    found = (
        _thickness(mean_mm, test, piece, chosen),
        _distance("edge", piece.edge_mm, mean_mm, hbw, chosen),
        _spacing(piece, mean_mm, hbw, chosen),
        _curvature(test, piece, chosen),
        _window("temperature", piece.temperature_c, "c", "°C", chosen),
        _window("application", piece.application_s, "s", "s", chosen),
        _window("dwell", test.dwell_s, "s", "s", chosen),
        None if piece.material is None else index_check(test, hbw, material(piece.material)),
    )
    return tuple(check for check in found if check is not None)


def explained_by_lay(check: Check, d1_deg: float, lay_deg: float) -> Check:
    """An ovality check that did not pass, with what the lay of the surface says to it.

    Parameters
    ----------
    check : Check
        From `rimread.hardness.indent_checks`.
    d1_deg, lay_deg : float
        Directions of the longer diameter and of the grinding marks or the cylinder's axis.
    """
    if check.outcome == "pass":
        return check
    off = abs((d1_deg - lay_deg + 90.0) % 180.0 - 90.0)
    if off <= _ALONG_DEG:
        says = "the long diameter lies along the lay, which can explain it"
    elif off >= 90.0 - _ALONG_DEG:
        says = "the long diameter lies across the lay, which can explain it"
    else:
        says = f"the long diameter lies {off:.0f}° off the lay, which does not explain it"
    return replace(check, message=f"{check.message}; {says}")


def _thickness(mean_mm: float, test: TestCondition, piece: Piece, rules: RuleSet) -> Check | None:
    if piece.thickness_mm is None:
        return None
    depth = depth_mm(mean_mm, test)
    least = rules["thickness_in_depths"] * depth
    message = (
        f"thickness {plain_number(piece.thickness_mm)} mm, at least {least:.2f} mm = "
        f"{rules['thickness_in_depths']:g} h with h = {depth:.3f} mm"
    )
    good = piece.thickness_mm >= least * (1.0 - ON_LIMIT)
    if not good:
        message += "; take a smaller force, and look for a mark on the back"
    return Check(
        "thickness", "pass" if good else "fail", message, rules.source("thickness_in_depths")
    )


def _distance(
    what: str, found_mm: float | None, mean_mm: float, hbw: float, rules: RuleSet
) -> Check | None:
    if found_mm is None:
        return None
    name = distance_rule(what, hbw, rules)
    least = rules[name] * mean_mm
    start = "centre to edge" if what == "edge" else "centre to next centre"
    away = plain_number(round(found_mm, 3))
    message = f"{start} {away} mm, at least {least:.2f} mm = {rules[name]:g} d"
    good = found_mm >= least * (1.0 - ON_LIMIT)
    return Check(what, "pass" if good else "fail", message, rules.source(name))


def distance_rule(what: str, hbw: float, rules: RuleSet) -> str:
    """Name of the limit for "edge" or "spacing", in diameters, of metal of this hardness."""
    soft = hbw < rules["soft_below_hbw"] * (1.0 - ON_LIMIT)
    return f"{what}_in_d_soft" if soft else f"{what}_in_d"


def _spacing(piece: Piece, mean_mm: float, hbw: float, rules: RuleSet) -> Check | None:
    if piece.neighbour_mm is None or piece.neighbour_mm <= mean_mm:
        return _distance("spacing", piece.spacing_mm, mean_mm, hbw, rules)
    check = _distance("spacing", piece.spacing_mm, piece.neighbour_mm, hbw, rules)
    return check and replace(check, message=f"{check.message} of the larger indent")


def _curvature(test: TestCondition, piece: Piece, rules: RuleSet) -> Check | None:
    if piece.radius_mm is None:
        return None
    least = rules["radius_in_balls"] * test.ball_mm
    outcome: Outcome = "pass"
    if piece.radius_mm < least:
        outcome = "fail" if rules["radius_binding"] else "warn"
    message = (
        f"surface radius {plain_number(piece.radius_mm)} mm, at least {plain_number(least)} mm = "
        f"{rules['radius_in_balls']:g} D; grind a flat or take a smaller ball below it"
    )
    return Check("curvature", outcome, message, rules.source("radius_in_balls"))


def _window(what: str, found: float | None, key: str, unit: str, rules: RuleSet) -> Check | None:
    if found is None:
        return None
    low, high = rules[f"{what}_min_{key}"], rules[f"{what}_max_{key}"]
    good = low <= found <= high
    message = f"{what} {found:g} {unit}, normally {low:g} {unit} to {high:g} {unit}"
    if not good:
        message += "; say so in the report"
    return Check(what, "pass" if good else "warn", message, rules.source(f"{what}_min_{key}"))
