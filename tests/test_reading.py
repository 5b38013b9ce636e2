"""From a photo to a reading: what is checked, what is refused, what a record holds."""

import json
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import rimread
from rimread.budget import Component, combine
from rimread.diameters import Diameters
from rimread.hardness import Piece, parse_test, reading_components, series_from_indents
from rimread.photo import Photo, read_photo
from rimread.reading import Reading, indent_of, measure_all, measure_photo, reading_json
from rimread.reading import measure as module
from rimread.reading.checks import taken_twice
from rimread.refusal import Refusal
from rimread.rim import Rim, Sighted, find_rim
from rimread.rim.ellipse import Ellipse
from rimread.scale.model import Certificate, Scale

TEST = parse_test("10/3000")
TODAY = date(2026, 6, 1)

# the names of the --json contract; they do not change
CONTRACT = {
    *("photo", "sha256", "status", "d1_mm", "d2_mm", "mean_mm", "U_mean_mm", "k"),
    *("width_mm", "height_mm", "centre_x_px", "centre_y_px", "angle_deg", "coverage"),
    *("hbw", "U_hbw", "designation", "checks", "reasons"),
}

PHOTO = Photo(grey=np.zeros((600, 800), np.uint8), tone="srgb", name="a.jpg", sha256="ab" * 32)

SCALE = Scale(
    px_per_mm_x=118.2,
    px_per_mm_y=118.2,
    k1_half_diagonal=0.0,
    covariance=((1e-4, 0.0, 0.0), (0.0, 1e-4, 0.0), (0.0, 0.0, 1e-8)),
    dof=50.0,
    width_px=800,
    height_px=600,
    label="hall scope",
    calibrated_on=date(2026, 1, 1),
    valid_until=date(2026, 12, 31),
    certificate=Certificate(nominal_mm=10.0, certified_mm=9.9975, U_mm=0.001),
    photos=(),
    sha256="cd" * 32,
)

SAMPLE = Path(__file__).parents[1] / "sample_images" / "hall-plate-2.jpg"
RIM = find_rim(read_photo(SAMPLE))

FOUND = Diameters(
    d1_mm=4.01,
    d2_mm=3.99,
    mean_mm=4.0,
    budget=combine([Component("edge", 0.002, 20.0, "scatter"), Component("scale", 0.001)]),
    U_d1_mm=0.006,
    U_d2_mm=0.006,
    width_mm=4.009,
    height_mm=3.991,
    centre_mm=(0.0, 0.0),
    centre_px=(400.5, 300.25),
    angle_deg=12.0,
    ellipse_mm=Ellipse(0.0, 0.0, 2.0),
    outline_px=np.zeros((0, 2)),
)


@pytest.fixture
def stages(monkeypatch):
    """Set what the stages before answer."""

    def answer(rim=RIM, found=FOUND):
        monkeypatch.setattr(module, "find_rim", lambda _photo: rim)
        monkeypatch.setattr(module, "diameters", lambda _rim, _scale: found)

    answer()
    return answer


def outcome(reading: Reading, code: str) -> str:
    return next(check.outcome for check in reading.checks if check.code == code)


@pytest.mark.usefixtures("stages")
def test_hardness_is_the_published_one():
    reading = measure_photo(PHOTO, SCALE, TEST, on=TODAY)
    assert reading.designation == "229 HBW 10/3000"  # ASM Table A3.4: 4.00 mm is 229
    assert not reading.failed
    assert {check.outcome for check in reading.checks} == {"pass"}


@pytest.mark.usefixtures("stages")
def test_uncertainty_is_of_the_diameter_alone_and_says_so():
    reading = measure_photo(PHOTO, SCALE, TEST, on=TODAY)
    r = 0.4
    slope = (1 + math.sqrt(1 - r * r)) / math.sqrt(1 - r * r)  # dlnH/dlnd = -2.091 at d/D = 0.4
    share = FOUND.budget.U / FOUND.mean_mm
    assert reading.U_hbw == pytest.approx(slope * share * reading.hbw, rel=1e-9)
    assert slope == pytest.approx(2.091, abs=5e-4)
    assert "only" in reading.hardness.covers


@pytest.mark.usefixtures("stages")
def test_what_is_known_beyond_the_picture_widens_every_u():
    alone = measure_photo(PHOTO, SCALE, TEST, on=TODAY)
    frames = Component("frame to frame", 1e-3, dof=7.0)
    reading = measure_photo(PHOTO, SCALE, TEST, on=TODAY, beyond=[frames])
    added = reading.diameters.budget.components[-1]
    assert added == replace(frames, u=1e-3 * FOUND.mean_mm)
    assert reading.diameters.budget.u == pytest.approx(math.hypot(FOUND.budget.u, added.u))
    assert reading.diameters.mean_mm == alone.diameters.mean_mm
    before, now = alone.diameters.U_d1_mm / FOUND.budget.k, reading.diameters.U_d1_mm
    assert now / reading.diameters.budget.k == pytest.approx(math.hypot(before, added.u))
    assert reading.U_hbw > alone.U_hbw


def test_refusal_of_the_rim_is_handed_on(stages):
    no_rim = Refusal("no-indent", "nothing")
    stages(rim=no_rim)
    assert measure_photo(PHOTO, SCALE, TEST) is no_rim


def test_rival_rings_are_named_in_mm(stages):
    rivals = Refusal("rival-rings", "…", {"diameter_px": 473.0, "rival_px": 394.0})
    stages(rim=rivals)
    answer = measure_photo(PHOTO, SCALE, TEST)
    assert answer.code == "rival-rings"
    assert "3.333 mm and 4.002 mm" in answer.message  # over 118.2 px/mm
    assert answer.evidence["diameter_mm"] == pytest.approx(4.0017, abs=1e-4)
    assert answer.evidence["rival_mm"] == pytest.approx(3.3333, abs=1e-4)
    assert answer.evidence["rival_px"] == 394.0


def all_of(monkeypatch, *sighted):
    """Let `measure_all` see these rims or refusals, each with diameters of its own."""
    monkeypatch.setattr(module, "sight_indents", lambda _photo: sighted)
    sizes = iter(
        replace(FOUND, ellipse_mm=replace(FOUND.ellipse_mm, x=8.0 * i))
        for i, one in enumerate(sighted)
        if isinstance(one.result, Rim)
    )
    monkeypatch.setattr(module, "diameters", lambda _rim, _scale: next(sizes))


def test_all_indents_count_as_neighbours_and_only_whole_ones_get_a_number(monkeypatch):
    # FOUND, 4 mm across, stands in the middle of the field at (399.5, 299.5) px
    cut = Sighted(Ellipse(-300.0, 299.5, 240.0), Refusal("cut-by-frame", "move it"))
    dull = Sighted(Ellipse(399.5, 900.0, 30.0), Refusal("rim-unclear", "focus"))
    all_of(monkeypatch, Sighted(RIM.ellipse, RIM), cut, dull)
    measured, refused = measure_all(PHOTO, SCALE, TEST, on=TODAY)
    assert (measured.place.indent, measured.place.indents) == (1, 2)
    assert measured.place.spacing_mm == pytest.approx(600.5 / 118.2, rel=1e-6)
    assert measured.place.rim_to_rim_mm == pytest.approx((699.5 - 240.0) / 118.2 - 2.0, rel=1e-6)
    (check,) = (c for c in measured.checks if c.code == "spacing")
    assert check.outcome == "fail"
    assert "5.08 mm, at least 12.00 mm" in check.message
    assert refused.code == "rim-unclear"
    record = reading_json("a.jpg", None, refused)
    assert (record["indent"], record["indents"], record["mean_mm"]) == (2, 2, None)
    assert record["reasons"][0]["evidence"]["centre_y_px"] == 900.0


def test_one_of_all_larger_than_the_ball_refuses_the_photo(monkeypatch):
    all_of(monkeypatch, Sighted(RIM.ellipse, RIM), Sighted(RIM.ellipse, RIM))
    assert measure_all(PHOTO, SCALE, parse_test("2.5/187.5")).code == "larger-than-ball"


def test_a_refusal_of_all_is_handed_on_and_does_not_offer_what_was_asked(monkeypatch):
    several = Refusal("several-indents", "…, or have all of them measured.")
    monkeypatch.setattr(module, "sight_indents", lambda _photo: several)
    answer = measure_all(PHOTO, SCALE, TEST)
    assert answer.code == "several-indents"
    assert "have all" not in answer.message
    blank = Refusal("no-indent", "nothing")
    monkeypatch.setattr(module, "sight_indents", lambda _photo: blank)
    assert measure_all(PHOTO, SCALE, TEST) is blank
    other = measure_all(PHOTO, replace(SCALE, width_px=799), TEST)
    assert other.code == "photo-size"


def test_one_indent_is_the_same_to_both():
    photo, scale = read_photo(SAMPLE), replace(SCALE, width_px=1024, height_px=768)
    (one,) = measure_all(photo, scale, TEST, on=TODAY)
    alone = measure_photo(photo, scale, TEST, on=TODAY)
    assert one.diameters.mean_mm == pytest.approx(alone.diameters.mean_mm, rel=1e-9)
    assert (one.place.indent, one.place.indents, one.place.spacing_mm) == (1, 1, None)
    assert {c.code for c in one.checks} == {c.code for c in alone.checks}


def test_another_photo_size_never_reaches_the_rim(monkeypatch):
    monkeypatch.setattr(module, "find_rim", lambda *_: pytest.fail("must not be asked"))
    for change in ({"width_px": 799}, {"height_px": 601}, {"width_px": 600, "height_px": 800}):
        answer = measure_photo(PHOTO, replace(SCALE, **change), TEST)
        assert isinstance(answer, Refusal)
        assert answer.code == "photo-size"
        assert "800 × 600" in answer.message


@pytest.mark.usefixtures("stages")
def test_an_indent_larger_than_the_ball_is_refused():
    answer = measure_photo(PHOTO, SCALE, parse_test("2.5/187.5"))
    assert isinstance(answer, Refusal)
    assert answer.code == "larger-than-ball"


@pytest.mark.usefixtures("stages")
@pytest.mark.parametrize(
    ("on", "expected"),
    [
        (date(2025, 12, 31), "warn"),
        (date(2026, 1, 1), "pass"),
        (date(2026, 12, 31), "pass"),
        (date(2027, 1, 1), "fail"),
    ],
)
def test_scale_in_date(on, expected):
    reading = measure_photo(PHOTO, SCALE, TEST, on=on)
    assert outcome(reading, "scale-in-date") == expected
    assert reading.failed == (expected == "fail")


@pytest.mark.usefixtures("stages")
@pytest.mark.parametrize(("unlike", "warned"), [(0.0019, False), (0.0021, True), (-0.0021, True)])
def test_a_scale_of_two_magnifications_is_told(unlike, warned):
    scale = replace(SCALE, px_per_mm_y=SCALE.px_per_mm_x * (1 + unlike))
    checks = measure_photo(PHOTO, scale, TEST, on=TODAY).checks
    told = [check for check in checks if check.code == "scale-square"]
    assert bool(told) == warned
    assert all("zoom" in check.message and check.outcome == "warn" for check in told)


@pytest.mark.usefixtures("stages")
def test_scale_without_certificate_is_said():
    reading = measure_photo(PHOTO, replace(SCALE, certificate=None), TEST, on=TODAY)
    assert outcome(reading, "scale-certificate") == "warn"


@pytest.mark.usefixtures("stages")
@pytest.mark.parametrize(
    ("quality", "expected"), [(None, "pass"), (95, "pass"), (60, "pass"), (59, "warn"), (1, "warn")]
)
def test_compression(quality, expected):
    reading = measure_photo(replace(PHOTO, jpeg_quality=quality), SCALE, TEST, on=TODAY)
    assert outcome(reading, "compression") == expected


@pytest.mark.parametrize(("spread", "expected"), [(0.05, "warn"), (0.099, "warn"), (0.1, "pass")])
def test_a_rim_about_a_nearly_flat_face_is_looked_at(stages, spread, expected):
    stages(rim=replace(RIM, bowl_spread=spread))
    assert outcome(measure_photo(PHOTO, SCALE, TEST, on=TODAY), "bowl-shading") == expected


@pytest.mark.usefixtures("stages")
@pytest.mark.parametrize(("white", "stated"), [(4095, False), (4095, True), (None, False)])
def test_values_taken_for_those_of_a_sensor_are_told(white, stated):
    photo = replace(PHOTO, tone="linear", white=white, tone_stated=stated)
    told = [c for c in measure_photo(photo, SCALE, TEST, on=TODAY).checks if c.code == "tone-taken"]
    assert bool(told) == (white is not None and not stated)
    assert all(check.outcome == "warn" and "12 bits" in check.message for check in told)


@pytest.mark.parametrize("channel", ["blue", None])
def test_a_rim_read_in_one_colour_is_told(stages, channel):
    stages(rim=replace(RIM, channel=channel))
    checks = measure_photo(PHOTO, SCALE, TEST, on=TODAY).checks
    told = [check for check in checks if check.code == "channel-taken"]
    assert bool(told) == (channel is not None)
    assert all(check.outcome == "warn" and "blue values" in check.message for check in told)


@pytest.mark.parametrize("by_texture", [True, False])
def test_a_rim_found_by_texture_alone_is_told(stages, by_texture):
    stages(rim=replace(RIM, by_texture=by_texture))
    checks = measure_photo(PHOTO, SCALE, TEST, on=TODAY).checks
    told = [check for check in checks if check.code == "found-by-texture"]
    assert bool(told) == by_texture
    assert all(check.outcome == "warn" and "overlay" in check.message for check in told)


@pytest.mark.parametrize("lay_deg", [math.nan, math.inf])
def test_a_lay_that_is_no_direction_is_misuse(lay_deg):
    for measure in (measure_photo, measure_all):
        with pytest.raises(ValueError, match="direction in degrees"):
            measure(PHOTO, SCALE, TEST, lay_deg=lay_deg)


@pytest.mark.parametrize(("U_mm", "expected"), [(0.0199, "pass"), (0.0201, "warn")])
def test_resolution_is_half_a_percent_of_d(stages, U_mm, expected):
    # ISO 6506-2: the measuring system permits estimating d to ±0.5 %, from memory
    stages(found=replace(FOUND, budget=combine([Component("edge", U_mm / 2)])))
    assert outcome(measure_photo(PHOTO, SCALE, TEST, on=TODAY), "resolution") == expected


@pytest.mark.parametrize(("ragged_mm", "advice"), [(0.02, "larger ball"), (0.005, "sharper focus")])
def test_advice_on_a_large_u_goes_with_what_makes_it(stages, ragged_mm, advice):
    budget = combine([Component("edge", 0.015), Component("ragged rim", ragged_mm)])
    stages(found=replace(FOUND, budget=budget))
    checks = measure_photo(PHOTO, SCALE, TEST, on=TODAY).checks
    assert advice in next(check.message for check in checks if check.code == "resolution")


@pytest.mark.parametrize(("rules", "expected"), [("iso", "warn"), ("astm", "fail")])
def test_diameter_outside_the_range(stages, rules, expected):
    stages(found=replace(FOUND, d1_mm=2.2, d2_mm=2.2, mean_mm=2.2))
    reading = measure_photo(PHOTO, SCALE, TEST, rules=rules, on=TODAY)
    assert outcome(reading, "diameter-range") == expected
    assert reading.failed == (expected == "fail")


@pytest.mark.usefixtures("stages")
def test_record_keeps_the_contract():
    reading = measure_photo(PHOTO, SCALE, TEST, on=TODAY)
    record = json.loads(json.dumps(reading_json("x/a.jpg", PHOTO.sha256, reading), allow_nan=False))
    assert set(record) >= CONTRACT
    assert record["status"] == "measured"
    assert (record["photo"], record["sha256"]) == ("x/a.jpg", PHOTO.sha256)
    assert (record["centre_x_px"], record["centre_y_px"]) == FOUND.centre_px
    assert record["U_mean_mm"] == FOUND.budget.U
    assert record["coverage"] == RIM.coverage
    assert record["reasons"] == []
    assert {"code", "outcome", "message"} <= set(record["checks"][0])
    assert record["scale_sha256"] == SCALE.sha256
    assert record["version"] == rimread.__version__
    assert [part["dof"] for part in record["budget_mm"]] == [20.0, None]  # infinite is null


def test_refused_record_has_the_same_keys_and_no_number(stages):
    measured = reading_json("a", None, measure_photo(PHOTO, SCALE, TEST, on=TODAY))
    stages(rim=Refusal("no-indent", "focus again", {"contrast": np.float64(2.5), "kind": "flat"}))
    refused = reading_json("a", None, measure_photo(PHOTO, SCALE, TEST))
    json.dumps(refused, allow_nan=False)
    assert set(refused) == set(measured)
    assert refused["status"] == "refused"
    assert [(r["code"], r["message"]) for r in refused["reasons"]] == [("no-indent", "focus again")]
    numbers = [v for k, v in refused.items() if k not in {"photo", "status", "checks", "reasons"}]
    assert numbers
    assert all(value is None for value in numbers)


def test_values_that_are_not_finite_become_null(stages):
    stages(found=replace(FOUND, angle_deg=math.nan))
    record = reading_json("a", None, measure_photo(PHOTO, SCALE, TEST, on=TODAY))
    assert record["angle_deg"] is None


# -- the piece, the lay, the series ---------------------------------------------------------------


def codes(reading: Reading) -> dict[str, str]:
    return {check.code: check.outcome for check in reading.checks}


@pytest.mark.usefixtures("stages")
def test_only_what_is_known_of_the_piece_is_checked():
    bare = codes(measure_photo(PHOTO, SCALE, TEST, on=TODAY))
    piece = Piece(material="steel", thickness_mm=3.0, edge_mm=12.0, spacing_mm=11.0, radius_mm=20.0)
    found = codes(measure_photo(PHOTO, SCALE, TEST, on=TODAY, piece=piece))
    # d = 4 mm: h = 0.417 mm and 8 h = 3.34 mm, 2.5 d = 10 mm, 3 d = 12 mm, 2.5 D = 25 mm
    assert {code: found[code] for code in found if code not in bare} == {
        "material-index": "pass",
        "thickness": "fail",
        "edge": "pass",
        "spacing": "fail",
        "curvature": "warn",
    }
    assert {code: found[code] for code in bare} == bare


@pytest.mark.parametrize(
    ("lay_deg", "says"),
    [(12.0, "along the lay"), (192.0, "along the lay"), (102.0, "across"), (57.0, "not explain")],
)
def test_the_lay_explains_an_oval_indent_or_not(stages, lay_deg, says):
    oval = replace(FOUND, d1_mm=4.1, d2_mm=3.9)  # d1 at 12 degrees
    stages(found=oval)
    reading = measure_photo(PHOTO, SCALE, TEST, on=TODAY, lay_deg=lay_deg)
    (check,) = (check for check in reading.checks if check.code == "ovality")
    assert check.outcome == "warn"
    assert says in check.message


@pytest.mark.usefixtures("stages")
def test_an_absurd_hardness_fails(stages):
    stages(found=replace(FOUND, d1_mm=1.2, d2_mm=1.2, mean_mm=1.2))  # 10/3000: 2642 HBW
    reading = measure_photo(PHOTO, SCALE, TEST, on=TODAY)
    assert codes(reading)["hardness-range"] == "fail"
    assert reading.failed


@pytest.mark.usefixtures("stages")
def test_what_a_series_shares_is_not_averaged_away(stages):
    parts = [Component("edge", 0.003), Component("scale", 0.004, common=True)]
    stages(found=replace(FOUND, budget=combine(parts)))
    reading = measure_photo(PHOTO, SCALE, TEST, on=TODAY)
    record = reading_json("a", None, reading)
    assert [part["common"] for part in record["budget_mm"]] == [False, True]
    series = series_from_indents([indent_of(reading)] * 16, TEST)
    edge, scale = reading_components(series)
    one = reading.hardness.budget
    per_mm = one.u / math.hypot(0.003, 0.004)
    assert edge.u == pytest.approx(0.003 * per_mm / 4)  # root of 16
    assert scale.u == pytest.approx(0.004 * per_mm)


def test_budget_of_a_real_photo_marks_what_photos_of_a_call_share():
    scale = replace(SCALE, width_px=1024, height_px=768)
    reading = measure_photo(read_photo(SAMPLE), scale, TEST, on=TODAY)
    common = {part.name: part.common for part in reading.diameters.budget.components}
    assert {name for name, shared in common.items() if not shared} == {"edge scatter", "focus"}
    assert {"pixel scale", "aspect", "distortion", "rim definition", "tone curve"} <= set(common)


@pytest.mark.parametrize(
    ("x", "y", "mean_mm", "twice"),
    [
        (501.0, 402.0, 4.0010, True),
        (503.5, 400.0, 4.0, False),
        (500.0, 403.5, 4.0, False),
        (500.0, 400.0, 4.0030, False),
        (500.0, 400.0, 3.9985, True),
    ],
)
def test_two_pictures_of_one_indent_lie_alike(x, y, mean_mm, twice):
    """Within 3 px and 0.05 % of d; common practice, no source."""
    found = list(taken_twice({1: (500.0, 400.0, 4.0), 2: (x, y, mean_mm)}))
    assert len(found) == twice
    assert all("indents 1 and 2" in check.message for check in found)
