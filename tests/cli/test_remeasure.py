"""The verb remeasure on the sample images."""

import csv
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from rimread.archive.results import Comparison
from rimread.archive.run import Tally
from rimread.cli import app
from rimread.cli.remeasure import _exit_code
from rimread.ledger import audit, open_ledger

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
SCALES = ROOT / "calibration"
ON_TEST = ("--on", "2026-11-20", "--test", "10/3000")


def command(source, folder, *more):
    words = ["remeasure", source, "--ledger", folder / "book.db", "--out", folder / "out.csv"]
    words += ["--scales", SCALES, "--on", "2026-11-20", "--json", *more]
    return [sys.executable, "-m", "rimread", *map(str, words)]


def run(*words):
    done = CliRunner().invoke(app, ["remeasure", *map(str, words)])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.output
    return done


def truth():
    with (SAMPLES / "truth.csv").open(encoding="utf-8", newline="") as file:
        return {row["photo"]: row for row in csv.DictReader(file)}


def table(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """A lab's folder and its spreadsheet: semicolons, decimal commas, a moved photo, a slip."""
    folder = tmp_path_factory.mktemp("archive")
    photos = folder / "Prüfung 2019"
    photos.mkdir()
    names = ["hall-plate-1", "hall-plate-2", "bench-axle-1", "fine-sleeve-1", "hall-double"]
    for name in names:
        shutil.copy(SAMPLES / f"{name}.jpg", photos)
    (photos / "broken.jpg").write_bytes((photos / "hall-plate-1.jpg").read_bytes()[:5000])
    told = truth()
    lines = ["Photo;Test;d1 (mm);d2 (mm);HBW;Heat No."]
    for name in names:
        row = told[f"{name}.jpg"]
        d1, d2 = (row[k][:5].replace(".", ",") for k in ("d1_mm", "d2_mm"))
        if name == "bench-axle-1":
            d1 = d2 = "3,95"
        hbw = "300" if name == "hall-plate-2" else ""
        lines.append(f"Prüfung 2019\\{name}.jpg;{row['test']};{d1};{d2};{hbw};H-{name}")
    lines += [
        "Prüfung 2019/broken.jpg;10/3000;3,5;3,5;;H-broken",
        "Prüfung 2019/gone.jpg;10/3000;;;;H-gone",
        "Prüfung 2019/hall-plate-1.jpg;10/3000;drei;;;H-typo",
        "Prüfung 2019\\hall-plate-1.jpg;10/3000;;;;H-again",
    ]
    (folder / "list.csv").write_text("\n".join(lines), encoding="cp1252")
    return folder


def test_from_spreadsheet_to_table(archive, tmp_path):
    words = [archive / "list.csv", "--ledger", tmp_path / "book.db", "--scales", SCALES]
    words += ["--on", "2026-11-20", "--workers", 2, "--pull", tmp_path / "pull.csv"]
    words += ["--plot", tmp_path / "old-new.png"]
    done = run(*words, "--out", tmp_path / "out.csv")
    assert done.exit_code == 2
    rows = table(tmp_path / "out.csv")
    assert [row["Heat No."] for row in rows] == [
        *("H-hall-plate-1", "H-hall-plate-2", "H-bench-axle-1", "H-fine-sleeve-1"),
        *("H-hall-double", "H-broken", "H-gone", "H-typo", "H-again"),
    ]
    assert [Path(row["photo"].replace("\\", "/")).name for row in rows[-3:]] == [
        *("gone.jpg", "hall-plate-1.jpg", "hall-plate-1.jpg"),
    ]
    assert [row["refusal"] for row in rows] == [
        *("", "", "", "", "overlapping-indents", "unreadable", "unreadable"),
        *("bad-line", "repeated-line"),
    ]
    assert [Path(row["scale_file"]).name for row in rows[:4]] == [
        *("hall-scope.toml", "hall-scope.toml", "bench-scope.toml", "fine-scope.toml"),
    ]
    assert all(float(row["U_mean_mm"]) > 0 for row in rows[:4])
    assert [row["pull"] for row in rows[:6]] == [
        *("", "arithmetic", "disagrees", "", "", "refused-now"),
    ]
    assert float(rows[2]["normalised_error"]) < -1.0
    assert [row["pull"] for row in table(tmp_path / "pull.csv")] == [
        *("disagrees", "arithmetic", "refused-now"),
    ]
    assert (tmp_path / "old-new.png").read_bytes().startswith(b"\x89PNG")
    assert "3 worth pulling" in done.stdout
    assert "4 measured (4 of them now), 1 refused, 3 not read" in done.stdout
    assert "qualified person" in done.stdout
    assert "line 9: 'd1 (mm)' must be a number" in done.stderr
    assert "line 10: names the same photo as line 2" in done.stderr
    assert "9 of 9" in done.stderr

    again = run(*words, "--out", tmp_path / "out.parquet", "--json")
    record = json.loads(again.stdout)
    assert (record["done_before"], record["measured_now"], record["rows"]) == (5, 0, 9)
    assert (record["compared"], record["disagreeing"]) == (4, 1)
    parquet = pq.read_table(tmp_path / "out.parquet").to_pylist()
    assert [p["mean_mm"] for p in parquet[:4]] == [float(r["mean_mm"]) for r in rows[:4]]
    assert parquet[7]["line"] == 9
    with open_ledger(tmp_path / "book.db") as book:
        assert list(audit(book)) == []
        assert book.head()[0] == 7


def test_a_check_that_failed_is_told(tmp_path):
    drawer = tmp_path / "drawer"
    drawer.mkdir()
    shutil.copy(SAMPLES / "hall-plate-2.jpg", drawer)
    words = (drawer, "--ledger", tmp_path / "book.db", "--scale", SCALES / "hall-scope.toml")
    words += ("--plot", tmp_path / "plot.png")  # and there is nothing to draw
    done = run(*words, "--out", tmp_path / "out.csv", "--test", "10/3000", "--on", "2127-01-01")
    assert done.exit_code == 1
    assert f"rimread: {tmp_path / 'plot.png'}: not drawn, as no photo has both" in done.stderr
    assert not (tmp_path / "plot.png").exists()
    (tmp_path / "plot.png").touch()
    again = run(*words, "--out", tmp_path / "out.csv", "--test", "10/3000", "--on", "2127-01-01")
    assert "the file there is an older one" in again.stderr
    assert "1 measured with a check that failed" in done.stdout
    (row,) = table(tmp_path / "out.csv")
    assert row["failed"] == "scale-in-date"


SLIPS = {
    "hall-plate-2": ("2,80;2,72;", "too-far-apart"),
    "hall-plate-3": ("44100;44000;", "too-far-apart"),  # wider than the ball
    "hall-plate-4": (";;1030", "too-far-apart"),
    "bench-axle-1": (";;5", "no-number"),
}


def test_a_slip_of_the_pen_is_named_and_kept_out_of_the_statistics(tmp_path):
    told = truth()["hall-plate-1.jpg"]
    d1, d2 = (f"{1000.0 * float(told[key]):.0f}" for key in ("d1_mm", "d2_mm"))
    lines = ["photo;d1 (µm);d2 (µm);hbw;note", f"{SAMPLES}/hall-plate-1.jpg;{d1};{d2};;good"]
    lines += [f"{SAMPLES}/{name}.jpg;{slip};mm under µm" for name, (slip, _) in SLIPS.items()]
    (tmp_path / "slip.csv").write_text("\n".join(lines), encoding="utf-8")
    words = [tmp_path / "slip.csv", "--ledger", tmp_path / "book.db", "--scales", SCALES]
    words += ["--on", "2026-11-20", "--workers", 1, "--pull", tmp_path / "pull.csv"]
    words += ["--test", "10/3000", "--plot", tmp_path / "old-new.png"]
    done = run(*words, "--out", tmp_path / "out.csv", "--json")
    record = json.loads(done.stdout)
    assert (record["compared"], record["too_far_apart"], record["worth_pulling"]) == (1, 4, 4)
    assert abs(record["new_minus_old_mean_mm"]) < 0.02
    good, *far = table(tmp_path / "out.csv")
    assert good["pull"] == ""
    for line, (row, (name, (slip, why))) in enumerate(zip(far, SLIPS.items(), strict=True), 3):
        assert f"line {line}: {SAMPLES}/{name}.jpg: " in done.stderr
        assert (row["pull"], row["note"]) == (why, "mm under µm")
        assert float(row["mean_mm"]) > 3.0  # the photo itself is measured as ever
        assert row["new_minus_old_mm"] == row["normalised_error"] == ""
        hbw = slip.rpartition(";")[2]
        assert row["old_hbw"] == (f"{hbw}.0" if hbw else "")
    pulled = table(tmp_path / "pull.csv")
    assert {row["photo"]: row["pull"] for row in pulled} == {
        f"{SAMPLES}/{name}.jpg": why for name, (_, why) in SLIPS.items()
    }


def test_the_same_digits_as_measure(archive, tmp_path):
    photo = archive / "Prüfung 2019" / "hall-plate-1.jpg"
    alone = CliRunner().invoke(
        app,
        [
            "measure",
            str(photo),
            "--scale",
            str(SCALES / "hall-scope.toml"),
            "--test",
            "10/3000",
            "--on",
            "2026-11-20",
            "--json",
        ],
    )
    (tmp_path / "list.csv").write_text(f"photo\n{photo}\n", encoding="utf-8")
    run(tmp_path / "list.csv", "--test", "10/3000", "--ledger", tmp_path / "book.db", "--out",
        tmp_path / "out.jsonl", "--scales", SCALES, "--on", "2026-11-20")  # fmt: skip
    with open_ledger(tmp_path / "book.db") as book:
        record = dict(book.entry(1).record)
    expected = json.loads(alone.stdout)
    assert {key: record[key] for key in expected} == expected


def test_a_locked_folder_is_told_and_has_a_row(archive, tmp_path, monkeypatch):
    shutil.copytree(archive / "Prüfung 2019", tmp_path / "tree" / "open")
    (tmp_path / "tree" / "shut").mkdir()
    look = os.scandir

    def locked(folder="."):
        if Path(os.fsdecode(folder)).name == "shut":
            raise PermissionError(13, "Permission denied", str(folder))
        return look(folder)

    monkeypatch.setattr("os.scandir", locked)
    words = [tmp_path / "tree", "--ledger", tmp_path / "b.db", "--out", tmp_path / "out.csv"]
    words += ["--test", "10/3000", "--scales", SCALES, "--workers", 1, "--on", "2026-11-20"]
    done = run(*words)
    assert done.exit_code == 2
    assert f"rimread: {tmp_path / 'tree' / 'shut'}: cannot be looked into" in done.stderr
    assert "7 of 7" in done.stderr
    *_, row = table(tmp_path / "out.csv")
    assert (row["refusal"], row["line"], row["status"]) == ("locked-folder", "", "refused")
    assert "Permission denied" in row["why"]


def test_a_folder_and_a_scale_added_later(archive, tmp_path):
    tree = tmp_path / "tree"
    shutil.copytree(archive / "Prüfung 2019", tree / "2019")
    words = [tree, "--test", "10/3000", "--ledger", tmp_path / "book.db"]
    words += ["--out", tmp_path / "out.csv", "--on", "2026-11-20", "--workers", 1, "--json"]
    first = json.loads(run(*words).stdout)
    assert first["reasons"] == {"scale-missing": 5, "unreadable": 1}
    shutil.copy(SCALES / "hall-scope.toml", tree / "2019")
    second = json.loads(run(*words).stdout)
    assert second["measured_now"] == 2
    rows = {Path(row["photo"]).name: row for row in table(tmp_path / "out.csv")}
    assert len(rows) == 6
    assert rows["hall-plate-1.jpg"]["status"] == "measured"
    assert rows["fine-sleeve-1.jpg"]["refusal"] == "scale-missing"
    assert rows["hall-double.jpg"]["refusal"] == "overlapping-indents"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--test", "10"], "ball mm / force kgf"),
        (["--out", "x.xls"], ".csv, .jsonl or .parquet"),
        (["--out", "none/x.csv"], "no such folder"),
        (["--pull", "x.txt"], ".csv, .jsonl or .parquet"),
        (["--plot", "x.bmp"], ".png, .svg or .pdf"),
        (["--scales", "none"], "none: no such folder"),
        (["--scale", "none.toml"], "none.toml: No such file"),
        (["--rules", "din"], "din"),
        (["--ledger", "none/book.db"], "no such folder"),
        (["--scheduler", "nonsense"], "nonsense"),
    ],
)
def test_what_cannot_work_is_said_before_the_night(archive, tmp_path, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("rimread.archive.pool.CONNECT_S", 1)
    plain = {"--ledger": "book.db", "--out": "out.csv", "--test": "10/3000"}
    options = plain | dict(zip(words[::2], words[1::2], strict=True))
    done = run(archive / "list.csv", *(w for pair in options.items() for w in pair))
    assert done.exit_code == 2
    assert says in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("option", "name"), [("--out", "taken.csv"), ("--pull", "taken.csv"), ("--plot", "taken.png")]
)
def test_what_cannot_be_written_is_said_before_the_night(archive, tmp_path, option, name):
    (tmp_path / name).mkdir()
    plain = {"--ledger": tmp_path / "book.db", "--out": tmp_path / "out.csv"}
    options = plain | {option: tmp_path / name}
    done = run(archive / "list.csv", *(w for pair in options.items() for w in pair))
    assert done.exit_code == 2
    assert f"{tmp_path / name}: " in done.stderr
    assert not (tmp_path / "book.db").exists()


def test_no_source(tmp_path):
    words = ["--ledger", tmp_path / "b.db", "--out", tmp_path / "o.csv"]
    done = run(tmp_path, *words)
    assert "a folder of photos needs --test" in done.stderr
    assert not (tmp_path / "b.db").exists()
    assert "none.csv" in run(tmp_path / "none.csv", *words).stderr
    (tmp_path / "list.csv").write_text("picture\na.jpg\n", encoding="utf-8")
    assert "no column 'photo'" in run(tmp_path / "list.csv", *words).stderr
    (tmp_path / "empty").mkdir()
    done = run(tmp_path / "empty", "--test", "10/3000", *words)
    assert done.exit_code == 2
    assert "no photo in it" in done.stderr


def test_a_real_process_with_another_encoding(archive, tmp_path):
    done = subprocess.run(
        command(archive / "list.csv", tmp_path),
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
    )
    assert done.returncode == 2
    assert json.loads(done.stdout)["rows"] == 9
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("option", ["--out", "--pull"])
@pytest.mark.parametrize("name", ["mine.csv", "mine.jsonl", "mine.parquet"])
def test_a_file_that_is_no_table_of_results_is_never_written_over(tmp_path, option, name):
    manifest, mine = tmp_path / "photos.csv", tmp_path / name
    manifest.write_text("photo\na.jpg\n", encoding="utf-8")
    told = b"line,photo,remark\n1,a.jpg,by hand\n"
    mine.write_bytes(told)
    words = ["--test", "10/3000", "--ledger", tmp_path / "book.db", option, mine]
    words += [] if option == "--out" else ["--out", tmp_path / "out.csv"]
    done = run(manifest, *words)
    assert done.exit_code == 2
    assert f"{mine}: this file is there already and is no table of results" in done.stderr
    assert mine.read_bytes() == told
    assert not (tmp_path / "book.db").exists()


@pytest.mark.parametrize("ending", ["csv", "jsonl", "parquet"])
def test_an_earlier_table_of_results_is_written_anew(tmp_path, ending):
    manifest = tmp_path / "photos.csv"
    lines = [f"p{k}.jpg;14/11/2023;;ok" for k in range(66)]
    lines += ["gone.jpg;14.11.2023;;x", "gone.jpg;;;x", "gone.jpg;;;x"]
    lines += ["gone2.jpg;;113315;x"]
    manifest.write_text("\n".join(["photo;date;hbw;note", *lines]), encoding="utf-8")
    words = [manifest, "--test", "10/3000", "--ledger", tmp_path / "book.db", "--workers", 1]
    words += ["--out", tmp_path / f"out.{ending}", "--pull", tmp_path / f"pull.{ending}"]
    for _ in range(2):
        done = run(*words)
        assert done.exit_code == 2
        assert "70 rows" in done.stdout
        assert done.stderr.count("must be like") == 1  # one sentence for 66 lines
        assert "line 2: 'date' must be like 2026-11-27 or 27.11.2026" in done.stderr
        assert "(got '14/11/2023'); so it is with 65 more lines, the last of them" in done.stderr
        assert "same photo as line 68: gone.jpg; so it is with 1 more line, line 70" in done.stderr
        assert "line 71: 'hbw' must be above 0 and below 100000 HBW" in done.stderr


def test_an_empty_ledger_has_no_last_entry_to_note(tmp_path):
    (tmp_path / "photos.csv").write_text("photo,date\na.jpg,gestern\n", encoding="utf-8")
    done = run(
        *(tmp_path / "photos.csv", "--test", "10/3000", "--ledger", tmp_path / "book.db"),
        *("--out", tmp_path / "out.csv", "--workers", 1),
    )
    assert "1 row in" in done.stdout
    assert "last entry" not in done.stdout


@pytest.mark.parametrize("option", ["--out", "--pull"])
def test_the_table_of_photos_is_never_written_over(tmp_path, option):
    manifest = tmp_path / "photos.csv"
    manifest.write_text("photo\na.jpg\n", encoding="utf-8")
    words = ["--test", "10/3000", "--ledger", tmp_path / "book.db", option, manifest]
    words += [] if option == "--out" else ["--out", tmp_path / "out.csv"]
    done = run(manifest, *words)
    assert done.exit_code == 2
    assert option in done.stderr
    assert manifest.read_text(encoding="utf-8") == "photo\na.jpg\n"


def test_a_photo_that_goes_away_in_the_meantime_is_told_by_the_exit_code():
    whole = Comparison(rows=3, measured=3)
    assert _exit_code(Tally(measured=3), whole) == 0
    assert _exit_code(Tally(measured=3, unreadable=1), whole) == 2  # it has no row any more
