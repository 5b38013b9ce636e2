"""Measuring with a ledger, and readings by a person beside the image's."""

import json
import os
import shutil
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimread.cli import app
from rimread.cli._book import _one_name
from rimread.hardness import brinell, parse_test
from rimread.ledger import audit, open_ledger

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
SCALE = ROOT / "calibration/hall-scope.toml"
GOOD, BAD = SAMPLES / "hall-plate-1.jpg", SAMPLES / "hall-double.jpg"


def measure(*words, options=("--json",)):
    always = ["--scale", SCALE, "--test", "10/3000", "--on", "2026-11-20"]
    return CliRunner().invoke(app, ["measure", *map(str, [*words, *always, *options])])


def entries(where):
    with open_ledger(where, create=False) as book:
        assert list(audit(book)) == []
        return list(book.entries())


def test_measured_refused_and_unreadable_are_kept(tmp_path):
    book = tmp_path / "book.db"
    (tmp_path / "none.jpg").touch()
    done = measure(GOOD, BAD, tmp_path / "none.jpg", "--ledger", book, "--operator", "Zoë")
    assert done.exit_code == 2
    shown = [json.loads(line) for line in done.stdout.splitlines()]
    kept = entries(book)
    assert [r["ledger_entry"] for r in shown] == [e.number for e in kept] == [1, 2, 3]
    assert {e.draft.operator for e in kept} == {"Zoë"}
    for record, entry in zip(shown, kept, strict=True):
        assert entry.record["status"] == record["status"]
        assert entry.record["sha256"] == record["sha256"]
        assert entry.record["reasons"] == record["reasons"]
        assert entry.record["mean_mm"] == record["mean_mm"]
        assert entry.record["test"] == "10/3000"
        assert entry.record["scale_file"] == str(SCALE)
        assert len(entry.record["scale_sha256"]) == 64
        assert entry.record["version"]


def test_readings_by_a_person_stand_beside_the_image(tmp_path):
    book = tmp_path / "book.db"
    pairs = ["--human", "4.83,4.81", "--human", "4.85,4.83", "--operator", "Zoë"]
    done = measure(GOOD, *pairs, "--ledger", book)
    assert done.exit_code == 0
    shown = json.loads(done.stdout)
    image, *hands = entries(book)
    assert [e.draft.kind for e in (image, *hands)] == ["image", "hand", "hand"]
    for trial, (hand, mean) in enumerate(zip(hands, (4.82, 4.84), strict=True), start=1):
        assert hand.draft.operator == "Zoë"
        assert hand.record["image_entry"] == image.number
        assert hand.record["sha256"] == image.record["sha256"]
        assert hand.record["mean_mm"] == pytest.approx(mean)
        assert hand.record["hbw"] == brinell(hand.record["mean_mm"], parse_test("10/3000"))
        assert hand.record["trial"] == trial
        told = shown["human"][trial - 1]
        assert told["human_minus_image_mm"] == pytest.approx(mean - image.record["mean_mm"])
    table = measure(GOOD, *pairs, options=())
    assert "read by Zoë: 4.83, 4.81 mm, mean 4.820 mm, -0.0" in table.stdout
    assert "against the image; 154 HBW 10/3000" in table.stdout
    assert "ledger entry" not in table.stdout


def test_a_person_may_have_read_what_the_program_refuses(tmp_path):
    book = tmp_path / "book.db"
    done = measure(BAD, "--human", "3.42,3.45", "--operator", "A", "--ledger", book)
    assert done.exit_code == 1
    assert json.loads(done.stdout)["human"][0]["human_minus_image_mm"] is None
    assert [e.record["status"] for e in entries(book)] == ["refused", "measured"]
    table = measure(BAD, "--human", "3.42,3.45", "--operator", "A", options=())
    assert "read by A: 3.42, 3.45 mm, mean 3.435 mm; " in table.stdout


def test_corrections_name_what_they_replace(tmp_path):
    book = tmp_path / "book.db"
    measure(GOOD, "--ledger", book)
    done = measure(GOOD, "--ledger", book, "--replaces", "1", "--reason", "wrong job")
    assert done.exit_code == 0
    assert entries(book)[1].draft.replaces == 1
    again = measure(GOOD, "--ledger", book, "--replaces", "1", "--reason", "wrong job")
    assert again.exit_code == 2
    assert "entry 1 is replaced by 2 already" in again.stderr
    assert len(entries(book)) == 2


def test_what_is_replaced_is_the_image_reading_of_the_same_photo(tmp_path):
    book = tmp_path / "book.db"
    measure(GOOD, "--ledger", book, "--human", "4.83,4.81", "--operator", "Zoë")
    for photo, number, says in (
        (BAD, "1", f"entry 1 is of another photo, {GOOD}"),
        (GOOD, "2", "entry 2 is a person's reading"),
    ):
        done = measure(photo, "--ledger", book, "--replaces", number, "--reason", "oops")
        assert done.exit_code == 2
        assert says in done.stderr
        assert len(entries(book)) == 2


def test_a_reading_by_eye_far_from_the_image_is_told():
    for pair, told in (("4.83,4.81", False), ("3.82,3.83", True)):
        done = measure(GOOD, "--human", pair, "--operator", "Zoë")
        assert ("look again: the mean of 3.825 mm is 21% off" in done.stderr) == told


def test_a_file_that_could_not_be_read_is_known_by_its_name(tmp_path):
    book, cut, other = tmp_path / "book.db", tmp_path / "cut.jpg", tmp_path / "other.jpg"
    for path in (cut, other):
        path.write_bytes(Path(GOOD).read_bytes()[:2000])
    assert measure(cut, "--ledger", book).exit_code == 2
    wishes = ("--ledger", book, "--replaces", "1", "--reason", "copied again")
    assert "of another photo" in measure(other, *wishes).stderr
    shutil.copy(GOOD, cut)
    assert measure(cut, *wishes).exit_code == 0
    assert [e.draft.replaces for e in entries(book)] == [None, 1]


def test_without_a_ledger_nothing_is_added():
    assert not {"ledger_entry", "human"} & set(json.loads(measure(GOOD).stdout))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--human", "3.4,3.5"], "one --operator"),
        (["--human", "3.4,3.5", "--operator", "A", BAD], "one photo"),
        (["--human", "3.4", "--operator", "A"], "two diameters"),
        (["--human", "3,4", "--operator", "A"], "decimal points"),
        (["--human", "3.4,9.1", "--operator", "A"], "nearly equal"),
        (["--human", "3.4,nan", "--operator", "A"], "decimal points"),
        (["--human", "12.1,12.2", "--operator", "A"], "ball"),
        (["--operator", "A"], "--operator needs --ledger"),
        (["--replaces", "1", "--reason", "x"], "a --ledger"),
        (["--ledger", "book.db", "--replaces", "1"], "go together"),
        (["--ledger", "book.db", "--reason", "x"], "go together"),
        (["--ledger", "book.db", "--replaces", "7", "--reason", "x"], "no entry 7"),
        (["--ledger", "none/book.db"], "no such folder"),
    ],
)
def test_wrong_use_is_said_before_anything_is_measured(tmp_path, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    done = measure(GOOD, *words)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert says in done.stderr


@pytest.mark.skipif(sys.platform != "linux", reason="names elsewhere are always Unicode")
def test_a_name_that_is_no_utf8_is_kept_readable(tmp_path):
    photo = tmp_path / os.fsdecode(b"w\xfcrfel.jpg")
    shutil.copy(GOOD, photo)
    book = tmp_path / "book.db"
    done = measure(photo, "--ledger", book, "--human", "4.83,4.81", "--operator", "Zoë")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["photo"].endswith("w\\udcfcrfel.jpg")
    assert {e.record["photo"][-15:] for e in entries(book)} == {"w\\udcfcrfel.jpg"}


def test_a_number_no_database_has_is_no_entry(tmp_path):
    book = tmp_path / "book.db"
    measure(GOOD, "--ledger", book)
    done = measure(GOOD, "--ledger", book, "--replaces", 10**20, "--reason", "wrong scale")
    assert done.exit_code == 2
    assert f"no entry {10**20}" in done.stderr
    for verb in ("show", "withdraw"):
        words = ["ledger", verb, str(book), str(10**20)]
        words += ["--reason", "wrong", "--operator", "Zoë"] if verb == "withdraw" else []
        done = CliRunner().invoke(app, words)
        assert done.exit_code == 2
        assert "no entry" in done.stderr


@pytest.mark.parametrize(
    ("kept", "given", "same"),
    [
        ("a.jpg", "a.jpg", True),
        ("job1/a.jpg", "job1/a.jpg", True),
        ("job1/a.jpg", "/archive/job1/a.jpg", True),
        ("a.jpg", "job1/a.jpg", True),
        ("job1/a.jpg", "job2/a.jpg", False),
        ("a.jpg", "b.jpg", False),
    ],
)
def test_a_photo_without_a_hash_is_known_by_name_and_folder(kept, given, same):
    assert _one_name(kept, Path(given)) == same
