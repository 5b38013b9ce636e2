"""Each person held against the image, and the people against each other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

import numpy as np

from rimread.agreement.drift import Drift, Order, drift
from rimread.agreement.gauge import Gauge, gauge_study
from rimread.agreement.judging import image_checks, operator_checks, overall_checks
from rimread.agreement.limits import limits_of_agreement
from rimread.agreement.matching import Match, Results, of_one_photo
from rimread.agreement.model import Comparison, Operator, Pair, mean_diameter
from rimread.agreement.naming import same_trial
from rimread.agreement.readings import HumanReading, ImageResult, resolution_of
from rimread.agreement.statistics import (
    mean_with_interval,
    one_way,
    sd_with_interval,
    step_sd,
)
from rimread.hardness import (
    RuleSet,
    TestCondition,
    hand_reading,
    not_of_one_indent,
    rule_set,
)
from rimread.names import folded
from rimread.table import Problem

__all__ = ["compare", "reading_order"]


def compare(
    readings: Sequence[HumanReading],
    results: Iterable[ImageResult],
    *,
    test: TestCondition | None = None,
    resolution_mm: float | None = None,
    scope_rel: float | None = None,
    rules: str | RuleSet = "iso",
) -> Comparison:
    """Hold people's readings against the image.

    Parameters
    ----------
    readings : sequence of HumanReading
        From `read_human`.
    results : iterable of ImageResult
        From `read_results` or `image_result`.
    test : TestCondition, optional
        Ball and force; what the results say when left out. Results under another test are left
        out.
    resolution_mm : float, optional
        Smallest step a person tells apart, for readings that state no U, and for the scatter that
        steps hide; the readings' own step when left out.
    scope_rel : float, optional
        Relative permitted error of the scope in the same U; the limit of ISO 6506-2 when left out.
    rules : {"iso", "astm"} or RuleSet
        Whose limit of reading decides what matters.

    Raises
    ------
    ValueError
        If no test is known, the results name several, or not one reading has a result.
    """
    known = list(results)
    chosen = rule_set(rules)
    condition = test or _only_test(known)
    matched, unmatched = _matched(readings, Results(known), condition)
    if not matched:
        why = f"; {unmatched[0]}" if unmatched else ""
        raise ValueError(f"not one reading has a result of the image to be held against{why}")
    silent = [human for human, _ in matched if human.U_mm is None]
    step = None if not silent else resolution_mm or resolution_of(silent)
    pairs = [
        Pair(human, image, condition, _U_human(human, step, scope_rel)) for human, image in matched
    ]
    grid = resolution_mm or resolution_of(human for human, _ in matched)
    people = _by_operator(pairs)
    readers = sum(_drift(own, 1, 0.0) is not None for own in people.values())
    operators = tuple(
        _operator(name, own, chosen, readers=max(readers, 1), least_sd=step_sd(grid))
        for name, own in people.items()
    )
    gauge, no_gauge = _gauge(people, step_sd(grid))
    d_mm = mean_diameter(pairs)
    return Comparison(
        test=condition,
        operators=operators,
        gauge=gauge,
        no_gauge=no_gauge,
        checks=(
            *overall_checks([o.bias for o in operators], gauge, d_mm=d_mm, rules=chosen),
            *image_checks(image for _, image in matched),
        ),
        unmatched=tuple(unmatched),
        resolution_mm=step,
        resolution_given=resolution_mm is not None,
        step_mm=grid,
        rules=chosen,
        d_mm=d_mm,
    )


# -- readings and results -------------------------------------------------------------------------


def _only_test(results: Sequence[ImageResult]) -> TestCondition:
    tests = {result.test.name: result.test for result in results if result.test is not None}
    if len(tests) == 1:
        return next(iter(tests.values()))
    if results and all(result.refused for result in results):
        first = results[0]
        raise ValueError(f"every photo was refused; the first, {first.photo}: {first.refused}")
    if not tests:
        raise ValueError("the results name no test: say it with --test, like 10/3000")
    raise ValueError(
        f"one comparison holds for one test, the results have {', '.join(sorted(tests))}: "
        "choose with --test"
    )


def _matched(
    readings: Sequence[HumanReading], results: Results, test: TestCondition
) -> tuple[list[Match], list[Problem]]:
    matched: list[Match] = []
    unmatched: list[Problem] = []
    for human in readings:
        found = results.find(human.photo, human.sha256)
        why = found if isinstance(found, str) else _unlike(human, found, test)
        if isinstance(found, str) or why:
            unmatched.append(Problem(human.line, why))
        else:
            matched.append((human, found))
    matched, unclear = of_one_photo(readings, matched)
    return matched, sorted([*unmatched, *unclear], key=lambda problem: problem.line)


def _unlike(human: HumanReading, image: ImageResult, test: TestCondition) -> str:
    """Why a reading cannot be of this result, "" when it can."""
    if image.test is not None and image.test.name != test.name:
        return f"{human.photo!r} was measured under {image.test.name}, not under {test.name}"
    of_image = (image.d1_mm + image.d2_mm) / 2.0
    if far := not_of_one_indent(human.mean_mm, of_image):
        return far
    if max(human.mean_mm, of_image) >= test.ball_mm:
        return f"{of_image:.3f} mm is no indent of a ball of {test.ball_mm:g} mm: check the test"
    return ""


def _U_human(human: HumanReading, step: float | None, scope_rel: float | None) -> float:  # noqa: N802
    if human.U_mm is not None:
        return human.U_mm
    assert step is not None  # noqa: S101  (there is a step whenever a reading states no U)
    return hand_reading(human.mean_mm, resolution_mm=step, scope_rel=scope_rel).U


def _by_operator(pairs: Iterable[Pair]) -> dict[str, list[Pair]]:
    """Each person's pairs under the name as first written; other spellings of it are the same."""
    names: dict[str, str] = {}
    people: dict[str, list[Pair]] = {}
    for pair in pairs:
        name = names.setdefault(folded(pair.human.operator), pair.human.operator)
        people.setdefault(name, []).append(pair)
    return people


def _by_indent(pairs: Iterable[Pair]) -> dict[str, list[Pair]]:
    indents: dict[str, list[Pair]] = defaultdict(list)
    for pair in pairs:
        indents[pair.image.photo].append(pair)
    return dict(indents)


# -- one person -----------------------------------------------------------------------------------


def _operator(
    name: str, pairs: list[Pair], rules: RuleSet, *, readers: int, least_sd: float
) -> Operator:
    groups = [[p.difference_mm for p in own] for own in _by_indent(pairs).values()]
    within = one_way(groups).within
    bias = mean_with_interval([float(np.mean(group)) for group in groups], least_sd=least_sd)
    repeatability = (
        sd_with_interval(within.ms, within.dof, least_sd=least_sd) if within.dof else None
    )
    moved = _drift(pairs, readers, least_sd)
    errors = [pair.e_n for pair in pairs]
    mean_e_n = float(np.mean(errors))
    return Operator(
        name=name,
        pairs=tuple(pairs),
        bias=bias,
        repeatability=repeatability,
        limits=limits_of_agreement(groups, least_sd=least_sd) if len(groups) > 1 else None,
        drift=moved,
        mean_e_n=mean_e_n,
        checks=operator_checks(
            name,
            bias=bias,
            e_n=errors,
            repeatability=repeatability,
            moved=moved,
            d_mm=mean_diameter(pairs),
            rules=rules,
        ),
    )


def _drift(pairs: Sequence[Pair], readers: int, least_sd: float) -> Drift | None:
    order, places = reading_order([pair.human for pair in pairs])
    differences = [pair.difference_mm for pair in pairs]
    indents = [pair.image.photo for pair in pairs]
    return drift(differences, places, indents, order=order, readers=readers, least_sd=least_sd)


def reading_order(readings: Sequence[HumanReading]) -> tuple[Order, list[float]]:
    """Time in days where every row has one, else trials in the order they come, else rows.

    Times and trials that are all the same put nothing in order.
    """
    times = [reading.when for reading in readings if reading.when is not None]
    if len(times) == len(readings) and len(set(times)) > 1:
        return "time", [(when - min(times)).total_seconds() / 86400.0 for when in times]
    trials = [same_trial(reading.trial) for reading in readings]
    if all(trials) and len(set(trials)) > 1:
        if all(trial.isdecimal() for trial in trials):
            return "trial", [float(trial) for trial in trials]
        labels = list(dict.fromkeys(trials))
        return "trial", [float(labels.index(trial) + 1) for trial in trials]
    return "row", [float(place) for place in range(1, len(readings) + 1)]


# -- all together ---------------------------------------------------------------------------------


def _gauge(people: dict[str, list[Pair]], least_sd: float) -> tuple[Gauge | None, str]:
    """The largest balanced part of the readings as a crossed study, or why there is none."""
    if len(people) < 2:
        return None, "it needs two or more people"
    cells = {name: _by_indent(pairs) for name, pairs in people.items()}
    shared = [
        photo
        for photo in next(iter(cells.values()))
        if all(len(cell.get(photo, ())) > 1 for cell in cells.values())
    ]
    if len(shared) < 2:
        return None, "it needs two or more indents that everybody read twice or more"
    trials = min(len(cell[photo]) for cell in cells.values() for photo in shared)
    values = np.array(
        [
            [[p.human.mean_mm for p in cell[photo][:trials]] for cell in cells.values()]
            for photo in shared
        ]
    )
    left_out = sum(map(len, people.values())) - values.size
    names = tuple(shared), tuple(cells)
    return gauge_study(values, *names, left_out=left_out, least_sd=least_sd), ""
