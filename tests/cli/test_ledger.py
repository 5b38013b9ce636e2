"""The verbs of the ledger."""

import csv
import hashlib
import json
import sqlite3
from contextlib import closing

import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from rimread.cli import app
from rimread.ledger import Draft, open_ledger
from rimread.ledger.chain import canonical
from rimread.ledger.export import COLUMNS


def run(*words):
    return CliRunner().invoke(app, ["ledger", *map(str, words)], catch_exceptions=False)


@pytest.fixture
def book(tmp_path):
    """Measured, refused, corrected and withdrawn."""
    measured = {
        "photo": "März/a.jpg",
        "sha256": "a" * 64,
        "status": "measured",
        "test": "10/3000",
        "d1_mm": 3.42,
        "d2_mm": 3.44,
        "mean_mm": 3.43,
        "U_mean_mm": 0.01,
        "hbw": 315.1,
        "designation": "315 HBW 10/3000",
        "checks": [
            {"code": "ovality", "outcome": "warn", "message": "uneven", "source": "s"},
            {"code": "scale-in-date", "outcome": "fail", "message": "late", "source": "s"},
        ],
        "reasons": [],
        "earlier": {"hbw": 310.0},
    }
    reasons = [{"code": "no-indent", "message": "None is seen.", "evidence": {"contrast": 0.1}}]
    refused = {"photo": "b.jpg", "status": "refused", "checks": [], "reasons": reasons}
    hand = {"photo": "März/a.jpg", "status": "measured", "mean_mm": 3.4, "designation": "320 HBW"}
    path = tmp_path / "book.db"
    with open_ledger(path) as ledger:
        ledger.append(
            [
                Draft("image", measured),
                Draft("image", refused),
                Draft("hand", hand, operator="Zoë"),
            ]
        )
        ledger.append([Draft("image", measured, replaces=1, reason="wrong scale")])
    return path


def test_check(book):
    done = run("check", book)
    assert done.exit_code == 0
    assert "4 entries, as it was written; the last is 4:" in done.stdout
    known = done.stdout.split()[-1]
    assert run("check", book, "--known", known[:14]).exit_code == 0
    record = json.loads(run("check", book, "--json").stdout)
    assert record["status"] == "passed"
    assert f"{record['entries']}:{record['hash']}" == known
    with closing(sqlite3.connect(book)) as raw, raw:
        raw.execute("DROP TRIGGER entries_update")
        raw.execute("UPDATE ledger_entries SET hbw = 400 WHERE number = 1")
    done = run("check", book)
    assert done.exit_code == 1
    assert "entry 1: hbw differ from its text (columns)" in done.stdout
    assert "entries_update" in done.stdout
    assert [f["code"] for f in json.loads(run("check", book, "--json").stdout)["faults"]] == [
        *("columns", "unguarded"),
    ]
    assert run("check", book, "--known", "9:0123456789ab").exit_code == 1


@pytest.mark.parametrize("known", ["4", "4:", "x:0123456789ab", "4:0123", "4:0123456789aZ"])
def test_a_noted_entry_must_be_one(book, known):
    done = run("check", book, "--known", known)
    assert done.exit_code == 2
    assert "at least 12 digits" in done.stderr


def numbers(book, *words):
    done = run("list", book, *words, "--json")
    assert done.exit_code == 0
    return [json.loads(line)["entry"] for line in done.stdout.splitlines()]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ([], [2, 3, 4]),
        (["--all"], [1, 2, 3, 4]),
        (["--kind", "hand"], [3]),
        (["--status", "refused"], [2]),
        (["--photo", "märz"], [3, 4]),
        (["--photo", "A.JPG"], [3, 4]),
        (["--operator", "Zoë"], [3]),
        (["--test", "HBW 10/3000"], [4]),
        (["--sha256", "a" * 64], [4]),
        (["--newest", "1"], [4]),
        (["--until", "2001-01-01"], []),
        (["--since", "2001-01-01", "--all", "--newest", "2"], [3, 4]),
    ],
)
def test_filters(book, words, expected):
    assert numbers(book, *words) == expected


def test_list_for_people(book):
    lines = run("list", book, "--all").stdout.splitlines()
    assert "image  März/a.jpg  3.430 mm  315 HBW 10/3000" in lines[0]
    assert "b.jpg  refused (no-indent)" in lines[1]
    assert lines[2].endswith("by Zoë")
    assert "(replaces 1: wrong scale)" in lines[3]


def test_show(book):
    done = run("show", book, 1)
    for part in (
        "replaced_by: 4",
        "mean_mm: 3.43",
        "code ovality; message uneven; outcome warn",
        "  hbw: 310.0",
    ):
        assert part in done.stdout
    assert json.loads(run("show", book, 2, "--json").stdout)["record"]["status"] == "refused"
    missing = run("show", book, 9)
    assert missing.exit_code == 2
    assert "no entry 9; its last is 4" in missing.stderr


def test_withdraw(book):
    done = run("withdraw", book, 3, "--reason", "another piece", "--operator", "Zoë")
    assert done.stdout == "entry 5 withdraws entry 3\n"
    assert numbers(book) == [2, 4]
    assert run("check", book).exit_code == 0
    again = run("withdraw", book, 3, "--reason", "another piece", "--operator", "Zoë")
    assert again.exit_code == 2
    assert "entry 3 was withdrawn already, by entry 5: another piece" in again.stderr
    replaced = run("withdraw", book, 1, "--reason", "another piece", "--operator", "Zoë")
    assert "entry 1 is replaced by 4 already: correct that one" in replaced.stderr
    assert "withdraws 3: another piece  by Zoë" in run("list", book, "--all").stdout
    back = run("withdraw", book, 5, "--reason", "it was right", "--operator", "Zoë")
    assert back.exit_code == 2
    assert (
        "entry 5 is a withdrawal, which stays: measure the photo again with rimread measure"
        in back.stderr
    )
    assert numbers(book) == [2, 4]


def test_export_holds_the_same_in_every_kind(book, tmp_path):
    for kind in ("csv", "jsonl", "parquet"):
        done = run("export", book, tmp_path / f"out.{kind}", "--all")
        assert done.exit_code == 0
        assert "4 entries" in done.stderr
    with (tmp_path / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    parquet = pq.read_table(tmp_path / "out.parquet").to_pylist()
    lines = (tmp_path / "out.jsonl").read_text(encoding="utf-8").splitlines()
    whole = [json.loads(line) for line in lines]
    assert list(rows[0]) == list(parquet[0]) == list(COLUMNS)
    for row, typed, all_of_it in zip(rows, parquet, whole, strict=True):
        assert row == {k: "" if v is None else str(v) for k, v in typed.items()}
        assert typed["hash"] == all_of_it["hash"]
        assert typed["mean_mm"] == all_of_it["record"].get("mean_mm")
    assert (rows[0]["failed"], rows[0]["warned"]) == ("scale-in-date", "ovality")
    assert (rows[1]["refusal"], rows[1]["why"]) == ("no-indent", "None is seen.")
    assert rows[3]["replaces"] == "1"
    assert [p.name for p in tmp_path.glob(".*")] == []


def test_export_says_what_was_decided(tmp_path):
    """What does not count is told apart from what does; those of no bench have no decision."""
    decisions = ["accepted", "rejected", "corrected", "refused", None]
    path = tmp_path / "bench.db"
    with open_ledger(path) as ledger:
        for decision in decisions:
            record = {"photo": "a.jpg", "status": "measured", "mean_mm": 3.4}
            told = {} if decision is None else {"decision": decision}
            ledger.append([Draft("image", record | told)])
    for kind in ("csv", "parquet"):
        assert run("export", path, tmp_path / f"out.{kind}", "--all").exit_code == 0
    with (tmp_path / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [row["decision"] or None for row in csv.DictReader(file)] == decisions
    assert pq.read_table(tmp_path / "out.parquet")["decision"].to_pylist() == decisions


def test_exported_lines_prove_themselves(book, tmp_path):
    """The hash follows from what a line of the export holds, without the database."""
    run("export", book, tmp_path / "out.jsonl", "--all")
    before = "0" * 64
    for line in (tmp_path / "out.jsonl").read_text(encoding="utf-8").splitlines():
        told = json.loads(line)
        sha256 = told.pop("hash")
        told["number"] = told.pop("entry")
        assert told["previous"] == before
        assert hashlib.sha256(canonical(told).encode("ascii")).hexdigest() == sha256
        before = sha256


@pytest.mark.parametrize("change", [lambda body: body.replace("3.43", "3.33"), lambda _: b"x"])
def test_an_altered_entry_is_shown_by_no_verb(book, tmp_path, change):
    with closing(sqlite3.connect(book)) as raw, raw:
        (guard,) = raw.execute("SELECT sql FROM sqlite_master WHERE name = 'entries_update'")
        raw.execute("DROP TRIGGER entries_update")
        (body,) = raw.execute("SELECT body FROM ledger_entries WHERE number = 4").fetchone()
        raw.execute("UPDATE ledger_entries SET body = ? WHERE number = 4", (change(body),))
        raw.execute(guard[0])
    says = "entry 4: its text was changed: it does not give its hash; see what rimread ledger check"
    for words in (("list", book), ("show", book, 4), ("export", book, tmp_path / "out.jsonl")):
        done = run(*words)
        assert done.exit_code == 2
        assert says in done.stderr
    words = ("report", book, "--entry", 4, "--out", tmp_path / "out.html")
    done = CliRunner().invoke(app, list(map(str, words)))
    assert done.exit_code == 2
    assert says in done.stderr
    assert not (tmp_path / "out.html").exists()
    assert "entry 4: its text was changed" in run("check", book).stdout


@pytest.mark.parametrize("lost", ["DELETE FROM ledger_head", "DROP TABLE ledger_head"])
def test_entries_are_examined_without_the_head_too(book, lost):
    with closing(sqlite3.connect(book)) as raw, raw:
        for (name,) in raw.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            raw.execute(f"DROP TRIGGER {name}")
        raw.execute(lost)
        raw.execute("UPDATE ledger_entries SET hbw = 400 WHERE number = 1")
    done = run("check", book, "--json")
    assert done.exit_code == 1
    codes = [fault["code"] for fault in json.loads(done.stdout)["faults"]]
    assert codes[:2] == ["columns", "head"]


def test_what_is_no_ledger_is_left_as_it_is(tmp_path):
    other, empty = tmp_path / "other.db", tmp_path / "empty.jpg"
    with closing(sqlite3.connect(other)) as raw, raw:
        raw.execute("CREATE TABLE a (b)")
    empty.touch()
    before = other.read_bytes()
    for words in (("list", other), ("check", other), ("show", other, 1), ("list", empty)):
        assert run(*words).exit_code == 2
    assert other.read_bytes() == before
    assert empty.stat().st_size == 0


@pytest.mark.parametrize("kind", ["csv", "jsonl", "parquet"])
def test_an_export_is_written_over_no_other_file(book, tmp_path, kind):
    out = tmp_path / f"list.{kind}"
    for told in (b"photo,d1,d2\na.jpg,3.4,3.5\n", b'{"photo": "a.jpg"}\n', b"[1, 2]", b"\xff\x00"):
        out.write_bytes(told)
        done = run("export", book, out)
        assert done.exit_code == 2
        assert f"{out}: this file is there already and is no export of a ledger" in done.stderr
        assert out.read_bytes() == told
    out.write_bytes(b"")  # nothing is lost
    for count in ("3 entries", "1 entry"):
        done = run("export", book, out, *(() if count[0] == "3" else ("--kind", "hand")))
        assert done.exit_code == 0
        assert f"{count} written" in done.stderr


def test_an_export_that_fails_leaves_nothing_and_spoils_nothing(book, tmp_path):
    kept = ",".join(COLUMNS) + "\n"
    (tmp_path / "out.csv").write_text(kept, encoding="utf-8")
    with closing(sqlite3.connect(book)) as raw, raw:
        raw.execute("DROP TRIGGER entries_update")
        raw.execute("UPDATE ledger_entries SET body = 'x' WHERE number = 3")
    done = run("export", book, tmp_path / "out.csv")
    assert done.exit_code == 2
    assert "entry 3: its text was changed: it does not give its hash" in done.stderr
    assert (tmp_path / "out.csv").read_text(encoding="utf-8") == kept
    assert sorted(p.name for p in tmp_path.iterdir() if "out" in p.name) == ["out.csv"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["check", "none.db"], "none.db: no such file"),
        (["list", "postgresql://x@127.0.0.1:1/y"], "127.0.0.1"),
        (["export", "{book}", "out.xls"], ".csv, .jsonl or .parquet"),
        (["export", "{book}", "none/out.csv"], "no such folder"),
        (["list", "{book}", "--test", "x"], "ball mm / force kgf"),
    ],
)
def test_wrong_use(book, tmp_path, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    done = run(*(w.format(book=book) for w in words))
    assert done.exit_code == 2
    assert says in done.stderr
    assert not (tmp_path / "none.db").exists()


def test_one_fault_is_one(book):
    with closing(sqlite3.connect(book)) as raw, raw:
        raw.execute("DROP TRIGGER entries_update")
    done = run("check", book)
    assert done.exit_code == 1
    assert "4 entries, 1 fault; the last" in done.stdout
