"""Which ball and force for which piece."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.hardness import (
    MATERIALS,
    STANDARD_PAIRS,
    Piece,
    TestCondition,
    depth_mm,
    indent_checks,
    piece_checks,
    plan,
    read_rules,
    rule_set,
)
from rimread.hardness.checks import hardness_range


def test_steel_of_some_thickness() -> None:
    made = plan("steel", 180, 260, piece=Piece(thickness_mm=4.0))
    assert [o.test.name for o in made.options] == ["5/750", "2.5/187.5", "1/30"]
    why = {e.test.name: e.why for e in made.excluded}
    assert "thickness 4 mm, needs 4.24 mm" in why["10/3000"]
    assert "tested with 30" in why["10/1000"]
    assert len(made.options) + len(made.excluded) == 21


def test_astm_asks_for_more_thickness() -> None:
    piece = Piece(thickness_mm=4.5)
    assert plan("steel", 180, 260, piece=piece).options[0].test.name == "10/3000"
    assert plan("steel", 180, 260, piece=piece, rules="astm").options[0].test.name == "5/750"


def test_the_copper_plate_of_the_published_example_is_among_the_options() -> None:
    # 50.7 HBW 2.5/62.5: DOI 10.11973/lhjy-wl201806011
    assert "2.5/62.5" in [o.test.name for o in plan("copper", 50.7, 50.7).options]


@given(
    st.sampled_from(sorted(MATERIALS)),
    st.floats(4, 640),
    st.floats(1.0, 1.5),
    st.sampled_from(["iso", "astm"]),
)
def test_what_is_offered_stands_every_check(
    group: str, low: float, times: float, rules: str
) -> None:
    high = min(low * times, 650.0)
    for option in plan(group, low, high, rules=rules).options:
        piece = Piece(
            material=group,
            thickness_mm=option.thickness_mm,
            edge_mm=option.edge_mm,
            spacing_mm=option.spacing_mm,
        )
        for d in (option.d_min_mm, option.d_max_mm):
            found = (
                *indent_checks(d, d, option.test, rules=rules),
                *piece_checks(d, option.test, piece, rules=rules),
            )
            assert {c.outcome for c in found} == {"pass"}, found


@given(st.sampled_from(sorted(MATERIALS)), st.floats(4, 640))
def test_every_pair_is_offered_or_refused_with_a_reason(group: str, hbw: float) -> None:
    made = plan(group, hbw, hbw)
    named = [o.test for o in made.options] + [e.test for e in made.excluded]
    assert {(t.ball_mm, t.force_kgf) for t in named} == set(STANDARD_PAIRS)
    assert all(e.why for e in made.excluded)
    balls = [o.test.ball_mm for o in made.options]
    assert balls == sorted(balls, reverse=True)


def test_lengths_are_those_of_the_largest_indent() -> None:
    option = plan("steel", 200, 250).options[0]
    assert option.thickness_mm == pytest.approx(8 * depth_mm(option.d_max_mm, option.test))
    assert option.edge_mm == pytest.approx(2.5 * option.d_max_mm)
    assert option.spacing_mm == pytest.approx(3 * option.d_max_mm)


def test_a_range_over_two_indices_is_planned_apart() -> None:
    made = plan("cast-iron", 120, 180)
    assert made.options == ()
    assert "apart" in {e.test.name: e.why for e in made.excluded}["10/3000"]


def test_what_the_machine_has() -> None:
    made = plan("steel", 200, 200, pairs=[(2.5, 187.5), (2.5, 62.5)])
    assert [o.test for o in made.options] == [TestCondition(2.5, 187.5)]
    assert len(made.excluded) == 1


def test_a_curved_piece_takes_a_smaller_ball() -> None:
    assert plan("steel", 200, 200, piece=Piece(radius_mm=15)).options[0].test.ball_mm == 5


@pytest.mark.parametrize(
    ("group", "low", "high", "says"),
    [
        ("wood", 100, 100, "material must be one of"),
        ("sintered", 100, 100, "ISO 4498"),
        ("steel", 0, 100, "above 0 HBW"),
        ("steel", 200, 100, "above 0 HBW"),
        ("steel", float("nan"), 100, "above 0 HBW"),
        ("steel", 100, float("inf"), "above 0 HBW"),
        ("steel", 600, 700, "ends at 650 HBW"),
    ],
)
def test_misuse(group: str, low: float, high: float, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        plan(group, low, high)


def test_the_lab_s_own_end_of_the_test(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_text(
        'base = "iso"\nsource = "our copy"\n[limits]\nmost_hbw = 450\n', encoding="utf-8"
    )
    rules = read_rules(path)
    with pytest.raises(ValueError, match=r"by ours the Brinell test ends at 450 HBW \(got 600\)"):
        plan("steel", 500, 600, rules=rules)
    options = plan("steel", 400, 450, rules=rules).options
    assert options
    for option in options:
        assert hardness_range(option.d_min_mm, option.test, rules).outcome == "pass"


def test_no_machine() -> None:
    with pytest.raises(ValueError, match="at least one pair"):
        plan("steel", 200, 200, pairs=[])


def test_conduct_says_times_and_sources() -> None:
    says = [says for says, _ in plan("steel", 200, 200).conduct]
    assert any("2 s to 8 s" in s for s in says)
    assert any("10 s to 15 s" in s for s in says)
    assert all(source for _, source in plan("steel", 200, 200, rules="astm").conduct)


def test_a_piece_just_as_large_as_asked_is_large_enough() -> None:
    (first, *_) = plan("steel", 180, 260).options
    just = Piece(
        thickness_mm=first.thickness_mm,
        edge_mm=first.edge_mm,
        spacing_mm=first.spacing_mm,
        radius_mm=rule_set("iso")["radius_in_balls"] * first.test.ball_mm,
    )
    assert plan("steel", 180, 260, piece=just).options[0] == first
    for name in ("thickness_mm", "edge_mm", "spacing_mm", "radius_mm"):
        less = replace(just, **{name: getattr(just, name) * 0.999})
        assert plan("steel", 180, 260, piece=less).options[0] != first


@pytest.mark.parametrize(
    ("group", "hbw", "indices"),
    [
        ("steel", 400, {30}),
        ("nickel", 150, {30}),
        ("titanium", 300, {30}),
        ("cast-iron", 139, {10}),
        ("cast-iron", 140, {10, 30}),  # a limit belongs to both its classes
        ("cast-iron", 141, {30}),
        ("copper", 34, {5}),
        ("copper", 36, {10}),
        ("copper", 199, {10}),
        ("copper", 201, {30}),
        ("light-metal", 34, {2.5}),
        ("light-metal", 36, {5, 10, 15}),
        ("light-metal", 79, {5, 10, 15}),
        ("light-metal", 81, {10, 15}),
        ("lead-tin", 5, {1}),
    ],
)
def test_which_index_for_which_metal(group: str, hbw: float, indices: set[float]) -> None:
    """ISO 6506-1 table of materials, from memory."""
    assert MATERIALS[group].indices(hbw) == indices


def test_room_is_asked_for_by_the_softest_piece() -> None:
    """GOST 9012-type method text: 3 d to the edge and 6 d apart below 35 HBW."""
    options = plan("cast-iron", 33, 45).options
    assert options
    for option in options:
        assert option.edge_mm == pytest.approx(3 * option.d_max_mm)
        assert option.spacing_mm == pytest.approx(6 * option.d_max_mm)
