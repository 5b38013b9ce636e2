"""The checks of one indent."""

from __future__ import annotations

from pathlib import Path

import pytest

from rimread.check import Check
from rimread.hardness import TestCondition, diameter_for, indent_checks, read_rules

SHOP = TestCondition(10, 3000)


def _by_code(checks: tuple[Check, ...]) -> dict[str, Check]:
    return {check.code: check for check in checks}


@pytest.mark.parametrize(
    ("d", "ball", "outcome"),
    [
        (2.4, 10, "pass"),
        (6.0, 10, "pass"),
        (2.399, 10, "fail"),
        (6.001, 10, "fail"),
        (1.2, 5, "pass"),
        (0.6, 2.5, "pass"),
        (0.24, 1, "pass"),
        (0.6, 1, "pass"),
        (0.61, 1, "fail"),
    ],
)
def test_diameter_range(d: float, ball: float, outcome: str) -> None:
    # 0.24 D to 0.6 D, limits included (ISO 6506-1 in IS 1587)
    check = _by_code(indent_checks(d, d, TestCondition(ball, 1), rules="astm"))["diameter-range"]
    assert check.outcome == outcome
    assert "from memory" in check.source


def test_iso_lets_the_diameter_out_of_range_be_reported() -> None:
    # GB/T 231.1-2018 7.4, modified from ISO 6506-1:2014: state d/D in the report
    check = _by_code(indent_checks(2.05, 2.05, SHOP))["diameter-range"]
    assert check.outcome == "warn"
    assert "0.205 D" in check.message
    assert "state d/D" in check.message
    assert "GB/T 231.1-2018 7.4" in check.source


def test_the_side_says_which_force_to_take() -> None:
    assert "larger force" in _by_code(indent_checks(2.0, 2.0, SHOP))["diameter-range"].message
    assert "smaller force" in _by_code(indent_checks(6.5, 6.5, SHOP))["diameter-range"].message
    for d, said in ((7.4, False), (7.6, True)):
        message = _by_code(indent_checks(d, d, SHOP))["diameter-range"].message
        assert ("first of all check ball, force and scale" in message) == said


@pytest.mark.parametrize(("d", "outcome"), [(5.98, "warn"), (6.02, "warn"), (5.96, "pass")])
def test_a_limit_within_the_uncertainty_is_left_to_a_person(d: float, outcome: str) -> None:
    checks = _by_code(indent_checks(d, d, SHOP, U_mean_mm=0.03))
    assert checks["diameter-range"].outcome == outcome


@pytest.mark.parametrize(
    ("rules", "d2", "outcome"),
    [
        ("iso", 4.1, "pass"),
        ("iso", 4.11, "warn"),
        ("astm", 3.9, "pass"),
        ("astm", 4.11, "fail"),
    ],
)
def test_ovality(rules: str, d2: float, outcome: str) -> None:
    # 1 % of the ball diameter: ASTM E10 from memory; binding there only
    check = _by_code(indent_checks(4.0, d2, SHOP, rules=rules))["ovality"]
    assert check.outcome == outcome
    assert "from memory" in check.source


def test_other_pairs_are_warned_of() -> None:
    assert _by_code(indent_checks(4, 4, SHOP))["standard-pair"].outcome == "pass"
    check = _by_code(indent_checks(4, 4, TestCondition(10, 2000)))["standard-pair"]
    assert check.outcome == "warn"
    assert "21 pairs" in check.message


def test_unknown_rules() -> None:
    with pytest.raises(ValueError, match="iso, astm"):
        indent_checks(4, 4, SHOP, rules="jis")


@pytest.mark.parametrize(("rules", "beyond"), [("iso", "warn"), ("astm", "fail")])
@pytest.mark.parametrize(
    ("hbw", "U_mm", "outcome"),
    [
        (649.9, None, "pass"),
        (650.0, None, "pass"),
        (650.1, None, "beyond"),
        (899.0, None, "beyond"),
        (901.0, None, "fail"),
        (1200.0, 0.01, "fail"),
        (651.0, 0.01, "warn"),
        (649.0, 0.01, "warn"),
        (600.0, 0.01, "pass"),
    ],
)
def test_no_brinell_hardness_above_650(rules, beyond, hbw, U_mm, outcome) -> None:
    # 650 HBW is the most (scope of ISO 6506-1:2005; ASTM E10 from memory); the published table
    # for 10/3000 ends at 899 HBW (2.05 mm)
    d = diameter_for(hbw, SHOP)
    check = _by_code(indent_checks(d, d, SHOP, rules=rules, U_mean_mm=U_mm))["hardness-range"]
    assert check.outcome == (beyond if outcome == "beyond" else outcome)
    assert "650 HBW" in check.message
    assert check.source


def test_a_test_that_only_gives_absurd_values_fails() -> None:
    # 3000 kgf on a 1 mm ball: even the whole ball sunk in is 1910 HBW
    check = _by_code(indent_checks(0.9, 0.9, TestCondition(1, 3000), U_mean_mm=0.001))
    assert check["hardness-range"].outcome == "fail"


@pytest.mark.parametrize("d", [1.8, 2.36, 6.04, 7.0])
def test_beyond_the_limit_by_more_than_u_is_no_longer_left_to_a_person(d: float) -> None:
    check = _by_code(indent_checks(d, d, SHOP, rules="astm", U_mean_mm=0.03))["diameter-range"]
    assert check.outcome == "fail"


@pytest.mark.parametrize(
    ("hbw", "U_hbw", "outcome"),
    [(646.0, 5.0, "warn"), (646.0, 3.0, "pass"), (654.0, 5.0, "warn"), (654.0, 3.0, "fail")],
)
def test_most_hbw_within_the_uncertainty_is_left_to_a_person(
    hbw: float, U_hbw: float, outcome: str
) -> None:
    """U of the diameter is brought to HBW by the slope of the formula."""
    d = diameter_for(hbw, SHOP)
    U_mm = U_hbw * (diameter_for(hbw - 1, SHOP) - diameter_for(hbw + 1, SHOP)) / 2
    checks = _by_code(indent_checks(d, d, SHOP, rules="astm", U_mean_mm=U_mm))
    assert checks["hardness-range"].outcome == outcome


@pytest.mark.parametrize("sign", [1, -1])
def test_the_hardness_is_that_of_the_mean_diameter(sign: int) -> None:
    d = diameter_for(645.0, SHOP)
    for step, outcome in ((0.0, "pass"), (-0.02, "fail")):
        pair = (d + step + sign * 0.05, d + step - sign * 0.05)
        check = _by_code(indent_checks(*pair, SHOP, rules="astm"))["hardness-range"]
        assert check.outcome == outcome


@pytest.mark.parametrize(
    ("rule", "pair", "code"),
    [
        ("ovality", (6.4, 6.6), "ovality"),
        ("most_hbw", (diameter_for(700.0, SHOP),) * 2, "hardness-range"),
    ],
)
@pytest.mark.parametrize(("binding", "outcome"), [(0, "warn"), (1, "fail")])
def test_each_rule_binds_for_itself(  # noqa: PLR0917  (its cases)
    tmp_path: Path, rule: str, pair: tuple[float, float], code: str, binding: int, outcome: str
) -> None:
    """Both are out of the range of diameters, too, which binds the other way round."""
    path = tmp_path / "ours.toml"
    path.write_text(
        'base = "iso"\nsource = "our copy"\n[limits]\n'
        f"{rule}_binding = {binding}\nd_range_binding = {1 - binding}\n",
        encoding="utf-8",
    )
    checks = _by_code(indent_checks(*pair, SHOP, rules=read_rules(path)))
    assert checks[code].outcome == outcome
    assert checks["diameter-range"].outcome == ("warn" if outcome == "fail" else "fail")
