"""Simulated people whose faults are known must be told apart."""

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from rimread.agreement import HumanReading, ImageResult, compare
from rimread.agreement.judging import operator_checks
from rimread.agreement.page import page_html
from rimread.agreement.record import comparison_json
from rimread.agreement.statistics import Estimate
from rimread.agreement.study import reading_order
from rimread.agreement.words import about_gauge, about_operator, about_study
from rimread.hardness import TestCondition, brinell, hbw_per_mm, rule_set

SHOP = TestCondition(10, 3000)
IMAGES = [
    ImageResult(f"plate-{k}.jpg", "", d + 0.01, d - 0.01, 30.0 * k, 0.006, SHOP)
    for k, d in enumerate((3.9, 3.95, 4.0, 4.05, 4.1, 4.15, 4.2, 4.25))
]


def read_by(name, *, offset=0.0, scatter=0.0, change=0.0, trials=3, seed=1, images=IMAGES):
    rng = np.random.default_rng(seed)
    readings = []
    for trial, image in product(range(1, trials + 1), images):
        off = offset + change * (trial - 1)
        d1, d2 = (
            round(image.at_angle(angle) + off + scatter * rng.normal(), 3) for angle in (0.0, 90.0)
        )
        readings.append(
            HumanReading(len(readings) + 2, image.photo, name, d1, d2, trial=str(trial))
        )
    return readings


def outcomes(person):
    return {check.code: check.outcome for check in person.checks}


def test_a_good_reader():
    study = compare(read_by("Anna", scatter=0.003), IMAGES)
    (anna,) = study.operators
    assert set(outcomes(anna).values()) == {"pass"}
    assert not study.failed
    assert anna.bias.low < 0.0 < anna.bias.high
    # two orthogonal diameters are averaged
    assert anna.repeatability.value == pytest.approx(0.003 / np.sqrt(2), rel=0.35)
    assert "as the image does" in about_operator(anna, study)[0]


def test_an_offset_beyond_both_uncertainties_fails():
    study = compare(read_by("Ben", offset=0.05, scatter=0.003), IMAGES)
    (ben,) = study.operators
    assert study.failed
    assert outcomes(ben)["operator-mean-error"] == "fail"
    assert outcomes(ben)["operator-bias"] == "warn"
    assert ben.beyond == len(ben.pairs)
    sentence = about_operator(ben, study)[0]
    shift = 0.05 * abs(hbw_per_mm(ben.d_mm, SHOP))
    assert f"{shift:.0f}" in sentence
    assert "larger than the image" in sentence
    assert "lower" in sentence
    assert "That matters" in sentence


def test_an_offset_that_can_be_seen_and_hardly_matters():
    study = compare(read_by("Dora", offset=-0.008, scatter=0.002), IMAGES)
    (dora,) = study.operators
    assert set(outcomes(dora).values()) == {"pass"}
    sentence = about_operator(dora, study)[0]
    assert "smaller than the image" in sentence
    assert "higher" in sentence
    assert "within" in sentence


def test_one_reading_alone_allows_for_how_few_there_are():
    """The prediction interval of `rimread.agreement.limits`, not 1.96 s."""
    study = compare(read_by("Anna", scatter=0.01, trials=1, images=IMAGES[:3]), IMAGES)
    (anna,) = study.operators
    off = [pair.difference_mm for pair in anna.pairs]
    half = stats.t(2).ppf(0.975) * np.std(off, ddof=1) * np.sqrt(4 / 3)
    low, high = np.mean(off) - half, np.mean(off) + half
    said = f"expected within {low:+.3f} to {high:+.3f} mm of the image, 19 times in 20"
    assert said in " ".join(about_operator(anna, study))
    told = comparison_json(study)["operators"][0]["further_reading_mm"]
    assert (told["low"], told["high"]) == pytest.approx((low, high))


def test_alike_readings_are_not_told_to_have_no_scatter():
    images = [replace(image, d1_mm=image.d2_mm) for image in IMAGES]
    people = [*read_by("Anna", images=images), *read_by("Ben", images=images)]
    study = compare([replace(p, d1_mm=p.d1_mm + 0.01) for p in people], images, resolution_mm=0.05)
    anna, _ = study.operators
    said = " ".join(about_operator(anna, study))
    assert "Steps of 0.05 mm are too coarse to show scatter" in said
    assert "s = 0.0144 mm" in said
    assert anna.repeatability.high > anna.repeatability.value == pytest.approx(0.05 / np.sqrt(12))
    assert anna.bias.high > anna.bias.low
    assert anna.drift.total.high > anna.drift.total.low
    assert "too coarse" in " ".join(about_gauge(study))
    assert "0.0000 to 0.0000" not in said + " ".join(about_gauge(study))


@pytest.mark.parametrize(
    ("factor", "says"),
    [
        (0.2, "That is within the 0.0"),
        (1.05, "Whether that matters these data do not decide: the 0.0"),
        (4.0, "That matters: it is more than the 0.0"),
    ],
)
def test_whether_it_matters_is_left_open_where_the_interval_holds_the_limit(factor, says):
    limit = rule_set("iso")["reading_rel"] * 4.1
    scatter = factor * limit / 2.0 * np.sqrt(2)  # of the mean of two diameters, against 2 s
    study = compare(read_by("Anna", scatter=scatter), IMAGES)
    (anna,) = study.operators
    (sentence,) = [s for s in about_operator(anna, study) if s.startswith("The same indent")]
    assert says in sentence
    (told,) = [c for c in anna.checks if c.code == "operator-repeatability"]
    assert ("these data do not decide it" in told.message) == ("do not decide" in says)


def test_drift_is_judged_for_all_people_together():
    people = [r for k in range(12) for r in read_by(f"P{k}", scatter=0.01, seed=k, trials=2)]
    study = compare([*people, HumanReading(999, "plate-0.jpg", "Once", 3.9, 3.9)], IMAGES)
    *twelve, once = study.operators
    assert once.drift is None
    for person in twelve:
        assert person.drift.readers == 12
        assert person.drift.joint.high > person.drift.total.high
        assert "with 12 people judged together 99.6 % decides" in about_operator(person, study)[-1]


def test_drift_and_scatter_are_told_apart():
    study = compare(
        [
            *read_by("Chloé", change=0.02, scatter=0.002),
            *read_by("Emil", scatter=0.03, seed=7),
        ],
        IMAGES,
    )
    chloe, emil = study.operators
    assert outcomes(chloe)["operator-drift"] == "warn"
    assert chloe.drift.total.value == pytest.approx(0.04, abs=0.005)
    assert outcomes(emil)["operator-drift"] == "pass"
    assert outcomes(emil)["operator-repeatability"] == "warn"
    assert "Chloé's readings grow" in about_operator(chloe, study)[-1]
    assert "No drift is seen from trial 1 to trial 3" in about_operator(emil, study)[-1]


def test_everybody_to_one_side_points_at_the_image():
    people = [
        *read_by("Anna", offset=0.03, scatter=0.002),
        *read_by("Ben", offset=0.03, scatter=0.002, seed=2),
    ]
    (first, _) = compare(people, IMAGES).checks
    assert (first.code, first.outcome) == ("all-to-one-side", "warn")
    apart = [*read_by("Anna", offset=0.03), *read_by("Ben", offset=-0.03)]
    assert compare(apart, IMAGES).checks[0].outcome == "pass"


def test_the_gauge_study_is_of_what_balances():
    people = [
        *read_by("Anna", scatter=0.002),
        *read_by("Ben", offset=0.02, scatter=0.002, seed=2, trials=2),
        *read_by("Ben", seed=2, trials=1, images=IMAGES[:1]),
    ]
    people = [p for p in people if not (p.operator == "Ben" and p.photo == IMAGES[3].photo)]
    study = compare(people, IMAGES)
    assert len(study.gauge.indents) == 7
    assert study.gauge.trials == 2
    assert study.gauge.left_out == len(people) - 7 * 2 * 2
    assert study.gauge.operator.sd.value == pytest.approx(0.02 / np.sqrt(2), rel=0.2)
    assert study.checks[1].code == "people-differ"
    assert study.checks[1].outcome == "warn"
    assert "left out" in about_gauge(study)[0]


@pytest.mark.parametrize(
    ("people", "why"),
    [
        (read_by("Anna"), "two or more people"),
        ([*read_by("Anna", trials=1), *read_by("Ben", trials=1)], "read twice or more"),
        ([*read_by("Anna", images=IMAGES[:4]), *read_by("Ben", images=IMAGES[4:])], "everybody"),
    ],
)
def test_why_there_is_no_gauge_study(people, why):
    study = compare(people, IMAGES)
    assert study.gauge is None
    assert why in about_gauge(study)[0]
    assert comparison_json(study)["gauge"] is None


def test_people_who_read_alike_have_no_f_and_no_p():
    study = compare([*read_by("Anna"), *read_by("Ben")], IMAGES)
    of_indents, *others = comparison_json(study)["gauge"]["anova"]
    assert of_indents["p"] < 1e-9
    assert [(line["f"], line["p"]) for line in others] == [(None, None)] * 3
    assert "nan" not in page_html(study, "r.csv")


def test_names_are_one_person_however_they_are_capitalised():
    study = compare([*read_by("Anna", trials=1), *read_by("ANNA", trials=1)], IMAGES)
    assert [person.name for person in study.operators] == ["Anna"]


@pytest.mark.parametrize("again", ["ANDRÉ", "Andre\u0301", "ANDRE\u0301"])
def test_names_are_one_person_however_their_letters_are_composed(again):
    study = compare([*read_by("André", trials=1), *read_by(again, trials=1)], IMAGES)
    assert [person.name for person in study.operators] == ["André"]


def of_photos(*named):
    """A reading of each photo, by the person before the colon or Ann."""
    whole = [name if ":" in name else f"Ann:{name}" for name in named]
    parts = [name.split(":") for name in whole]
    return [HumanReading(k, photo, who, 4.0, 4.0) for k, (who, photo) in enumerate(parts, start=2)]


@pytest.mark.parametrize(
    ("measured", "read", "kept"),
    [
        ("IMG_1.jpg", ["mon/IMG_1.jpg", "tue/IMG_1.jpg"], []),
        ("mon/IMG_1.jpg", ["1/mon/IMG_1.jpg", "2/mon/IMG_1.jpg", "tue/IMG_1.jpg"], []),
        ("1/mon/IMG_1.jpg", ["1/mon/IMG_1.jpg", "2/mon/IMG_1.jpg"], [2]),
        ("mon/IMG_1.jpg", ["mon/IMG_1.jpg", "tue/IMG_1.jpg", "IMG_1.jpg"], [2]),
        ("IMG_1.jpg", ["mon/IMG_1.jpg", "tue/IMG_1.jpg", "Ben:tue/IMG_1.jpg"], []),
        # one photo each: as whole as known, or in a folder of each person's own
        ("IMG_1.jpg", ["mon/IMG_1.jpg", "IMG_1.jpg", "IMG_1"], [2, 3, 4]),
        ("IMG_1.jpg", ["ann/IMG_1.jpg", "Ben:ben/IMG_1.jpg", "Cy:IMG_1.jpg"], [2, 3, 4]),
        ("mon/IMG_1.jpg", ["/a/mon/IMG_1.jpg", "Ben:/b/mon/IMG_1.jpg"], [2, 3]),
    ],
)
def test_two_photos_of_a_name_are_never_repeats_on_one(measured, read, kept):
    always = ImageResult("always.jpg", "", 4.0, 4.0, 0.0, 0.006, SHOP)
    images = [replace(always, photo=measured), always]
    study = compare([*of_photos(*read), HumanReading(99, "always.jpg", "Zoë", 4, 4)], images)
    lines = {pair.human.line for person in study.operators for pair in person.pairs}
    assert lines == {*kept, 99}
    told = {problem.line: problem.message for problem in study.unmatched}
    assert set(told) == set(range(2, 2 + len(read))) - lines
    assert all("folder" in message for message in told.values())


def test_the_hash_tells_photos_of_one_name_apart():
    one = ImageResult("mon/IMG_1.jpg", "", 4.0, 4.0, 0.0, 0.006, SHOP, sha256="aa")
    other = replace(one, photo="tue/IMG_1.jpg", sha256="bb")
    first, second = of_photos("IMG_1.jpg", "IMG_1.jpg")
    readings = [replace(first, sha256="aa"), replace(second, sha256="bb")]
    (ann,) = compare(readings, [one, other]).operators
    assert [pair.image.photo for pair in ann.pairs] == ["mon/IMG_1.jpg", "tue/IMG_1.jpg"]


@pytest.mark.parametrize(("trials", "order"), [(True, "trial"), (False, "row")])
def test_one_day_for_all_readings_hides_no_drift(trials, order):
    day = datetime(2026, 11, 27)  # noqa: DTZ001
    moving = read_by("Ann", change=0.03, scatter=0.002)
    if not trials:
        moving = [replace(reading, trial="") for reading in moving]
    (plain,) = compare(moving, IMAGES).operators
    (dated,) = compare([replace(reading, when=day) for reading in moving], IMAGES).operators
    assert dated.drift == plain.drift
    assert dated.drift.order == order
    assert dated.drift.seen
    later = [replace(r, when=day + timedelta(hours=k)) for k, r in enumerate(moving)]
    assert compare(later, IMAGES).operators[0].drift.order == "time"


def test_trials_spelt_in_two_ways_are_in_order():
    people = read_by("Ann", trials=2)
    spelt = [replace(reading, trial=f"0{reading.trial}") for reading in people[::2]]
    mixed = [*spelt, *people[1::2]]
    assert reading_order(mixed) == ("trial", [float(reading.trial) for reading in mixed])
    letters = [replace(r, trial=t) for r, t in zip(people, 8 * ["a", "B"], strict=True)]
    upper = [replace(r, trial=r.trial.upper()) for r in letters[8:]]
    assert reading_order([*letters[:8], *upper])[1] == 8 * [1.0, 2.0]


def test_the_image_is_taken_at_the_angle_the_person_read():
    image = ImageResult("oval.jpg", "", 4.2, 4.0, 30.0, 0.006, SHOP)
    along = HumanReading(2, "oval.jpg", "Anna", 4.2, 4.0, angle_deg=30.0)
    study = compare([along], [image])
    (pair,) = study.operators[0].pairs
    assert (pair.image_d1_mm, pair.image_d2_mm) == pytest.approx((4.2, 4.0))
    assert pair.difference_mm == pytest.approx(0.0, abs=1e-12)
    assert pair.hbw == pytest.approx(brinell(4.1, SHOP))


def test_a_stated_uncertainty_is_used_and_else_the_resolution():
    image = IMAGES[0]
    stated = HumanReading(2, image.photo, "Anna", 3.9, 3.9, U_mm=0.03)
    silent = HumanReading(3, image.photo, "Anna", 3.9, 3.9)
    study = compare([stated, silent], [image], resolution_mm=0.02, scope_rel=0.001)
    first, second = study.operators[0].pairs
    assert first.U_human_mm == 0.03
    # rectangular: 2 sqrt((0.02 / 2√3)² + (0.001 · 3.9 / √3)²)
    assert second.U_human_mm == pytest.approx(2 * np.hypot(0.02 / 2, 0.0039) / np.sqrt(3))
    assert compare([stated], [image]).resolution_mm is None


def test_lines_without_a_fit_are_told():
    readings = [
        HumanReading(2, "plate-0.jpg", "Anna", 3.9, 3.9),
        HumanReading(3, "nowhere.jpg", "Anna", 3.9, 3.9),
        HumanReading(4, "plate-0.jpg", "Anna", 39.0, 39.0),
        HumanReading(5, "other.jpg", "Anna", 1.9, 1.9),
    ]
    other = ImageResult("other.jpg", "", 1.9, 1.9, 0.0, 0.004, TestCondition(5, 750))
    study = compare(readings, [*IMAGES, other], test=SHOP)
    told = {problem.line: problem.message for problem in study.unmatched}
    assert set(told) == {3, 4, 5}
    assert "no result" in told[3]
    assert "off the image's" in told[4]
    assert "under 5/750, not under 10/3000" in told[5]
    assert len(study.operators[0].pairs) == 1


def test_what_failed_of_the_image_is_told():
    late = [replace(image, failed=("scale-in-date",)) for image in IMAGES[:2]]
    study = compare(read_by("Anna", scatter=0.003), [*late, *IMAGES[2:]])
    (told,) = [check for check in study.all_checks if check.code == "image-check"]
    assert told.outcome == "warn"
    assert "scale-in-date failed when plate-0.jpg, plate-1.jpg was measured" in told.message


def test_misuse_is_said():
    bare = [ImageResult("plate-0.jpg", "", 3.9, 3.9, 0.0, 0.006)]
    reading = [HumanReading(2, "plate-0.jpg", "Anna", 3.9, 3.9)]
    with pytest.raises(ValueError, match="name no test"):
        compare(reading, bare)
    with pytest.raises(ValueError, match=r"every photo was refused; the first, a\.jpg: Refocus"):
        compare(reading, [ImageResult("a.jpg", "Refocus."), ImageResult("b.jpg", "More light.")])
    other = ImageResult("other.jpg", "", 1.9, 1.9, 0.0, 0.004, TestCondition(5, 750))
    with pytest.raises(ValueError, match="one comparison holds for one test"):
        compare(reading, [*IMAGES, other])
    with pytest.raises(ValueError, match="not one reading"):
        compare([HumanReading(2, "nowhere.jpg", "Anna", 3.9, 3.9)], IMAGES)


def test_a_single_reading_claims_nothing():
    study = compare([HumanReading(2, "plate-0.jpg", "Anna", 3.9, 3.9)], IMAGES)
    (anna,) = study.operators
    assert anna.limits is None
    assert anna.repeatability is None
    assert anna.drift is None
    assert not anna.bias.known
    record = comparison_json(study)["operators"][0]
    assert record["bias_mm"]["low"] is None
    assert "no confidence interval" in about_operator(anna, study)[0]


def test_what_a_hundredth_is_worth_follows_the_hardness():
    wide = [ImageResult(f"{d}.jpg", "", d, d, 0.0, 0.006, SHOP) for d in (2.6, 5.2)]
    study = compare(read_by("Anna", images=wide), wide)
    first = about_study(study)[0]
    for d in (2.6, 5.2):
        one = brinell(d, SHOP) - brinell(d + 0.01, SHOP)
        assert f"{one:.1f} HBW" in first
    assert "smallest" not in about_study(compare(read_by("Anna"), IMAGES))[0]


@settings(max_examples=25, deadline=None)
@given(st.permutations(["Anna", "Ben", "Chloé"]))
def test_the_order_of_people_does_not_matter(order):
    people = {
        name: read_by(name, offset=0.01 * k, scatter=0.004, seed=k)
        for k, name in enumerate(["Anna", "Ben", "Chloé"])
    }
    study = compare([r for name in order for r in people[name]], IMAGES)
    found = {person.name: person for person in study.operators}
    for k, name in enumerate(["Anna", "Ben", "Chloé"]):
        alone = compare(people[name], IMAGES).operators[0]
        assert found[name].bias == alone.bias
        assert found[name].bias.value == pytest.approx(0.01 * k, abs=0.004)
    assert [person.name for person in study.operators] == list(order)
    again = compare([r for own in people.values() for r in own], IMAGES)
    assert study.gauge.people.variance.value == pytest.approx(again.gauge.people.variance.value)


@given(st.floats(-0.05, 0.05), st.sampled_from(IMAGES))
def test_differences_in_hbw_follow_the_sensitivity(offset, image):
    d = (image.at_angle(0.0) + image.at_angle(90.0)) / 2
    study = compare([HumanReading(2, image.photo, "A", d + offset, d + offset)], [image])
    (pair,) = study.operators[0].pairs
    linear = hbw_per_mm(d, SHOP) * offset
    assert pair.hbw - pair.image_hbw == pytest.approx(linear, rel=0.03, abs=1e-6)


@pytest.mark.parametrize(("off", "paired"), [(0.09, 1), (-0.09, 1), (0.11, 0), (-0.11, 0)])
def test_a_reading_a_tenth_off_is_of_another_indent(off, paired):
    image, d = IMAGES[0], (IMAGES[0].d1_mm + IMAGES[0].d2_mm) / 2
    other = HumanReading(3, IMAGES[1].photo, "Anna", IMAGES[1].d1_mm, IMAGES[1].d2_mm)
    study = compare(
        [HumanReading(2, image.photo, "Anna", d * (1 + off), d * (1 + off)), other], IMAGES
    )
    assert len(study.operators[0].pairs) == 1 + paired


@pytest.mark.parametrize(("beyond", "outcome"), [(1, "pass"), (2, "warn")])
def test_one_reading_in_twenty_may_lie_beyond(beyond, outcome):
    """E_n is for k = 2 on both sides: about 95 % lie within 1 (ISO 13528, from memory)."""
    checks = operator_checks(
        "Anna",
        bias=Estimate(0.0, -0.002, 0.002, 19.0),
        e_n=[1.2] * beyond + [0.1] * (20 - beyond),
        repeatability=None,
        moved=None,
        d_mm=4.0,
        rules=rule_set("iso"),
    )
    assert {c.code: c.outcome for c in checks}["operator-readings"] == outcome
