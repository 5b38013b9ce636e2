"""What a comparison means, in sentences for the people it is about."""

from __future__ import annotations

from collections.abc import Sequence

from rimread.agreement.drift import Drift
from rimread.agreement.gauge import Component
from rimread.agreement.judging import undecided
from rimread.agreement.limits import FEW
from rimread.agreement.model import Comparison, Operator
from rimread.agreement.readings import HumanReading
from rimread.agreement.statistics import Estimate
from rimread.dates import TAKEN
from rimread.hardness import brinell, hbw_per_mm, rounded

__all__ = ["NOT_A_JUDGE", "about_gauge", "about_operator", "about_study", "span_mm"]

NOT_A_JUDGE = (
    "A difference does not say who is right. The image can be off too: a shadow taken for the rim, "
    "a scale of another objective. Look at the overlays before anybody's readings are corrected."
)
_WIDE = 1.1  # indents that differ more in diameter differ by a fifth in hardness
_ORDERS = {
    "time": "over the time of the readings",
    "trial": "from trial {first:g} to trial {last:g}",
    "row": "from the first to the last line of the table",
}


def span_mm(found: Estimate) -> str:
    """Ends of an interval, e.g. ``95 % confidence +0.008 to +0.016 mm``."""
    if not found.known:
        return "a single indent, so no confidence interval"
    return f"95 % confidence {found.low:+.3f} to {found.high:+.3f} mm"


def about_operator(person: Operator, study: Comparison) -> list[str]:
    """Whose readings are off, scatter or drift, by how much, and whether it matters."""
    lines = [_offset(person, study)]
    if person.limits is not None:
        low, high = person.limits.further.low, person.limits.further.high
        lines.append(
            f"One reading alone is expected within {low:+.3f} to {high:+.3f} mm of the image, "
            f"19 times in 20."
        )
    if person.repeatability is not None:
        lines.append(_repeats(person.repeatability, person, study))
    if person.drift is not None:
        lines.append(_drifting(person, study))
    return lines


def about_gauge(study: Comparison) -> list[str]:
    """What the crossed study says, or why there is none."""
    found = study.gauge
    if found is None:
        return [f"No gauge study: {study.no_gauge}."]
    lines = [
        (
            f"Gauge study of {len(found.indents)} indents, {len(found.operators)} people, "
            f"{found.trials} trials each; {_left_out(found.left_out)}."
        ),
        (
            f"The same person again: {_both(found.repeatability, study)}. "
            f"Another person: {_both(found.reproducibility, study)}. "
            f"Both together: {_both(found.people, study)}."
        ),
    ]
    if found.repeatability.hidden:
        lines.append(f"{_too_coarse(study)} s of the same person is taken as that.")
    gone = [c.name for c in found.components if c.was_negative]
    if gone:
        lines.append(
            f"Estimated below zero and set to zero: {', '.join(gone)}. "
            "The readings show nothing of it."
        )
    return lines


def about_study(study: Comparison) -> list[str]:
    """What was held against what, and what decides whether a difference matters."""
    limit = study.rules["reading_rel"]
    lines = [
        f"Test {study.test.name}. {_worth(study)}",
        (
            f"A difference matters beyond {limit:.1%} of d, {limit * study.d_mm:.3f} mm here "
            f"({study.rules.source('reading_rel')})."
        ),
    ]
    if study.resolution_mm is not None:
        how = "as given" if study.resolution_given else "the step of the readings"
        lines.append(
            f"Uncertainty of readings that state none: resolution {study.resolution_mm:g} mm "
            f"({how}) and the permitted error of the scope."
        )
    if study.undated:
        lines.append(_undated(study.undated))
    limits = [o.limits for o in study.operators if o.limits is not None]
    if limits and min(found.indents for found in limits) < FEW:
        lines.append(
            f"With fewer than {FEW} indents the intervals of the limits of agreement are "
            "somewhat too narrow (Carkeet and Goh 2018)."
        )
    return lines


def _undated(readings: Sequence[HumanReading]) -> str:
    """Why drift is not judged over time, by the first line that has no date."""
    first = next((r for r in readings if r.undated), readings[0])
    written = f"the date {first.undated!r} is not understood" if first.undated else "there is none"
    more = f" and {len(readings) - 1} more" if len(readings) > 1 else ""
    return (
        f"Dates: line {first.line}{more} cannot be dated, {written}; taken are {TAKEN}. The drift "
        "of these people is judged by the trials, or the order of the lines, not over time."
    )


def _worth(study: Comparison) -> str:
    """What 0.01 mm is worth at the mean diameter and, where indents differ much, at the ends."""
    widths = [pair.image_mean_mm for person in study.operators for pair in person.pairs]
    least, most = min(widths), max(widths)
    places = {"the mean diameter": study.d_mm}
    if most > _WIDE * least:
        places |= {"the smallest indent": least, "the largest": most}
    parts = [
        f"{abs(hbw_per_mm(d, study.test)) * 0.01:.1f} HBW at {name} "
        f"({d:.3f} mm, {rounded(brinell(d, study.test))} HBW)"
        for name, d in places.items()
    ]
    return f"0.01 mm is {', '.join(parts)}."


def _offset(person: Operator, study: Comparison) -> str:
    bias = person.bias
    count = f"{_count(len(person.pairs), 'reading')} of {_count(person.indents, 'indent')}"
    if bias.known and not bias.excludes_zero:
        return (
            f"{person.name} reads as the image does, as far as {count} can tell: "
            f"mean difference {bias.value:+.3f} mm ({span_mm(bias)})."
        )
    way, hardness = ("larger", "lower") if bias.value > 0.0 else ("smaller", "higher")
    shift = abs(bias.value * hbw_per_mm(person.d_mm, study.test))
    return (
        f"{person.name} reads {abs(bias.value):.3f} mm {way} than the image "
        f"({count}, {span_mm(bias)}). At {_hbw(person, study)} HBW that makes the hardness "
        f"{shift:.1f} HBW {hardness}. {_matters(bias, person, study)}"
    )


def _repeats(found: Estimate, person: Operator, study: Comparison) -> str:
    if found.value <= study.least_sd_mm:
        return f"The same indent again comes out alike, or nearly. {_too_coarse(study)}"
    both = 2.0 * found.value
    in_hbw = abs(both * hbw_per_mm(person.d_mm, study.test))
    return (
        f"The same indent again comes out within ±{both:.3f} mm, ±{in_hbw:.1f} HBW "
        f"(2 s, s = {found.value:.4f} mm, 95 % confidence {found.low:.4f} to {found.high:.4f} mm). "
        f"{_drift_in_it(person)}{_matters(found.scaled(2.0), person, study)}"
    )


def _drift_in_it(person: Operator) -> str:
    moved = person.drift
    seen = moved is not None and moved.order == "trial" and moved.seen
    return "The drift told below is part of it. " if seen else ""


def _drifting(person: Operator, study: Comparison) -> str:
    moved = person.drift
    assert moved is not None  # noqa: S101  (asked only where there is one)
    where = _ORDERS[moved.order].format(first=moved.first, last=moved.last)
    total = moved.total
    if not moved.seen:
        return f"No drift is seen {where}: {total.value:+z.3f} mm ({_drift_span(moved)})."
    way = "grow" if total.value > 0.0 else "shrink"
    shift = total.value * hbw_per_mm(person.d_mm, study.test)
    return (
        f"{person.name}'s readings {way} by {abs(total.value):.3f} mm {where} "
        f"({_drift_span(moved)}), {shift:+.1f} HBW. {_matters(moved.joint, person, study)}"
    )


def _drift_span(moved: Drift) -> str:
    """The interval of one reader, and the one that decides where several are judged together."""
    told = span_mm(moved.total)
    if moved.readers == 1:
        return told
    return (
        f"{told}; with {moved.readers} people judged together "
        f"{100.0 * moved.joint_confidence:.1f} % decides, {moved.joint.low:+.3f} to "
        f"{moved.joint.high:+.3f} mm"
    )


def _too_coarse(study: Comparison) -> str:
    return (
        f"Steps of {study.step_mm:g} mm are too coarse to show scatter: it may still be "
        f"s = {study.least_sd_mm:.4f} mm (step / √12)."
    )


def _matters(found: Estimate, person: Operator, study: Comparison) -> str:
    """Whether a figure is beyond what a reading may be off, as far as its interval tells."""
    limit = study.rules["reading_rel"] * person.d_mm
    off = f"{limit:.4f} mm a reading may be off"
    if not found.known:
        way = "more than" if abs(found.value) > limit else "within"
        return f"That is {way} the {off}; a single indent does not decide whether it matters."
    if undecided(found, limit):
        return (
            f"Whether that matters these data do not decide: the {off} is within the confidence "
            "interval."
        )
    if abs(found.value) > limit:
        return f"That matters: it is more than the {off}."
    return f"That is within the {off}."


def _both(component: Component, study: Comparison) -> str:
    sd = component.sd
    in_hbw = abs(sd.value * hbw_per_mm(study.d_mm, study.test))
    return f"s = {sd.value:.4f} mm ({sd.low:.4f} to {sd.high:.4f}), {in_hbw:.1f} HBW"


def _hbw(person: Operator, study: Comparison) -> str:
    return rounded(brinell(person.d_mm, study.test))


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _left_out(number: int) -> str:
    return "all readings are in it" if number == 0 else f"{_count(number, 'reading')} left out"
