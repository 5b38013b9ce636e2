"""Diameters as the verbs take them, typed or from results of ``rimread measure``, and those."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rimread.cli._io import expand, say, shown

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from datetime import date

    from rimread.check import Check
    from rimread.hardness import Block, Indent, RuleSet, TestCondition, Verification
    from rimread.report.results import Result

__all__ = ["Given", "held_against", "indents_from", "print_checks", "results_from", "rules_from"]

_PAIR = re.compile(r"([^,]+),([^,]+)")


@dataclass(frozen=True, slots=True)
class Given:
    """Indents of a call, each result once.

    Parameters
    ----------
    indents : tuple of Indent
        In the order of the words.
    refused : int
        How many results hold no diameters.
    checks : tuple of Check
        What failed or was warned of when the results were measured, with its photo or the first
        of several, and two photos that look like one indent.
    pictures : frozenset of str
        Hashes of the photos of the results, where they are known.
    """

    indents: tuple[Indent, ...]
    refused: int
    checks: tuple[Check, ...] = ()
    pictures: frozenset[str] = frozenset()


def rules_from(text: str) -> RuleSet:
    """Rule set by name or from a TOML file."""
    from rimread.hardness.rules import rules_from as chosen  # noqa: PLC0415

    return chosen(text)


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
        single = [_one_diameter()] if len(given) == 1 else []
        return Given((_typed(given[0], given[-1], resolution_mm),), 0, tuple(single))
    indents: list[Indent] = []
    met: dict[str, dict[int, str]] = {}
    seen: dict[int, Result] = {}
    refused = 0
    for word in given:
        pair = _PAIR.fullmatch(word)
        if pair is not None and not Path(word).exists():
            indents.append(_typed(*_with_points(word, *pair.groups()), resolution_mm))
            continue
        if _is_number(word):
            msg = f"several indents are written as pairs D1,D2 like 4.02,4.04 (got {word!r} alone)"
            raise ValueError(msg)
        for result in _results(word, test):
            if result.indent is None:
                say(f"{result.photo} was refused when it was measured and is left out")
                refused += 1
            elif not _came_before(result, met):
                indents.append(result.indent)
                seen[len(indents)] = result
    checks = (*_told(seen.values()), *_twice(seen))
    return Given(tuple(indents), refused, checks, frozenset(filter(None, met)))


def held_against(
    block: Block,
    given: Given,
    test: TestCondition,
    *,
    day: date,
    rules: RuleSet,
    of_piece: frozenset[str] = frozenset(),
) -> Verification:
    """Indents of a test held against the block they are on, with what failed when measured.

    Raises
    ------
    ValueError
        If a photo on the block is one of the piece, too, by their hashes.
    """
    from rimread.hardness import series_from_indents, verify  # noqa: PLC0415

    if given.pictures & of_piece:
        raise ValueError("a photo is of the block or of the piece; one is given as both")
    found = verify(series_from_indents(given.indents, test), block, on=day, rules=rules)
    return replace(found, checks=found.checks + given.checks)


def results_from(word: str) -> tuple[Result, ...]:
    """Results of a file of JSON lines, or on standard input where the word is ``-``.

    Raises
    ------
    ValueError
        If a line is no result; the line is named.
    OSError
        If the file cannot be read.
    """
    from rimread.report.results import read_text, results_from_lines, text_of  # noqa: PLC0415

    if word == "-":
        name = "standard input"
        return results_from_lines(text_of(sys.stdin.buffer.read(), name), name)
    return results_from_lines(read_text(Path(word)), word)


def print_checks(checks: Iterable[Check]) -> None:
    """Checks for people, the source beneath what did not pass."""
    for check in checks:
        print(shown(f"  {check.outcome:4}  {check.code}: {check.message}"))
        if check.outcome != "pass":
            print(f"        source: {check.source}")


def _one_diameter() -> Check:
    from rimread.check import Check  # noqa: PLC0415
    from rimread.hardness.rules import MEMORY  # noqa: PLC0415

    message = (
        "one diameter stands for both, so nothing is known of how round the indent is: read two at "
        "right angles"
    )
    return Check("one-diameter", "warn", message, f"ISO 6506-1, {MEMORY}")


def _typed(first: str, second: str, resolution_mm: float | None) -> Indent:
    from rimread.hardness import Indent, hand_reading, too_unequal  # noqa: PLC0415

    d1, d2 = _millimetres(first), _millimetres(second)
    if too_unequal(d1, d2):
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


def _came_before(result: Result, met: dict[str, dict[int, str]]) -> bool:
    """Whether the same indent of the same picture counts already; people are told of it.

    A picture of one indent has no number of it, which may be any of those where all were measured.
    """
    of_picture = met.setdefault(result.sha256, {})
    same = {result.number, 0} & of_picture.keys() if result.number else of_picture.keys()
    if result.sha256 and same:
        first = of_picture[min(same)]
        say(f"{result.name}: the same picture as {first}; a photo counts once")
        return True
    of_picture[result.number] = result.name
    return False


def _told(results: Iterable[Result]) -> Iterator[Check]:
    """What did not pass when results were measured; what says the same of several, once."""
    met: dict[Check, list[str]] = {}
    for result in results:
        for check in result.checks:
            if check.outcome != "pass":
                met.setdefault(check, []).append(result.name)
    for check, names in met.items():
        more = f" and {len(names) - 1} more" if len(names) > 1 else ""
        yield replace(check, message=f"{names[0]}{more}: {check.message}")


def _twice(seen: dict[int, Result]) -> Iterator[Check]:
    """Results, by the number of the indent, that look like two pictures of one."""
    if not seen:
        return
    from rimread.report.certificate import taken_twice  # noqa: PLC0415  (heavy)

    yield from taken_twice(seen)


def _results(word: str, test: TestCondition) -> Iterator[Result]:
    """Results of a file, each of this test if it was measured."""
    paths = expand([word])
    if word != "-" and not paths[0].exists():
        msg = f"{word!r} is neither diameters in mm, like 4.02 or 4.02,4.04, nor a file of results"
        raise ValueError(msg)
    for result in (one for path in paths for one in results_from(str(path))):
        if result.test is not None and result.test.name != test.name:
            raise ValueError(
                f"{result.photo} was measured under {result.test.name}, not under {test.name}"
            )
        if result.indent is not None and result.indent.budget is None:
            raise ValueError(f"{result.photo}: U_mean_mm is missing")
        yield result
