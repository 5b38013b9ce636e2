"""``rimread hardness`` as a person or a program calls it."""

from __future__ import annotations

import json
import math
import statistics
from pathlib import Path
from typing import Any

import pytest
from tests.hardness.published import HBW_10_3000
from typer.testing import CliRunner, Result

from rimread.cli import app

BLOCK = 'serial = "B-17"\ncertified_hbw = 229.0\nU_hbw = 2.3\nk = 2\ntest = "10/3000"\n'


def _call(*words: str, stdin: str | bytes | None = None) -> Result:
    return CliRunner().invoke(app, ["hardness", *words], input=stdin)


def _json(*words: str, stdin: str | None = None) -> dict[str, Any]:
    result = _call(*words, "--json", stdin=stdin)
    return dict(json.loads(result.stdout))


@pytest.mark.parametrize(("d", "hbw"), HBW_10_3000)
def test_published_pair(d: float, hbw: int) -> None:
    result = _call("--test", "10/3000", f"{d:.2f}", "--json")
    assert result.exit_code == 0
    assert result.stderr == ""
    answer = json.loads(result.stdout)
    assert answer["reported"] == f"{hbw} HBW 10/3000"
    assert round(answer["hbw"]) == hbw
    assert answer["mean_mm"] == pytest.approx(d)
    inside = 2.4 <= d <= 6.0
    outcomes = {c["code"]: c["outcome"] for c in answer["checks"]}
    assert outcomes["diameter-range"] == ("pass" if inside else "warn")


def test_two_diameters() -> None:
    answer = _json("--test", "10/3000", "3.98", "4.02")
    assert answer["mean_mm"] == pytest.approx(4.0)
    assert answer["reported"] == "229 HBW 10/3000"
    assert (answer["d1_mm"], answer["d2_mm"]) == (3.98, 4.02)
    assert answer["U_hbw"] is None


def test_for_people() -> None:
    result = _call("--test", "10/3000", "2.05")
    assert result.exit_code == 0
    assert "899 HBW 10/3000" in result.stdout
    assert "state d/D in the report" in result.stdout


def test_a_failed_check_is_exit_1() -> None:
    assert _call("--test", "10/3000", "4.0", "4.2", "--rules", "astm").exit_code == 1
    assert _call("--test", "10/3000", "4.0", "4.2", "--rules", "iso").exit_code == 0
    assert _call("--test", "10/3000", "4.0", "--thickness", "3").exit_code == 1


def test_the_piece() -> None:
    words = ["--material", "steel", "--thickness", "5", "--edge", "12", "--spacing", "11"]
    answer = _json("--test", "10/3000", "4.0", *words, "--temperature", "40", "--radius", "30")
    outcomes = {c["code"]: c["outcome"] for c in answer["checks"]}
    assert outcomes["thickness"] == outcomes["edge"] == outcomes["material-index"] == "pass"
    assert outcomes["spacing"] == "fail"
    assert outcomes["temperature"] == "warn"
    assert outcomes["curvature"] == "pass"


def test_working() -> None:
    result = _call("--test", "10/3000", "4.02", "4.04", "--working")
    assert "π × 10 × 0.42400011" in result.stdout
    assert "29419.95 N" in result.stdout
    assert "224.1 or 226.4 HBW" in result.stdout
    assert len(_json("--test", "10/3000", "4.02", "--working")["working"]) == 9


def test_series_and_uncertainty() -> None:
    words = ["4.02,4.04", "4.00,4.03", "4.05,4.03", "--resolution", "0.02"]
    answer = _json("--test", "10/3000", *words)
    assert answer["n"] == 3
    by_hand = [6000 / (math.pi * 10 * (10 - math.sqrt(100 - d * d))) for d in (4.03, 4.015, 4.04)]
    assert [i["hbw"] for i in answer["indents"]] == pytest.approx(by_hand)
    assert answer["hbw"] == pytest.approx(statistics.fmean(by_hand))
    assert answer["sd_hbw"] == pytest.approx(statistics.stdev(by_hand))
    assert answer["U_hbw"] > 0
    assert {p["name"] for p in answer["budget"]} == {
        "force",
        "ball diameter",
        "scope",
        "resolution",
        "scatter of the indents",
    }
    assert [c["code"] for c in answer["checks"]] == ["agreement", "outlier"]


def test_drop_extremes_shows_every_value() -> None:
    words = ["4.0,4.0", "4.1,4.1", "3.9,3.9", "4.02,4.02", "4.04,4.04"]
    answer = _json("--test", "10/3000", *words, "--average", "drop-extremes")
    assert [i["used"] for i in answer["indents"]] == [True, False, False, True, True]
    result = _call("--test", "10/3000", *words, "--average", "drop-extremes")
    assert result.stdout.count("dropped") == 2


def _result(d: float, **more: object) -> str:
    record = {
        "photo": "p.jpg",
        "status": "measured",
        "d1_mm": d,
        "d2_mm": d,
        "mean_mm": d,
        "U_mean_mm": 0.008,
        "k": 2.0,
        "test": "10/3000",
    }
    return json.dumps(record | more)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])  # as PowerShell pipes
def test_results_of_measure_on_standard_input(encoding: str) -> None:
    refused = json.dumps({"photo": "q.jpg", "status": "refused", "d1_mm": None})
    lines = "\n".join([_result(4.0), "", _result(4.02), refused])
    result = _call("--test", "10/3000", "-", "--json", stdin=lines.encode(encoding))
    assert result.exit_code == 1  # one was refused
    assert "q.jpg was refused" in result.stderr
    answer = json.loads(result.stdout)
    assert answer["n"] == 2
    # nothing is said of what the photos share, so their U is taken as one error common to all
    reading = next(p for p in answer["budget"] if p["name"] == "reading")
    slope = 2.092 * 228.0 / 4.01
    assert reading["u_hbw"] == pytest.approx(0.004 * slope, rel=0.01)


def test_what_did_not_pass_when_it_was_measured_is_told_again_once() -> None:
    def checks(**outcomes: str) -> list[dict[str, str]]:
        return [
            {"code": code, "outcome": outcome, "message": f"{code} it is", "source": "the standard"}
            for code, outcome in outcomes.items()
        ]

    lines = [
        _result(
            4.0, photo="a.jpg", checks=checks(resolution="warn", certificate="warn", date="pass")
        ),
        _result(4.02, photo="b.jpg", checks=checks(certificate="warn", date="fail")),
    ]
    result = _call("--test", "10/3000", "-", "--json", stdin="\n".join(lines))
    told = [(c["outcome"], c["message"]) for c in json.loads(result.stdout)["checks"]]
    assert result.exit_code == 1
    assert told[-3:] == [
        ("warn", "a.jpg: resolution it is"),
        ("warn", "a.jpg and 1 more: certificate it is"),
        ("fail", "b.jpg: date it is"),
    ]


@pytest.mark.parametrize(
    ("numbers", "n"), [((None, 1), 1), ((1, None), 1), ((1, 2), 2), ((2, 2), 1)]
)
def test_an_indent_of_a_photo_counts_once_whichever_way_it_was_measured(
    numbers: tuple[int | None, ...], n: int
) -> None:
    lines = [_result(4.0, sha256="a" * 64, indent=number) for number in numbers]
    result = _call("--test", "10/3000", "-", "--json", stdin="\n".join(lines))
    assert json.loads(result.stdout)["n"] == n
    assert ("a photo counts once" in result.stderr) == (n == 1)


def test_copies_in_other_formats_are_told() -> None:
    place = {"centre_x_px": 500.0, "centre_y_px": 400.0}
    results = [("1.jpg", 4.0, place), ("2.jpg", 4.2, {}), ("1.png", 4.0, place)]
    lines = "\n".join(_result(d, photo=photo, sha256=photo, **at) for photo, d, at in results)
    answer = _json("--test", "10/3000", "4.1,4.1", "-", stdin=lines)
    (twice,) = [check for check in answer["checks"] if check["code"] == "taken-twice"]
    assert twice["outcome"] == "warn"
    assert "indents 2 and 4 " in twice["message"]


def test_one_diameter_says_nothing_of_roundness() -> None:
    one, two = (
        {check["code"]: check["outcome"] for check in _json("--test", "10/3000", *typed)["checks"]}
        for typed in (["4.02"], ["4.02", "4.02"])
    )
    assert (one["one-diameter"], two["ovality"]) == ("warn", "pass")
    assert "ovality" not in one
    assert "one-diameter" not in two


def test_a_pattern_of_files_of_results(tmp_path: Path) -> None:
    for name, d in (("1", 4.0), ("2", 4.02)):
        (tmp_path / f"plate-{name}.jsonl").write_text(_result(d, photo=name), encoding="utf-8")
    assert _json("--test", "10/3000", str(tmp_path / "plate-*.jsonl"))["n"] == 2  # as cmd.exe sends


def test_budgets_of_results_are_used(tmp_path: Path) -> None:
    parts = [
        {"name": "scale", "u_mm": 0.003, "dof": None, "how": "", "common": True},
        {"name": "edge", "u_mm": 0.002, "dof": 30, "how": "", "common": False},
    ]
    file = tmp_path / "results,2.jsonl"  # a file for all its comma
    line = _result(4.0, budget_mm=parts, U_mean_mm=None)  # it follows from the parts
    file.write_text(f"{line}\n{line}", encoding="utf-16")  # what PowerShell 5 redirects
    budget = {p["name"]: p for p in _json("--test", "10/3000", str(file))["budget"]}
    scatter = budget["scatter of the indents"]  # none is seen: that of the edge
    assert scatter["u_hbw"] * 2**0.5 * 1.5 == pytest.approx(budget["scale"]["u_hbw"])
    assert scatter["dof"] == 1


def test_typed_diameters_among_results_are_told_as_the_cause_of_no_uncertainty() -> None:
    words = ["--test", "10/3000", "4.0,4.02", "-"]
    without = _call(*words, stdin=_result(4.0)).stdout
    assert "no U: say by --resolution" in without
    assert "±" not in without
    asked = _call(*words, "--resolution", "0.02", stdin=_result(4.0)).stdout
    assert "no U" not in asked
    assert "±" in asked


def test_through_the_block(tmp_path: Path) -> None:
    block = tmp_path / "block.toml"
    block.write_text(BLOCK, encoding="utf-8")
    words = ["4.10,4.11", "4.10,4.12", "--resolution", "0.01", "--block", str(block)]
    on_block = ["--on-block", "3.98,3.98", "--on-block", "3.97,3.99", "--on-block", "3.98,3.99"]
    bias = _json("--test", "10/3000", *words, *on_block, "--way", "bias")
    error = _json("--test", "10/3000", *words, *on_block, "--way", "permissible-error")
    assert bias["hbw_corrected"] < bias["hbw"]
    assert bias["reported"] == f"{bias['hbw_corrected']:.0f} HBW 10/3000"  # as on paper
    assert error["hbw_corrected"] is None
    assert bias["U_hbw_corrected"] < error["U_hbw"]
    taken_off = bias["hbw"] - bias["hbw_corrected"]
    assert bias["U_hbw"] == pytest.approx(bias["U_hbw_corrected"] + taken_off)  # of "hbw"
    assert error["U_hbw_corrected"] is None
    assert "block-error" in {c["code"] for c in bias["checks"]}
    far = _call("--test", "10/3000", *words, "--on-block", "3.8,3.8", "--way", "permissible-error")
    assert far.exit_code == 1
    assert "did not pass" in far.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--test", "10/3000", "12"], "below the ball diameter 10 mm (got 12 mm)"),
        (["--test", "10/3000", "10"], "below the ball diameter 10 mm (got 10 mm)"),
        (["--test", "10/3000", "0"], "a diameter must be above 0 mm"),
        (["--test", "10/3000", "--", "-4"], "a diameter must be above 0 mm"),
        (["--test", "10/3000", "nan"], "a diameter must be above 0 mm"),
        (["--test", "10/3000", "4.02", "4020"], "nearly equal and both in mm"),
        (["--test", "10/3000", "4.02", "0.158"], "nearly equal and both in mm"),
        (["--test", "10/3000", "4,02"], "with decimal points"),
        (["--test", "10/3000", "4.02mm"], "neither diameters in mm"),
        (["--test", "10/3000", "none.jsonl"], "neither diameters in mm"),
        (["--test", "10/3000", "4.0", "4.1", "4.2"], "pairs D1,D2"),
        (["--test", "3000/10", "4.0"], "ball diameter of a Brinell test"),
        (["--test", "10/29420", "4.0"], "in newtons"),
        (["--test", "10", "4.0"], "ball mm / force kgf"),
        (["--test", "10/3000", "4.0", "--rules", "din"], "rules must be one of"),
        (["--test", "10/3000", "4.0", "--rules", "none.toml"], "none.toml"),
        (["--test", "10/3000", "4.0", "--material", "wood"], "material must be one of"),
        (["--test", "10/3000", "4.0", "--thickness", "-1"], "thickness must be above 0 mm"),
        (["--test", "10/3000", "4.0", "--average", "drop-extremes"], "at least 5 indents"),
        (["--test", "10/3000", "4.0", "--way", "bias"], "give --block and --on-block"),
        (["--test", "10/3000", "4.0", "--block", "b.toml"], "belong together"),
        (["--test", "10/3000", "4.0", "--resolution", "0"], "resolution of a reading"),
        (["--test", "10/3000", "4.0,4.0", "4.1,4.1", "--working"], "shows one indent"),
    ],
)
def test_bad_input_gets_one_sentence(words: list[str], says: str) -> None:
    result = _call(*words)
    assert result.exit_code == 2
    assert says in result.stderr
    assert result.stderr.count("\n") == 1
    assert result.stdout == ""


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ("", "at least one indent"),
        ("hello", "line 1 is no result"),
        ("[1, 2]", "line 1 is no result"),
        ('{"status": "ok"}', "line 1: status must be measured or refused"),
        (_result(4.0).replace("4.0", "null"), "d1_mm must be a number"),
        (_result(-4.0), "d1_mm must be above 0"),
        (_result(4.0, U_mean_mm=None), "U_mean_mm is missing"),
        (_result(4.0, mean_mm=4.1), "line 1: mean_mm is 4.1, but 4 follows"),
        (_result(4.0, U_mean_mm=0), "U_mean_mm must be above 0"),
        (_result(2.0, test="5/750"), "was measured under 5/750, not under 10/3000"),
        (_result(4.0, budget_mm=[{"name": "scale"}]), "u_mm must be a number"),
        (_result(4.0, budget_mm=7), "budget_mm"),
        (_result(4.0, budget_mm=[{"name": "scale", "u_mm": -1}]), "0 <= u"),
    ],
)
def test_bad_results_get_one_sentence(lines: str, says: str) -> None:
    result = _call("--test", "10/3000", "-", stdin=lines)
    assert result.exit_code == 2
    assert says in result.stderr
    assert result.stderr.count("\n") == 1
