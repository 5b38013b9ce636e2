"""The limits of the two rule sets, each with its source, and a lab's own file over them.

Most bodies of the standards could not be read while this was written. A limit that was read in
print names where; the rest say "from memory". A lab that owns the standard writes a rules file
(`read_rules`) beside its copy and the memory is out of play.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from rimread.toml import from_toml, known_only

__all__ = ["ASTM", "ISO", "RULE_SETS", "Limit", "RuleSet", "read_rules", "rule_set", "rules_from"]

MEMORY: Final = "from memory"
_IS1587: Final = "ISO 6506-1, read in the summary of IS 1587:1993"
_GUIDE: Final = "ISO 6506-1:2005, read in a hardness guide that cites it"
_SCOPE: Final = (  # SIST EN ISO 6506-1:2006 and EN ISO 6506-1:2014 at standards.iteh.ai
    "ISO 6506-1:2005 clause 1 (scope), read in a standards catalogue; that of 2014 names no limit"
)
_OLD_SPLIT: Final = (
    "ISO 6506-2:2005 table, from memory; since 2017 the ranges follow the force-diameter index"
)
_E10_A1: Final = "ASTM E10 annex A1, from memory, unsure"


@dataclass(frozen=True, slots=True)
class Limit:
    """One figure of a rule set and where it comes from."""

    value: float
    source: str


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Named limits.

    Parameters
    ----------
    name : str
        ``"iso"`` or ``"astm"``, or the stem of the lab's file.
    title : str
        For people.
    limits : mapping of str to Limit
        The names of `ISO`; lengths are in multiples (of d, D or h) as the name says. Where a
        ``_binding`` limit is 0, going beyond the rule is a warning and not a failure.
    repeatability_on : {"hbw", "d"}
        Whether the range of block indents is taken on HBW or on mean diameters. 1 % of d is
        about 2 % of HBW, so the two must not be mixed.
    base : {"iso", "astm"}
        Of whose rules what the lab's file does not name stays.
    """

    name: str
    title: str
    limits: Mapping[str, Limit]
    repeatability_on: str
    base: str

    def __getitem__(self, name: str) -> float:
        """Value of one limit."""
        return self.limits[name].value

    def source(self, name: str) -> str:
        """Source of one limit."""
        return self.limits[name].source


def _set(name: str, title: str, on: str, limits: Mapping[str, tuple[float, str]]) -> RuleSet:
    made = {key: Limit(*pair) for key, pair in limits.items()}
    return RuleSet(name, title, MappingProxyType(made), on, base=name)


_ISO_LIMITS: Final[Mapping[str, tuple[float, str]]] = {
    "d_min_in_balls": (0.24, _IS1587),
    "d_max_in_balls": (0.6, _IS1587),
    "d_range_binding": (0.0, "GB/T 231.1-2018 7.4 (mod. ISO 6506-1:2014): outside, state d/D"),
    "most_hbw": (650.0, _SCOPE),
    "most_hbw_binding": (0.0, "goes with d_range_binding: 650 HBW is d = 0.24 D at 0.102 F/D² 30"),
    "absurd_hbw": (900.0, "printed 10/3000 tables end at 899 HBW (2.05 mm)"),
    "thickness_in_depths": (8.0, "ISO 6506-1:2014 6.3"),
    "edge_in_d": (2.5, f"{_IS1587}; GB/T 231.1 the same"),
    "spacing_in_d": (3.0, f"{_IS1587}; GB/T 231.1 the same"),
    "soft_below_hbw": (35.0, "GOST 9012-type method text"),
    "edge_in_d_soft": (3.0, "GOST 9012-type method text; GB/T 231.1: more for soft metals"),
    "spacing_in_d_soft": (6.0, "GOST 9012-type method text; GB/T 231.1: more for soft metals"),
    "ovality_in_balls": (0.01, "common practice after ASTM E10, from memory; ISO names no limit"),
    "ovality_binding": (0.0, "ISO 6506-1 names no limit, from memory: a warning only"),
    "radius_in_balls": (2.5, "common practice after ASTM E10, from memory; ISO names no limit"),
    "radius_binding": (0.0, "ISO 6506-1 names no limit, from memory: a warning only"),
    "temperature_min_c": (10.0, "ISO 6506-1:2014 7.1"),
    "temperature_max_c": (35.0, "ISO 6506-1:2014 7.1"),
    "application_min_s": (2.0, _GUIDE),
    "application_max_s": (8.0, _GUIDE),
    "dwell_min_s": (10.0, _GUIDE),
    "dwell_max_s": (15.0, _GUIDE),
    "roughness_ra_um": (1.6, "GB/T 231.1-2009, a recommendation"),
    "force_rel": (0.01, f"ISO 6506-2, {MEMORY}"),
    "ball_tolerance_10_mm": (0.005, f"ISO 6506-2, {MEMORY}; a shop procedure prints the same"),
    "ball_tolerance_5_mm": (0.004, f"ISO 6506-2, {MEMORY}"),
    "ball_tolerance_small_mm": (0.003, f"ISO 6506-2, {MEMORY}"),
    "class_low_hbw": (125.0, _OLD_SPLIT),
    "class_high_hbw": (225.0, _OLD_SPLIT),
    "error_rel_low": (0.03, _OLD_SPLIT),
    "error_rel_mid": (0.025, _OLD_SPLIT),
    "error_rel_high": (0.02, f"{_OLD_SPLIT}; ±2 % near 250 HBW read in a laboratory's notes"),
    "repeatability_rel_low": (0.03, _OLD_SPLIT),
    "repeatability_rel_mid": (0.025, _OLD_SPLIT),
    "repeatability_rel_high": (0.02, _OLD_SPLIT),
    "reading_rel": (0.005, f"ISO 6506-2, {MEMORY}"),
    "verify_every_days": (1.0, "common practice, no source: each day of use"),
    "scope_every_days": (182.0, "a shop's Brinell procedure (2019): scope twice a year"),
    "machine_every_days": (365.0, f"ISO 6506-2, {MEMORY}; a shop's Brinell procedure (2019)"),
}

ISO: Final = _set("iso", "ISO 6506-1/-2", "hbw", _ISO_LIMITS)
"""ISO 6506-1:2014 and -2, as far as they could be read.

Repeatability is held on HBW, the stricter of the two ways of reading that could not be settled.
"""

_E10: Final = f"ASTM E10, {MEMORY}"
_ASTM_CHANGES: Final[Mapping[str, tuple[float, str]]] = {
    "d_min_in_balls": (0.24, _E10),
    "d_max_in_balls": (0.6, _E10),
    "d_range_binding": (1.0, _E10),
    "most_hbw": (650.0, _E10),
    "most_hbw_binding": (1.0, _E10),
    "thickness_in_depths": (10.0, f"{_E10}; a shop's Brinell procedure prints the same"),
    "edge_in_d": (2.5, _E10),
    "spacing_in_d": (3.0, _E10),
    "soft_below_hbw": (0.0, f"{_E10}: no rule of its own for soft metals"),
    "ovality_in_balls": (0.01, _E10),
    "ovality_binding": (1.0, _E10),
    "radius_in_balls": (2.5, _E10),
    "radius_binding": (1.0, _E10),
    "temperature_min_c": (10.0, _E10),
    "temperature_max_c": (35.0, _E10),
    "application_min_s": (1.0, _E10),
    "application_max_s": (8.0, _E10),
    "dwell_min_s": (10.0, _E10),
    "dwell_max_s": (15.0, _E10),
    "class_low_hbw": (125.0, _E10_A1),
    "class_high_hbw": (225.0, _E10_A1),
    "error_rel_low": (0.03, _E10_A1),
    "error_rel_mid": (0.03, _E10_A1),
    "error_rel_high": (0.03, _E10_A1),
    "repeatability_rel_low": (0.03, _E10_A1),
    "repeatability_rel_mid": (0.025, _E10_A1),
    "repeatability_rel_high": (0.02, _E10_A1),
    "reading_rel": (0.005, f"ISO 6506-2, {MEMORY}; taken for ASTM as well"),
}

ASTM: Final = _set("astm", "ASTM E10", "d", {**_ISO_LIMITS, **_ASTM_CHANGES})
"""ASTM E10; repeatability on mean diameters (E10-08 3.2.2)."""

RULE_SETS: Final[Mapping[str, RuleSet]] = MappingProxyType({"iso": ISO, "astm": ASTM})


def rule_set(rules: str | RuleSet) -> RuleSet:
    """Rule set by name; a rule set passes through.

    Raises
    ------
    ValueError
        If the name is unknown.
    """
    if isinstance(rules, RuleSet):
        return rules
    if rules not in RULE_SETS:
        msg = f"rules must be one of {', '.join(RULE_SETS)}, or a rules file (got {rules!r})"
        raise ValueError(msg)
    return RULE_SETS[rules]


def read_rules(path: Path) -> RuleSet:
    """Rule set from a TOML file that changes limits of a base set.

    The file holds ``base`` ("iso" or "astm"), ``source`` (the copy the figures were read in),
    optionally ``title`` and ``repeatability_on``, and a table ``[limits]`` of numbers::

        base = "iso"
        source = "our copy of ISO 6506-1:2014"

        [limits]
        spacing_in_d = 3.0

    Raises
    ------
    OSError
        If the file cannot be read.
    ValueError
        If it is no TOML, names an unknown limit or gives no source.
    """
    return from_toml(path, "rules file", lambda values: _over_base(values, path.stem))


def rules_from(text: str) -> RuleSet:
    """Rule set by name, or from a file whose name ends in .toml."""
    path = Path(text)
    return read_rules(path) if path.suffix.lower() == ".toml" else rule_set(text)


def _over_base(data: Mapping[str, Any], name: str) -> RuleSet:
    known_only(data, ("base", "source", "title", "repeatability_on", "limits"))
    base = RULE_SETS.get(str(data.get("base")))
    if base is None:
        raise ValueError(f'base must be "iso" or "astm" (got {data.get("base")!r})')
    source = data.get("source")
    if not (isinstance(source, str) and source.strip()):
        raise ValueError("source must say which copy of the standard the figures were read in")
    on = data.get("repeatability_on", base.repeatability_on)
    if on not in ("hbw", "d"):
        raise ValueError(f'repeatability_on must be "hbw" or "d" (got {on!r})')
    limits = dict(base.limits)
    table = data.get("limits", {})
    if not isinstance(table, dict):
        raise ValueError(f"limits must be a table [limits] of numbers (got {table!r})")  # noqa: TRY004
    for key, value in table.items():
        limits[key] = Limit(_limit_value(key, value, base), source)
    title = data.get("title", name)
    if not isinstance(title, str):
        raise ValueError(f"title must be text (got {title!r})")  # noqa: TRY004
    return RuleSet(name, title, MappingProxyType(limits), on, base=base.name)


def _limit_value(key: str, value: object, base: RuleSet) -> float:
    if key not in base.limits:
        raise ValueError(f"unknown limit {key!r}; known are {', '.join(sorted(base.limits))}")
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"limit {key} must be a number (got {value!r})")  # noqa: TRY004
    if not (math.isfinite(value) and (value >= 0.0 or key.endswith("_c"))):
        raise ValueError(f"limit {key} must be finite and not negative (got {value!r})")
    return float(value)
