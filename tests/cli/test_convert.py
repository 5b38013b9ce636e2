"""``rimread convert`` as a person or a program calls it."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner, Result

from rimread.cli import app


def _call(*words: str) -> Result:
    return CliRunner().invoke(app, ["convert", *words])


def test_one_scale() -> None:
    result = _call("353", "--to", "hrc", "--table", "sae-j417", "--U", "8")
    assert result.exit_code == 0
    assert "353 HBW 10/3000 (38 HRC), approximate, by SAE J417" in result.stdout
    assert "from 37.1 to 38.9" in result.stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("230", "--to", "hrc", "--U", "5"), "from below the table to 21.6: its"),
        (("600", "--to", "hrc", "--U", "40"), "from 54.6 to beyond the table: its"),
        (("450", "--to", "hrc", "--U", "400"), "from below the table to beyond the table: its"),
    ],
)
def test_an_uncertainty_that_leaves_the_table_is_told(words: tuple[str, ...], says: str) -> None:
    stdout = _call(*words).stdout
    assert f"U of the measured value alone takes it {says} interval leaves the table" in stdout


def test_without_an_uncertainty_nothing_is_said_of_it() -> None:
    assert "U of" not in _call("230", "--to", "hrc").stdout
    assert "leaves" not in _call("353", "--to", "hrc", "--U", "8").stdout


def test_all_the_table_gives() -> None:
    result = _call("229", "--table", "asm-a3-4")
    assert result.exit_code == 0
    assert result.stdout.count("approximate") == 3
    assert result.stderr == ""


def test_brackets_stay() -> None:
    stdout = _call("560", "--to", "hv").stdout
    assert "560 HBW 10/3000 ([589 HV])" in stdout
    assert "in square brackets: beyond the table's normal range, for information only" in stdout


def test_the_help_says_which_brackets_mean_what() -> None:
    told = " ".join(_call("--help").stdout.split())
    for words, shown in (
        (("353", "--to", "hrc"), "353 HBW 10/3000 (38 HRC)"),
        (("560", "--to", "hv"), "([589 HV])"),
    ):
        assert shown in told
        assert shown in _call(*words).stdout


def test_json_has_a_line_per_scale() -> None:
    lines = [json.loads(line) for line in _call("353", "--json").stdout.splitlines()]
    assert [line["to"] for line in lines] == ["hv", "hrc", "hrb", "rm"]
    assert [line["status"] for line in lines] == [
        "converted",
        "converted",
        "refused",
        "converted",
    ]
    assert lines[2]["reasons"][0]["code"] == "scale-not-covered"
    assert all(line["approximate"] for line in lines)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["700"], "700 HBW is outside"),
        (["200", "--to", "hrc"], "200 HBW is outside"),
        (["229", "--to", "hv", "--material", "copper"], "steel and cast steel only"),
        (["100", "--to", "hv", "--test", "10/1000"], "index 0.102 F/D² of 30"),
        (["353", "--to", "hrc", "--to", "hrb"], "does not give HRB"),
    ],
)
def test_refused_is_exit_1(words: list[str], says: str) -> None:
    result = _call(*words)
    assert result.exit_code == 1
    assert says in result.stderr
    assert _call(*words, "--json").exit_code == 1


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["229", "--to", "hrd"], "scale must be one of"),
        (["229", "--table", "ours"], "table must be one of"),
        (["229", "--material", "wood"], "material must be one of"),
        (["nan"], "above 0 HBW"),
        (["0"], "above 0 HBW"),
        (["229", "--U", "-1"], "0 HBW or more"),
        (["229", "--test", "3000"], "ball mm / force kgf"),
    ],
)
def test_bad_input_gets_one_sentence(words: list[str], says: str) -> None:
    result = _call(*words)
    assert result.exit_code == 2
    assert says in result.stderr
    assert result.stderr.count("\n") == 1
