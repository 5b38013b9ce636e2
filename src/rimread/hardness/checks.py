"""The rules that belong to one indent: size against the ball, roundness, the test itself."""

from __future__ import annotations

from rimread.check import ON_LIMIT, Check, Outcome
from rimread.hardness.condition import TestCondition, plain_number
from rimread.hardness.formula import brinell, hbw_per_mm
from rimread.hardness.rules import RuleSet, rule_set

__all__ = ["diameter_range", "hardness_range", "indent_checks", "ovality", "standard_pair"]

_FAR_TOO_LARGE = 0.75
"""Of the ball: a wrong ball or scale is likelier than a test like that. Own choice."""


def indent_checks(
    d1_mm: float,
    d2_mm: float,
    test: TestCondition,
    *,
    rules: str | RuleSet = "iso",
    U_mean_mm: float | None = None,
) -> tuple[Check, ...]:
    """The checks one indent answers for.

    Parameters
    ----------
    d1_mm, d2_mm : float
        Two orthogonal diameters.
    test : TestCondition
        Ball, force, dwell.
    rules : {"iso", "astm"} or RuleSet
        Whose limits.
    U_mean_mm : float, optional
        Expanded uncertainty of the mean. A mean nearer to its limit than that gets `warn`:
        nobody can say on which side it lies.

    Returns
    -------
    tuple of Check
        Codes ``diameter-range``, ``hardness-range``, ``ovality``, ``standard-pair``.
    """
    chosen = rule_set(rules)
    return (
        diameter_range((d1_mm + d2_mm) / 2.0, test, chosen, U_mean_mm=U_mean_mm),
        hardness_range((d1_mm + d2_mm) / 2.0, test, chosen, U_mean_mm=U_mean_mm),
        ovality(d1_mm, d2_mm, test, chosen),
        standard_pair(test, chosen),
    )


def diameter_range(
    mean_mm: float, test: TestCondition, rules: RuleSet, *, U_mean_mm: float | None = None
) -> Check:
    """Mean diameter between 0.24 and 0.6 ball diameters."""
    low = rules["d_min_in_balls"] * test.ball_mm
    high = rules["d_max_in_balls"] * test.ball_mm
    ratio = mean_mm / test.ball_mm
    inside = low * (1.0 - ON_LIMIT) <= mean_mm <= high * (1.0 + ON_LIMIT)
    margin = min(mean_mm - low, high - mean_mm)
    outcome = _outcome(inside, rules["d_range_binding"])
    note = ""
    if U_mean_mm is not None and abs(margin) < U_mean_mm:
        outcome, note = "warn", "; nearer to the limit than U"
    elif not inside:
        note = "; take a larger force" if mean_mm < low else "; take a smaller force"
        if ratio > _FAR_TOO_LARGE:
            note = f"; first of all check ball, force and scale{note}"
        if not rules["d_range_binding"]:
            note += ", or state d/D in the report"
    message = (
        f"mean diameter {mean_mm:.3f} mm = {ratio:.3f} D, "
        f"{'must' if rules['d_range_binding'] else 'should'} lie within "
        f"{low:.4g} mm to {high:.4g} mm ({rules['d_min_in_balls']:g} D to "
        f"{rules['d_max_in_balls']:g} D){note}"
    )
    source = f"{rules.source('d_max_in_balls')}; {rules.source('d_range_binding')}"
    return Check("diameter-range", outcome, message, source)


def hardness_range(
    mean_mm: float, test: TestCondition, rules: RuleSet, *, U_mean_mm: float | None = None
) -> Check:
    """Hardness up to the most a Brinell test is made for; far beyond it a slip is likelier."""
    most, absurd = rules["most_hbw"], rules["absurd_hbw"]
    hbw = brinell(mean_mm, test)
    message = f"{hbw:.4g} HBW, a Brinell test goes up to {most:g} HBW"
    if hbw > absurd:
        message += f" and no table beyond {absurd:g}: test, scale or indent is not what it seems"
        return Check("hardness-range", "fail", message, rules.source("absurd_hbw"))
    source = f"{rules.source('most_hbw')}; {rules.source('most_hbw_binding')}"
    if U_mean_mm is not None and abs(hbw - most) < abs(hbw_per_mm(mean_mm, test)) * U_mean_mm:
        return Check("hardness-range", "warn", f"{message}; nearer to the limit than U", source)
    inside = hbw <= most * (1.0 + ON_LIMIT)
    if not inside:
        message += "; another method measures such metal"
    return Check("hardness-range", _outcome(inside, rules["most_hbw_binding"]), message, source)


def ovality(d1_mm: float, d2_mm: float, test: TestCondition, rules: RuleSet) -> Check:
    """Difference of the two diameters against 1 % of the ball diameter."""
    limit = rules["ovality_in_balls"] * test.ball_mm
    difference = abs(d1_mm - d2_mm)
    beyond = difference > limit * (1.0 + ON_LIMIT)
    outcome = _outcome(not beyond, rules["ovality_binding"])
    message = (
        f"the diameters differ by {difference:.3f} mm ({difference / max(d1_mm, d2_mm):.1%} of d), "
        f"limit {plain_number(limit)} mm"
    )
    if beyond:
        message += (
            "; look for a tilted surface, a curved one, a rolled or drawn grain, or an edge nearby"
        )
    return Check("ovality", outcome, message, rules.source("ovality_in_balls"))


def standard_pair(test: TestCondition, rules: RuleSet) -> Check:
    """Whether ball and force are one of the 21 pairs."""
    source = "BS EN ISO 6506-1:2005 scale table; other forces by agreement, ISO 6506-1:2014 7.3"
    if rules.base == "astm":
        source += "; ASTM E10 taken as the same, from memory"
    text = f"{plain_number(test.ball_mm)}/{plain_number(test.force_kgf)}"
    if test.is_standard:
        return Check(
            "standard-pair", "pass", f"{text} is a standard pair of ball and force", source
        )
    message = (
        f"{text} (index {test.index:.3g}) is none of the standard's 21 pairs of ball and force; "
        f"it needs an agreement and compares only with the same index"
    )
    return Check("standard-pair", "warn", message, source)


def _outcome(holds: bool, binding: float) -> Outcome:  # noqa: FBT001
    if holds:
        return "pass"
    return "fail" if binding else "warn"
