"""Rule sets and the lab's own file over them."""

from __future__ import annotations

from pathlib import Path

import pytest

from rimread.hardness import TestCondition, indent_checks, read_rules, rule_set

SHOP = TestCondition(10, 3000)


def _file(folder: Path, text: str) -> Path:
    path = folder / "ours.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_both_sets_hold_the_same_limits_each_with_a_source() -> None:
    iso, astm = rule_set("iso"), rule_set("astm")
    assert set(iso.limits) == set(astm.limits)
    for rules in (iso, astm):
        assert all(limit.source for limit in rules.limits.values())


def test_everything_astm_changes_is_from_memory_and_says_so() -> None:
    iso, astm = rule_set("iso"), rule_set("astm")
    changed = [name for name, limit in astm.limits.items() if limit.value != iso[name]]
    assert changed
    assert [name for name in changed if "from memory" not in astm.limits[name].source] == []


def test_a_file_takes_the_place_of_memory(tmp_path: Path) -> None:
    path = _file(
        tmp_path,
        'base = "iso"\nsource = "our copy, 2024 print"\n[limits]\n'
        "ovality_in_balls = 0.005\novality_binding = 1\n",
    )
    rules = read_rules(path)
    assert rules.name == "ours"
    check = {c.code: c for c in indent_checks(4.0, 4.06, SHOP, rules=rules)}["ovality"]
    assert check.outcome == "fail"
    assert check.source == "our copy, 2024 print"
    assert rules["thickness_in_depths"] == 8
    assert rules.repeatability_on == "hbw"


@pytest.mark.parametrize("base", ["iso", "astm"])
@pytest.mark.parametrize("name", ["ours", "iso", "astm"])
def test_what_a_file_does_not_name_keeps_the_source_of_its_base(
    tmp_path: Path, name: str, base: str
) -> None:
    path = tmp_path / f"{name}.toml"
    path.write_text(f'base = "{base}"\nsource = "our copy"\n', encoding="utf-8")
    ours, theirs = (
        [check.source for check in indent_checks(4.0, 4.0, SHOP, rules=rules)]
        for rules in (read_rules(path), base)
    )
    assert ours == theirs
    assert ("E10" in ours[-1]) == (base == "astm")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("base = ", "is not TOML"),
        ('base = "din"\nsource = "x"', 'base must be "iso" or "astm"'),
        ('source = "x"', 'base must be "iso" or "astm"'),
        ('base = ["iso"]\nsource = "x"', 'base must be "iso" or "astm"'),
        ('base = "iso"\nsource = "x"\ntitle = 3', "title must be text"),
        ('base = "iso"', "source must say"),
        ('base = "iso"\nsource = " "', "source must say"),
        ('base = "iso"\nsource = "x"\nlimit = 3', "unknown key 'limit'"),
        ('base = "iso"\nsource = "x"\nlimits = 3', "must be a table"),
        ('base = "iso"\nsource = "x"\n[limits]\nspaces = 3', "unknown limit 'spaces'"),
        ('base = "iso"\nsource = "x"\n[limits]\nedge_in_d = "3"', "must be a number"),
        ('base = "iso"\nsource = "x"\n[limits]\nedge_in_d = true', "must be a number"),
        ('base = "iso"\nsource = "x"\n[limits]\nedge_in_d = nan', "must be finite"),
        ('base = "iso"\nsource = "x"\n[limits]\nedge_in_d = -1', "must be finite and not neg"),
        ('base = "iso"\nsource = "x"\nrepeatability_on = "h"', 'must be "hbw" or "d"'),
    ],
)
def test_what_is_wrong_with_a_file(tmp_path: Path, text: str, says: str) -> None:
    path = _file(tmp_path, text)
    with pytest.raises(ValueError, match=says) as caught:
        read_rules(path)
    assert str(path) in str(caught.value)


def test_a_file_that_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / "rules.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ValueError, match="is not TOML"):
        read_rules(path)


def test_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        read_rules(tmp_path / "none.toml")


FIGURES = {
    "d_min_in_balls": (0.24, 0.24),
    "d_max_in_balls": (0.6, 0.6),
    "d_range_binding": (0, 1),
    "most_hbw": (650, 650),
    "most_hbw_binding": (0, 1),
    "absurd_hbw": (900, 900),
    "thickness_in_depths": (8, 10),
    "edge_in_d": (2.5, 2.5),
    "spacing_in_d": (3, 3),
    "soft_below_hbw": (35, 0),
    "edge_in_d_soft": (3, 3),
    "spacing_in_d_soft": (6, 6),
    "ovality_in_balls": (0.01, 0.01),
    "ovality_binding": (0, 1),
    "radius_in_balls": (2.5, 2.5),
    "radius_binding": (0, 1),
    "temperature_min_c": (10, 10),
    "temperature_max_c": (35, 35),
    "application_min_s": (2, 1),
    "application_max_s": (8, 8),
    "dwell_min_s": (10, 10),
    "dwell_max_s": (15, 15),
    "roughness_ra_um": (1.6, 1.6),
    "force_rel": (0.01, 0.01),
    "ball_tolerance_10_mm": (0.005, 0.005),
    "ball_tolerance_5_mm": (0.004, 0.004),
    "ball_tolerance_small_mm": (0.003, 0.003),
    "class_low_hbw": (125, 125),
    "class_high_hbw": (225, 225),
    "error_rel_low": (0.03, 0.03),
    "error_rel_mid": (0.025, 0.03),
    "error_rel_high": (0.02, 0.03),
    "repeatability_rel_low": (0.03, 0.03),
    "repeatability_rel_mid": (0.025, 0.025),
    "repeatability_rel_high": (0.02, 0.02),
    "reading_rel": (0.005, 0.005),
    "verify_every_days": (1, 1),
    "scope_every_days": (182, 182),
    "machine_every_days": (365, 365),
}
"""ISO and ASTM, once more beside `rimread.hardness.rules`, which names the source of each."""


def test_no_limit_changes_by_a_slip_of_the_pen() -> None:
    iso, astm = rule_set("iso"), rule_set("astm")
    assert {name: (iso[name], astm[name]) for name in iso.limits} == FIGURES
    assert (iso.repeatability_on, astm.repeatability_on) == ("hbw", "d")
