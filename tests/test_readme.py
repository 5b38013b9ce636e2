"""What README.md says is so."""

import ast
import re
import shlex
import subprocess
import sys
import textwrap
from pathlib import Path
from typing import get_args, get_type_hints

import pytest
from typer.testing import CliRunner

from rimread.archive.differences import Difference
from rimread.archive.items import _locked
from rimread.archive.run import REPEATED
from rimread.cli import app
from rimread.hardness import read_block, read_rules
from rimread.photo import FORMATS
from rimread.table import Problem

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def refusal_codes(*stages: str) -> set[str]:
    """Codes of the refusals that modules of the package make."""
    codes = set()
    for stage in stages:
        path = ROOT / "src" / "rimread" / stage
        for module in [path] if path.suffix else path.rglob("*.py"):
            for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Refusal":
                    codes |= {a.value for a in node.args[:1] if isinstance(a, ast.Constant)}
    return codes


def test_every_refusal_is_told_and_none_that_is_gone():
    (locked,) = _locked([PermissionError(13, "Permission denied", "drawer")])
    stages = ("refusal.py", "rim", "scale", "diameters.py", "hardness", "reading", "cli")
    made = refusal_codes(*stages, "archive", "capture", "bench")
    made |= {Problem(1, "").code, REPEATED, locked.code}
    table = README[README.index("## Refusals") : README.index("## The program in")]
    told = {
        code
        for line in table.splitlines()
        if line.startswith("| `")
        for code in re.findall(r"`([a-z-]+)`", line.split("|")[1])
    }
    assert told == made


def test_every_reason_to_pull_is_told():
    table = README[README.index("| pull |") :].partition("\n\n")[0]
    told = re.findall(r"^\| `([a-z-]+)`", table, flags=re.MULTILINE)
    assert sorted(told) == sorted(filter(None, get_args(get_type_hints(Difference)["why"])))


def commands() -> list[list[str]]:
    """Every ``rimread VERB …`` line of the indented examples, as words."""
    joined = README.replace("\\\n", " ")
    lines = re.findall(r"^    (rimread (?:.|\n)*?)$", joined, flags=re.MULTILINE)
    return [shlex.split(re.split(r"\s{4,}", line)[0])[1:] for line in lines]


@pytest.mark.parametrize("words", commands(), ids=" ".join)
def test_options_of_the_examples_exist(words):
    verb, *rest = words
    verbs = [verb, rest[0]] if verb == "ledger" else [verb]
    help_text = CliRunner().invoke(app, [*verbs, "--help"]).stdout
    for word in rest:
        if word.startswith("--"):
            assert re.search(rf"{word}\b", help_text)


def example(key: str) -> str:
    """The TOML example that begins with a key."""
    return re.search(rf"```toml\n({key} = .*?)```", README, flags=re.DOTALL)[1]


def test_files_to_be_written_by_hand_are_read(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text(example("serial"), encoding="utf-8")
    assert read_block(path).test.name == "10/3000"
    path.write_text(example("base"), encoding="utf-8")
    assert read_rules(path)["ovality_in_balls"] == 0.005


def test_every_kind_of_picture_that_is_read_is_told():
    told = README[README.index("JPEG,\nPNG") : README.index("not the raw files")].upper()
    assert [kind for kind in FORMATS if kind not in told] == []


def test_links_lead_somewhere():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists()


def test_the_first_command_names_files_that_exist():
    first = README.split("```sh\n")[1].splitlines()[0]
    assert list(ROOT.glob(re.search(r"measure (\S+)", first)[1]))
    assert (ROOT / re.search(r"--scale (\S+)", first)[1]).exists()


def test_the_map_for_developers_names_every_part():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    parts = {
        path.name + ("/" if path.is_dir() else "")
        for path in (ROOT / "src" / "rimread").iterdir()
        if path.name not in {"__init__.py", "__pycache__", "py.typed"}
    }
    assert {part for part in parts if f"`{part}`" not in text} == set()


@pytest.mark.slow
def test_the_program_in_your_own_code_is_typed(tmp_path):
    """The example type-checks: what `if reading:` leaves is known to a type checker."""
    code = README.split("## The program in your own code")[1].split("\n\nHow")[0]
    path = tmp_path / "example.py"
    path.write_text(textwrap.dedent(code.strip("\n")), encoding="utf-8")
    words = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(tmp_path), str(path)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert "no issues found" in done.stdout, done.stdout
