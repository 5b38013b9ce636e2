"""Words of all verbs: empty ones where a file is due, decimal commas where a number is."""

from __future__ import annotations

import os
import sys
import typing
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
import typer
from typer.testing import CliRunner

from rimread.cli import app
from rimread.cli._verb import _NUMBER, _point
from rimread.cli.ledger import ledger

VERBS: list[tuple[tuple[str, ...], Callable[..., None]]] = [
    *(((_name.callback.__name__,), _name.callback) for _name in app.registered_commands),
    *(
        (("ledger", _name.name or _name.callback.__name__), _name.callback)
        for _name in ledger.registered_commands
    ),
]


def takes_files() -> Iterator[tuple[str, ...]]:
    """Each verb with each of its options and words that become a path, by its annotations."""
    for words, verb in VERBS:
        for name, hint in typing.get_type_hints(verb).items():
            if hint is Path or Path in typing.get_args(hint) or list[Path] in typing.get_args(hint):
                yield (*words, name)


EVERY = list(takes_files())


def test_all_verbs_are_asked() -> None:
    assert len(EVERY) > 30
    assert ("measure", "overlay") in EVERY
    assert ("ledger", "export", "out") in EVERY


@pytest.mark.parametrize("words", EVERY, ids=" ".join)
@pytest.mark.parametrize("way", ["apart", "joined"])
def test_an_empty_word_is_no_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], way: str
) -> None:
    monkeypatch.chdir(tmp_path)
    *verb, name = words
    option = f"--{name.replace('_', '-')}"
    given = [option, ""] if way == "apart" else [f"{option}="]
    positional = option not in CliRunner().invoke(app, [*verb, "--help"]).stdout
    done = CliRunner().invoke(app, [*verb, *([""] if positional else given)])
    assert done.exit_code == 2
    assert "(got an empty word)" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "--hardness", "200", "--hardness", "300"),
        ("hardness", "4.0", "4.0", "--test", "10/3000", "--test=5/750"),
    ],
)
def test_one_value_is_not_given_twice(words: tuple[str, ...]) -> None:
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 2
    assert "is given 2 times, and takes one value" in done.stderr


def test_options_that_take_several_values_and_flags_may_be_repeated() -> None:
    words = ("hardness", "4.0", "4.0", "--test", "10/3000", "--json", "--json")
    assert CliRunner().invoke(app, words).exit_code == 0


def test_empty_text_is_text() -> None:
    words = ("hardness", "--test", "10/3000", "4.0", "4.0", "--material", "")
    assert "material must be one of" in CliRunner().invoke(app, words).stderr
    missing = ("measure", "x.jpg", "--scale", "none.toml", "--test", "10/3000", "--operator", "")
    assert "none.toml" in CliRunner().invoke(app, missing).stderr


def test_an_empty_photo_is_none() -> None:
    done = CliRunner().invoke(app, ["measure", "", "--scale", "k.toml", "--test", "10/3000"])
    assert (done.exit_code, "(got an empty word)" in done.stderr) == (2, True)


# -- decimal commas -------------------------------------------------------------------------------


def takes_numbers() -> Iterator[tuple[str, ...]]:
    """Each verb with each of its options and words that become a number."""
    for words, verb in VERBS:
        for name, hint in typing.get_type_hints(verb).items():
            if hint is float or float in typing.get_args(hint):
                yield (*words, name)


def test_every_number_is_known_by_its_metavar() -> None:
    command = typer.main.get_command(app)
    asked = list(takes_numbers())
    assert len(asked) > 20
    for *verb, name in asked:
        found = command
        for word in verb:
            found = found.commands[word]
        (metavar,) = [p.metavar for p in found.params if p.name == name]
        assert _NUMBER.fullmatch(metavar or ""), (verb, name, metavar)


@pytest.mark.parametrize("way", [("--thickness", "2,5"), ("--thickness=2,5",)])
def test_a_decimal_comma_is_a_point(way: tuple[str, ...]) -> None:
    words = ("hardness", "--test", "10/3000", "4.0", "4.0")
    comma, point = (
        CliRunner().invoke(app, [*words, *given])
        for given in (way, [word.replace(",", ".") for word in way])
    )
    assert "thickness 2.5 mm" in comma.stdout
    assert comma.stdout == point.stdout


def test_a_decimal_comma_in_a_word_without_an_option() -> None:
    runner = CliRunner()
    comma, point = (runner.invoke(app, ["convert", n, "--to", "hrc"]) for n in ("353,5", "353.5"))
    assert comma.exit_code == 0
    assert comma.stdout == point.stdout
    after, before = (["--json", "353,5"], ["353,5", "--json"])  # a flag takes no value
    told = [runner.invoke(app, ["convert", *words, "--to", "hrc"]) for words in (after, before)]
    assert [done.exit_code for done in told] == [0, 0]
    assert told[0].stdout == told[1].stdout
    pair = runner.invoke(app, ["hardness", "--test", "10/3000", "4,0"])  # two diameters as ever
    assert pair.exit_code != 0


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "--material", "steel", "--hardness", "180,5-260,5"),
        ("verify", "--scope", "1:1,001", "2:1,998", "3:3,002", "4:4,001", "5:5,004"),
        ("hardness", "--test", "10/3000", "4.0", "4.0", "--temperature", "-3,5"),
    ],
    ids=" ".join,
)
def test_a_decimal_comma_in_a_range(words: tuple[str, ...]) -> None:
    comma, point = (
        CliRunner().invoke(app, given)
        for given in (words, [word.replace(",", ".") for word in words])
    )
    assert comma.exit_code == point.exit_code != 2
    assert comma.stdout == point.stdout


def test_a_decimal_comma_in_both_numbers_of_a_range() -> None:
    ends = [_point(None, word) for word in ("3,5:4,5", "2:4,5", "-12,5", "180-260,5", "3,5:x")]
    assert ends == ["3.5:4.5", "2:4.5", "-12.5", "180-260.5", "3.5:x"]
    words = ("validate", "--scale", "none.toml", "--test", "10/3000", "--diameter", "1,250:4,5")
    assert "1,250 may mean 1.250 or 1250" in CliRunner().invoke(app, words).stderr


@pytest.mark.parametrize("word", ["1,250", "12,500"])
def test_what_may_be_thousands_is_asked_back(word: str) -> None:
    done = CliRunner().invoke(app, ["convert", word, "--to", "hrc"])
    assert done.exit_code == 2
    assert f"{word} may mean {word.replace(',', '.')} or {word.replace(',', '')}" in done.stderr
    thin = ("hardness", "--test", "10/3000", "4.0", "4.0", "--thickness", "0,125")
    assert "thickness 0.125 mm" in CliRunner().invoke(app, thin).stdout


def test_windows_leaves_words_as_they_were_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Typer would expand all of them there, quoted or not, whatever they are for."""
    for name in ("stage1.jpg", "stage[1].jpg"):
        (tmp_path / name).write_text("no picture", encoding="utf-8")
    words = ["rimread", "calibrate", "stage[1].jpg"]
    there = SimpleNamespace(name="nt", environ=os.environ, getenv=os.getenv)
    monkeypatch.setattr("typer.core.os", there)
    monkeypatch.setattr(sys, "argv", [*words, "--division", "0.1", "--out", "s.toml"])
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        app()
    assert ended.value.code == 2
    assert "stage[1].jpg: not a picture" in capsys.readouterr().err
