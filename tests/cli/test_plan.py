"""``rimread plan`` as a person or a program calls it."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner, Result

from rimread.cli import app


def _call(*words: str) -> Result:
    return CliRunner().invoke(app, ["plan", *words])


def test_json() -> None:
    words = ["--material", "steel", "--hardness", "180-260", "--thickness", "4", "--json"]
    answer = json.loads(_call(*words).stdout)
    assert [o["test"] for o in answer["options"]] == ["5/750", "2.5/187.5", "1/30"]
    assert answer["options"][0]["thickness_mm"] == pytest.approx(2.122, abs=0.001)
    assert {e["test"]: e["why"] for e in answer["excluded"]}["10/3000"].startswith("thickness")


def test_for_people() -> None:
    result = _call("--material", "copper", "--hardness", "60", "--ball", "5", "--ball", "2.5")
    assert result.exit_code == 0
    assert "5/250" in result.stdout
    assert "1/10" not in result.stdout
    assert "from memory" in result.stdout


def test_nothing_fits() -> None:
    result = _call("--material", "steel", "--hardness", "200", "--thickness", "0.1")
    assert result.exit_code == 1
    assert "no pair of ball and force fits" in result.stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--material", "wood", "--hardness", "200"], "material must be one of"),
        (["--material", "steel", "--hardness", "hard"], "a figure or a range in HBW"),
        (["--material", "steel", "--hardness", "1-2-3"], "a figure or a range in HBW"),
        (["--material", "steel", "--hardness", "60HRC"], "a figure or a range in HBW"),
        (["--material", "steel", "--hardness", "-200"], "a figure or a range in HBW"),
        (["--material", "steel", "--hardness", "900"], "ends at 650 HBW"),
        (["--material", "steel", "--hardness", "200", "--ball", "3"], "none of the standard's"),
        (["--material", "steel", "--hardness", "200", "--thickness", "0"], "must be above 0 mm"),
    ],
)
def test_bad_input_gets_one_sentence(words: list[str], says: str) -> None:
    result = _call(*words)
    assert result.exit_code == 2
    assert says in result.stderr
    assert result.stderr.count("\n") == 1
