"""Diameters as the verbs take them: typed, or from the results of ``rimread measure --json``."""

from __future__ import annotations

import json
import math
import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimread.cli._io import say

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.budget import Budget
    from rimread.check import Check
    from rimread.hardness import Indent, RuleSet, TestCondition

__all__ = ["Given", "checks_json", "indents_from", "print_checks", "rules_from"]

_PAIR = re.compile(r"([^,]+),([^,]+)")
_MIXED_UNITS = 1.5  # no indent is so oval; a decimal comma or a second unit makes such pairs


@dataclass(frozen=True, slots=True)
class Given:
    """Indents of a call; `refused` counts results that hold no diameters."""

    indents: tuple[Indent, ...]
    refused: int


def rules_from(text: str) -> RuleSet:
    """Rule set by name or from a TOML file."""
    from rimread.hardness import read_rules, rule_set  # noqa: PLC0415

    path = Path(text)
    return read_rules(path) if path.suffix.lower() == ".toml" else rule_set(text)


def indents_from(
    words: Iterable[str], test: TestCondition, *, resolution_mm: float | None = None
) -> Given:
    """Indents from words.

    Parameters
    ----------
    words : iterable of str
        ``D1,D2`` in mm, a file of JSON lines, or ``-`` for such lines on standard input; one or
        two plain numbers alone are the diameters of one indent.
    test : TestCondition
        What results from files must have been measured under.
    resolution_mm : float, optional
        Of typed diameters; without it nothing is known of their uncertainty.

    Raises
    ------
    ValueError
        If a word is none of these, or a result was measured under another test.
    OSError
        If a file cannot be read.
    """
    given = list(words)
    if given and len(given) <= 2 and all(_is_number(word) for word in given):
        return Given((_typed(given[0], given[-1], resolution_mm),), 0)
    indents: list[Indent] = []
    refused = 0
    for word in given:
        pair = _PAIR.fullmatch(word)
        if pair is not None:
            indents.append(_typed(*_with_points(word, *pair.groups()), resolution_mm))
            continue
        if _is_number(word):
            msg = f"several indents are written as pairs D1,D2 like 4.02,4.04 (got {word!r} alone)"
            raise ValueError(msg)
        for place, record in _records(word):
            indent = _measured(place, record, test)
            refused += indent is None
            indents += [] if indent is None else [indent]
    return Given(tuple(indents), refused)


def checks_json(checks: Iterable[Check]) -> list[dict[str, str]]:
    """Checks as the ``--json`` contract has them, with their sources."""
    return [
        {"code": c.code, "outcome": c.outcome, "message": c.message, "source": c.source}
        for c in checks
    ]


def print_checks(checks: Iterable[Check]) -> None:
    """Checks for people, the source beneath what did not pass."""
    for check in checks:
        print(f"  {check.outcome:4}  {check.code}: {check.message}")
        if check.outcome != "pass":
            print(f"        source: {check.source}")


def _typed(first: str, second: str, resolution_mm: float | None) -> Indent:
    from rimread.hardness import Indent, hand_reading  # noqa: PLC0415

    d1, d2 = _millimetres(first), _millimetres(second)
    if max(d1, d2) > _MIXED_UNITS * min(d1, d2):
        msg = (
            f"the two diameters of an indent are nearly equal and both in mm, with a decimal "
            f"point (got {first} and {second})"
        )
        raise ValueError(msg)
    budget = None
    if resolution_mm is not None:
        budget = hand_reading((d1 + d2) / 2.0, resolution_mm=resolution_mm)
    return Indent(d1, d2, budget)


def _with_points(word: str, first: str, second: str) -> tuple[str, str]:
    """Both members of a pair; 4,02 could be one number or two, so it is not taken."""
    if "." in first and "." in second:
        return first, second
    msg = f"a pair D1,D2 is written with decimal points, like 4.02,4.04 (got {word!r})"
    raise ValueError(msg)


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True


def _millimetres(word: str) -> float:
    try:
        value = float(word)
    except ValueError:
        msg = f"a diameter is a number of millimetres without a unit, like 4.02 (got {word!r})"
        raise ValueError(msg) from None
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"a diameter must be above 0 mm (got {word})")
    return value


def _records(word: str) -> Iterator[tuple[str, dict[str, Any]]]:
    if word != "-" and not Path(word).exists():
        msg = f"{word!r} is neither diameters in mm, like 4.02 or 4.02,4.04, nor a file of results"
        raise ValueError(msg)
    name = "standard input" if word == "-" else word
    text = sys.stdin.read() if word == "-" else Path(word).read_text(encoding="utf-8-sig")
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        try:
            record = json.loads(line)
        except json.JSONDecodeError:
            record = None
        if isinstance(record, dict) and set(record) == {"series"}:
            continue  # what measure --average adds
        if not (isinstance(record, dict) and record.get("status") in ("measured", "refused")):
            msg = f"{name} line {number} is no result of rimread measure --json"
            raise ValueError(msg)
        yield f"{name} line {number}", record


def _measured(place: str, record: dict[str, Any], test: TestCondition) -> Indent | None:
    from rimread.hardness import Indent, parse_test  # noqa: PLC0415

    photo = str(record.get("photo") or place)
    if record["status"] == "refused":
        say(f"{photo} was refused when it was measured and is left out")
        return None
    under = record.get("test")
    if isinstance(under, str) and parse_test(under).name != test.name:
        raise ValueError(f"{photo} was measured under {under}, not under {test.name}")
    d1, d2 = (_number(place, record, key) for key in ("d1_mm", "d2_mm"))
    return Indent(d1, d2, _budget(place, record), photo)


def _number(place: str, record: dict[str, Any], key: str) -> float:
    value = record.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{place}: {key} must be a number (got {value!r})")  # noqa: TRY004
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{place}: {key} must be above 0 (got {value!r})")
    return float(value)


def _budget(place: str, record: dict[str, Any]) -> Budget:
    """Budget of a result; what is not said to differ from indent to indent is common to all."""
    from rimread.budget import Component, combine  # noqa: PLC0415

    parts = record.get("budget_mm")
    if not parts:
        U, k = _number(place, record, "U_mean_mm"), _number(place, record, "k")
        return combine([Component("reading", U / k, how="U of the result", common=True)])
    if not isinstance(parts, list):
        raise ValueError(f"{place}: budget_mm must be a list (got {parts!r})")  # noqa: TRY004
    try:
        return combine(
            Component(
                name=str(part["name"]),
                u=float(part["u_mm"]),
                dof=math.inf if part.get("dof") is None else float(part["dof"]),
                how=str(part.get("how", "")),
                common=bool(part.get("common", True)),
            )
            for part in parts
        )
    except (KeyError, TypeError, AttributeError) as error:
        msg = f"{place}: each part of budget_mm needs a name and u_mm ({error})"
        raise ValueError(msg) from error
