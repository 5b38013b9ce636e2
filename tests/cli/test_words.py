"""An empty word for a file, as a script's variable that is not set gives it."""

from __future__ import annotations

import typing
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimread.cli import app
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


def test_empty_text_is_text() -> None:
    words = ("hardness", "--test", "10/3000", "4.0", "4.0", "--material", "")
    assert "material must be one of" in CliRunner().invoke(app, words).stderr
    missing = ("measure", "x.jpg", "--scale", "none.toml", "--test", "10/3000", "--operator", "")
    assert "none.toml" in CliRunner().invoke(app, missing).stderr


def test_an_empty_photo_is_none() -> None:
    done = CliRunner().invoke(app, ["measure", "", "--scale", "k.toml", "--test", "10/3000"])
    assert (done.exit_code, "(got an empty word)" in done.stderr) == (2, True)
