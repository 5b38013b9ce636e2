"""The rules that tie an indent to its piece."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.hardness.published import MINIMUM_THICKNESS_ROWS

from rimread.check import Check
from rimread.hardness import (
    MATERIALS,
    STANDARD_PAIRS,
    Piece,
    TestCondition,
    brinell,
    depth_mm,
    diameter_for,
    explained_by_lay,
    indent_checks,
    material,
    piece_checks,
)

SHOP = TestCondition(10, 3000)


def _check(code: str, piece: Piece, *, d: float = 4.0, rules: str = "iso") -> Check:
    (found,) = [c for c in piece_checks(d, SHOP, piece, rules=rules) if c.code == code]
    return found


def test_what_is_not_known_is_not_checked() -> None:
    assert piece_checks(4.0, SHOP, Piece()) == ()


@pytest.mark.parametrize(("ball", "d", "thickness"), MINIMUM_THICKNESS_ROWS)
def test_thickness_turns_at_the_published_minimum(ball: float, d: float, thickness: float) -> None:
    # GB/T 231.1 annex B table
    test = TestCondition(ball, 1)
    outcomes = [
        piece_checks(d, test, Piece(thickness_mm=t))[0].outcome
        for t in (thickness - 0.011, thickness + 0.011)
    ]
    assert outcomes == ["fail", "pass"]


def test_astm_asks_for_ten_depths() -> None:
    nine = Piece(thickness_mm=9 * depth_mm(4.0, SHOP))
    assert _check("thickness", nine).outcome == "pass"
    check = _check("thickness", nine, rules="astm")
    assert check.outcome == "fail"
    assert "from memory" in check.source


@pytest.mark.parametrize(
    ("code", "piece", "outcome"),
    [
        ("edge", Piece(edge_mm=10.0), "pass"),  # 2.5 d
        ("edge", Piece(edge_mm=9.99), "fail"),
        ("spacing", Piece(spacing_mm=12.0), "pass"),  # 3 d
        ("spacing", Piece(spacing_mm=11.9), "fail"),
        ("spacing", Piece(spacing_mm=12.0, neighbour_mm=3.9), "pass"),
        ("spacing", Piece(spacing_mm=12.0, neighbour_mm=4.1), "fail"),  # 3 d of the larger
        ("temperature", Piece(temperature_c=10.0), "pass"),
        ("temperature", Piece(temperature_c=9.9), "warn"),
        ("temperature", Piece(temperature_c=35.0), "pass"),
        ("temperature", Piece(temperature_c=35.1), "warn"),
        ("application", Piece(application_s=1.9), "warn"),
        ("application", Piece(application_s=2.0), "pass"),
        ("application", Piece(application_s=8.0), "pass"),
        ("application", Piece(application_s=8.1), "warn"),
        ("curvature", Piece(radius_mm=25.0), "pass"),
        ("curvature", Piece(radius_mm=24.0), "warn"),
    ],
)
def test_limits(code: str, piece: Piece, outcome: str) -> None:
    assert _check(code, piece).outcome == outcome


ROUNDING = st.floats(-1e-12, 1e-12)
"""What the last bits may make of a value on a limit, relative."""


@given(st.floats(2.4, 6.0), ROUNDING, st.sampled_from([("iso", 8), ("astm", 10)]))
def test_a_piece_just_thick_enough_passes(d: float, bits: float, limit: tuple[str, int]) -> None:
    """8 h (ISO 6506-1:2014, 6.3) or 10 h (ASTM E10, from memory), h = (D - √(D² - d²)) / 2."""
    rules, depths = limit
    least = depths * (10 - math.sqrt(100 - d * d)) / 2
    enough, thinner = (Piece(thickness_mm=least * (1 + part)) for part in (bits, -1e-6))
    assert _check("thickness", enough, d=d, rules=rules).outcome == "pass"
    assert _check("thickness", thinner, d=d, rules=rules).outcome == "fail"


@given(st.floats(2.4, 6.0), ROUNDING)
def test_an_indent_just_far_enough_from_edge_and_next_indent_passes(d: float, bits: float) -> None:
    """2.5 d and 3 d: ISO 6506-1, in the summary of IS 1587:1993."""
    enough, nearer = (
        Piece(edge_mm=2.5 * d * (1 + part), spacing_mm=3 * d * (1 + part)) for part in (bits, -1e-6)
    )
    for code in ("edge", "spacing"):
        assert _check(code, enough, d=d).outcome == "pass"
        assert _check(code, nearer, d=d).outcome == "fail"


@given(st.sampled_from([(10, 500), (10, 250), (5, 62.5), (2.5, 15.625)]), ROUNDING)
def test_metal_of_just_35_hbw_is_not_soft(pair: tuple[float, float], bits: float) -> None:
    """It is below 35 HBW that a piece must be larger: GOST 9012-type method text."""
    test = TestCondition(*pair)
    for hbw, outcome in ((35.0 * (1 + bits), "pass"), (34.999, "fail")):
        d = diameter_for(hbw, test)
        piece = Piece(edge_mm=2.9 * d, spacing_mm=5.9 * d)
        assert {c.outcome for c in piece_checks(d, test, piece)} == {outcome}


@pytest.mark.parametrize(
    ("dwell_s", "outcome"), [(9.9, "warn"), (10, "pass"), (15, "pass"), (15.1, "warn")]
)
def test_dwell_turns_at_the_ends_of_its_range(dwell_s: float, outcome: str) -> None:
    # 10 s to 15 s: ISO 6506-1:2005, read in a hardness guide that cites it
    (check,) = piece_checks(4.0, TestCondition(10, 3000, dwell_s), Piece())
    assert (check.code, check.outcome) == ("dwell", outcome)


@pytest.mark.parametrize(("radius_mm", "outcome"), [(6.25, "pass"), (6.2, "warn")])
def test_a_smaller_ball_allows_a_sharper_curve(radius_mm: float, outcome: str) -> None:
    # 2.5 D: common practice after ASTM E10, from memory
    small = TestCondition(2.5, 187.5)
    (check,) = piece_checks(1.0, small, Piece(radius_mm=radius_mm))
    assert (check.code, check.outcome) == ("curvature", outcome)


def test_curvature_binds_in_astm() -> None:
    # 25 mm for the 10 mm ball: ASTM E10, from memory
    assert _check("curvature", Piece(radius_mm=24.0), rules="astm").outcome == "fail"


def test_soft_metals_need_more_room() -> None:
    # GOST 9012-type method text: below 35 HBW 3 d to the edge, 6 d between centres
    lead = TestCondition(10, 100)
    d = diameter_for(10.0, lead)
    piece = Piece(edge_mm=2.8 * d, spacing_mm=5.0 * d)
    outcomes = {c.code: c.outcome for c in piece_checks(d, lead, piece)}
    assert outcomes == {"edge": "fail", "spacing": "fail"}


def test_dwell_outside_is_named() -> None:
    (check,) = piece_checks(4.0, TestCondition(10, 3000, 30), Piece())
    assert (check.code, check.outcome) == ("dwell", "warn")


@pytest.mark.parametrize(
    ("group", "test", "hbw", "outcome"),
    [
        ("steel", TestCondition(10, 3000), 200, "pass"),
        ("steel", TestCondition(10, 1000), 200, "warn"),
        ("cast-iron", TestCondition(10, 1000), 130, "pass"),
        ("cast-iron", TestCondition(10, 3000), 130, "warn"),
        ("cast-iron", TestCondition(10, 3000), 180, "pass"),
        ("cast-iron", TestCondition(1, 30), 180, "warn"),  # no 1 mm ball
        ("copper", TestCondition(2.5, 62.5), 51, "pass"),  # the published copper plate
        ("copper", TestCondition(10, 500), 30, "pass"),
        ("copper", TestCondition(10, 3000), 250, "pass"),
        ("light-metal", TestCondition(10, 500), 60, "pass"),
        ("light-metal", TestCondition(10, 250), 60, "warn"),
        ("lead-tin", TestCondition(10, 100), 8, "pass"),
    ],
)
def test_index_against_material(group: str, test: TestCondition, hbw: float, outcome: str) -> None:
    # ISO 6506-1 table of materials, from memory
    d = diameter_for(hbw, test)
    (check,) = piece_checks(d, test, Piece(material=group))
    assert check.code == "material-index"
    assert check.outcome == outcome
    assert "from memory" in check.source


def test_every_group_has_an_index_of_the_standard_at_every_hardness() -> None:
    indices = {TestCondition(*pair).index for pair in STANDARD_PAIRS}
    for group in MATERIALS.values():
        for hbw in (1, 34.9, 35, 50, 80, 139, 140, 200, 500, 650):
            assert group.indices(hbw)
            assert group.indices(hbw) <= indices


@pytest.mark.parametrize(
    ("kwargs", "says"),
    [
        ({"thickness_mm": 0.0}, "^thickness must be above 0 mm"),
        ({"edge_mm": -1.0}, "^distance to the edge must be above 0 mm"),
        ({"spacing_mm": math.nan}, "^spacing must be a finite number of mm"),
        ({"neighbour_mm": 0.0}, "^diameter of the next indent must be above 0 mm"),
        ({"radius_mm": -2.0}, "^radius must be above 0 mm"),
        ({"application_s": 0.0}, "^time to full force must be above 0 s"),
        ({"temperature_c": math.inf}, "^temperature must be a finite number of °C"),
        ({"temperature_c": -300.0}, "^temperature must lie in -50 °C to 100 °C \\(got -300"),
        ({"temperature_c": 100.5}, "^temperature must lie in -50 °C to 100 °C \\(got 100.5"),
        ({"material": "wood"}, "material must be one of steel"),
        ({"material": "sintered"}, "ISO 4498"),
    ],
)
def test_misuse(kwargs: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Piece(**kwargs)  # type: ignore[arg-type]


@pytest.mark.parametrize("temperature_c", [-50.0, 100.0])
def test_the_ends_of_what_a_room_can_have_are_taken(temperature_c: float) -> None:
    assert _check("temperature", Piece(temperature_c=temperature_c)).outcome == "warn"


def test_frost_is_a_temperature() -> None:
    assert _check("temperature", Piece(temperature_c=-5.0)).outcome == "warn"


def test_material_by_name() -> None:
    assert material("copper").title == "copper and copper alloys"


@pytest.mark.parametrize(
    ("d1_deg", "says"),
    [
        (92.0, "along the lay"),
        (-85.0, "along the lay"),
        (5.0, "across the lay"),
        (178.0, "across the lay"),
        (45.0, "45° off the lay"),
        (110.0, "along the lay"),
        (111.0, "21° off the lay"),
        (20.0, "across the lay"),
        (21.0, "69° off the lay"),
    ],
)
def test_the_lay_may_explain_an_oval(d1_deg: float, says: str) -> None:
    oval = {c.code: c for c in indent_checks(4.2, 4.0, SHOP)}["ovality"]
    assert says in explained_by_lay(oval, d1_deg, 90.0).message
    assert explained_by_lay(oval, d1_deg, 90.0).outcome == oval.outcome


def test_a_round_indent_needs_no_explanation() -> None:
    round_one = {c.code: c for c in indent_checks(4.0, 4.0, SHOP)}["ovality"]
    assert explained_by_lay(round_one, 90.0, 90.0) is round_one


def test_hbw_of_the_check_is_that_of_the_indent() -> None:
    (check,) = piece_checks(4.0, SHOP, Piece(material="steel"))
    assert f"{brinell(4.0, SHOP):.0f} HBW" in check.message
