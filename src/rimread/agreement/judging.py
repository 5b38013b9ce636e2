"""When a difference between people and image counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from rimread.agreement.drift import Drift
from rimread.agreement.gauge import Gauge
from rimread.agreement.readings import ImageResult
from rimread.agreement.statistics import Estimate
from rimread.check import Check, Outcome
from rimread.hardness import RuleSet

__all__ = ["image_checks", "operator_checks", "overall_checks", "undecided"]

_EN = "E_n of ISO 13528 and ISO/IEC 17043, from memory"
_BEYOND = 0.05
"""Share of readings that may lie beyond |E_n| = 1: both U are for about 95 %."""


def undecided(found: Estimate, limit_mm: float) -> bool:
    """Whether the data leave open if a figure, of either sign, is beyond a limit."""
    return not found.known or any(
        found.low <= limit <= found.high for limit in (-limit_mm, limit_mm)
    )


def operator_checks(
    name: str,
    *,
    bias: Estimate,
    e_n: Sequence[float],
    repeatability: Estimate | None,
    moved: Drift | None,
    d_mm: float,
    rules: RuleSet,
) -> tuple[Check, ...]:
    """Hold one person's figures against the limit of reading and what both sides claim.

    Only the mean normalised error fails: beyond ±1 the person and the image contradict each other
    by more than their uncertainties allow. The rest asks for a person's eye.
    """
    limit_mm = rules["reading_rel"] * d_mm
    source = rules.source("reading_rel")
    limit = f"{limit_mm:.3f} mm, {rules['reading_rel']:.1%} of d"
    checks = [_mean_error(name, e_n), _single_errors(name, e_n)]
    counts = bias.excludes_zero and abs(bias.value) > limit_mm
    twice = None if repeatability is None else repeatability.scaled(2.0)
    checks.append(
        _check(
            "operator-bias",
            counts,
            f"{name}'s mean difference is {bias.value:+.4f} mm, limit ±{limit}"
            f"{_open(bias, limit_mm)}",
            source,
        )
    )
    if twice is not None:
        checks.append(
            _check(
                "operator-repeatability",
                twice.value > limit_mm,
                f"{name}'s repeats scatter by ±{twice.value:.4f} mm (2 s), limit ±{limit}"
                f"{_open(twice, limit_mm)}",
                source,
            )
        )
    if moved is not None:
        checks.append(
            _check(
                "operator-drift",
                moved.seen and abs(moved.total.value) > limit_mm,
                f"{name}'s readings change by {moved.total.value:+.4f} mm from first to last "
                f"({moved.total.low:+.4f} to {moved.total.high:+.4f}), limit ±{limit}"
                f"{_open(moved.joint, limit_mm)}",
                source,
            )
        )
    return tuple(checks)


def overall_checks(
    biases: Sequence[Estimate], gauge: Gauge | None, *, d_mm: float, rules: RuleSet
) -> tuple[Check, ...]:
    """Hold all people together against the limit of reading."""
    limit_mm = rules["reading_rel"] * d_mm
    source = rules.source("reading_rel")
    checks = []
    if len(biases) > 1:
        mean = sum(bias.value for bias in biases) / len(biases)
        one_way = all(bias.excludes_zero and bias.value * mean > 0.0 for bias in biases)
        message = f"the people's mean differences average {mean:+.4f} mm"
        if one_way:
            message += (
                ", all to one side: look at overlay, scale and scope before the people; "
                "the image may be the one that is off"
            )
        checks.append(_check("all-to-one-side", one_way, message, "common practice, no source"))
    if gauge is not None:
        twice = gauge.reproducibility.sd.scaled(2.0)
        checks.append(
            _check(
                "people-differ",
                twice.value > limit_mm,
                f"people differ from one another by ±{twice.value:.4f} mm (2 s of "
                f"reproducibility), limit ±{limit_mm:.3f} mm, {rules['reading_rel']:.1%} of d"
                f"{_open(twice, limit_mm)}",
                source,
            )
        )
    return tuple(checks)


def image_checks(images: Iterable[ImageResult]) -> tuple[Check, ...]:
    """What failed when the photos were measured that people are held against."""
    photos: dict[str, set[str]] = defaultdict(set)
    for image in images:
        for code in image.failed:
            photos[code].add(image.photo)
    return tuple(
        Check(
            "image-check",
            "warn",
            f"{code} failed when {', '.join(sorted(names))} was measured: people are held against "
            "a result that does not count",
            "the results",
        )
        for code, names in photos.items()
    )


def _mean_error(name: str, e_n: Sequence[float]) -> Check:
    mean = sum(e_n) / len(e_n)
    outcome: Outcome = "fail" if abs(mean) > 1.0 else "pass"
    return Check(
        "operator-mean-error",
        outcome,
        f"{name}'s mean normalised error is {mean:+.2f}, limit ±1",
        _EN,
    )


def _single_errors(name: str, e_n: Sequence[float]) -> Check:
    beyond = sum(abs(value) > 1.0 for value in e_n)
    return _check(
        "operator-readings",
        beyond > _BEYOND * len(e_n),
        f"{beyond} of {name}'s {len(e_n)} readings lie beyond a normalised error of ±1, "
        f"{_BEYOND:.0%} may",
        _EN,
    )


def _open(found: Estimate, limit_mm: float) -> str:
    """What is added where the confidence interval holds the limit."""
    return "; these data do not decide it" if undecided(found, limit_mm) else ""


def _check(code: str, warns: bool, message: str, source: str) -> Check:  # noqa: FBT001
    return Check(code, "warn" if warns else "pass", message, source)
