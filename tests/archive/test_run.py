"""Each photo once in the ledger and once in the table, whatever happens in between."""

import csv
import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pytest
from PIL import ExifTags, Image
from tests.archive import pretend

from rimread.archive import work
from rimread.archive.items import Item, from_folder, from_manifest, own_columns
from rimread.archive.moved import Whereabouts
from rimread.archive.pool import Cores
from rimread.archive.results import write_results
from rimread.archive.run import Archive, remeasure
from rimread.archive.work import Settings, measure_item
from rimread.ledger import Draft, Filter, audit, open_ledger
from rimread.refusal import Refusal, program_fault
from rimread.scale import read_scale

ROOT = Path(__file__).parents[2]


def run(folder, source, work=pretend.at_once, pool=None, *, settings=Settings(test="1"), **archive):  # noqa: B008
    """Measure again; the counts, what was worked on, and the table."""
    pool = pool or pretend.Here()
    told = []
    with (
        open_ledger(folder / "book.db") as book,
        Archive(source, settings, run="r", **archive) as photos,
    ):
        tally = remeasure(photos, book, pool, work=work, tell=told.append)
        write_results(photos, book, folder / "out.csv", own=("job",))
        assert list(audit(book)) == []
    with (folder / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        return tally, getattr(pool, "done", None), list(csv.DictReader(file)), told


def listed(folder, count):
    path = pretend.manifest(folder / "list.csv", count)
    return lambda: from_manifest(path)


def test_all_measured_then_nothing_is_repeated(tmp_path):
    source = listed(tmp_path, 450)
    tally, done, rows, _ = run(tmp_path, source)
    assert (tally.measured, tally.refused, tally.before) == (405, 45, 0)
    assert len(done) == 450
    assert [row["photo"] for row in rows] == [f"{k}.jpg" for k in range(450)]
    assert [row["job"] for row in rows] == [f"job {k}" for k in range(450)]
    assert [row["line"] for row in rows] == [str(k + 2) for k in range(450)]
    again, done, same, _ = run(tmp_path, source)
    assert (again.before, again.now, done) == (450, 0, [])
    assert same == rows


def test_lines_that_repeat_or_cannot_be_used_are_rows_of_the_table(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("photo,job\na.jpg,1\nb.jpg\na.jpg,2\n\nc.jpg,3\n", encoding="utf-8")
    tally, done, rows, told = run(tmp_path, lambda: from_manifest(path))
    assert done == ["a.jpg", "c.jpg"]
    assert (tally.measured, tally.bad_lines, tally.duplicates, tally.passed) == (2, 1, 1, 4)
    assert [(row["line"], row["status"], row["refusal"]) for row in rows] == [
        ("2", "measured", ""),
        ("3", "refused", "bad-line"),
        ("4", "refused", "repeated-line"),
        ("6", "measured", ""),
    ]
    assert told == [
        "line 3: " + rows[1]["why"],
        "line 4: names the same photo as line 2: a.jpg",
    ]


def test_other_spellings_of_a_name_are_the_same_photo(tmp_path):
    path = tmp_path / "list.csv"
    lines = ["photo", "a.jpg", "./a.jpg", "b/../a.jpg", str(tmp_path / "a.jpg"), "b.jpg"]
    path.write_text("\n".join(lines), encoding="utf-8")
    tally, done, _, _ = run(tmp_path, lambda: from_manifest(path))
    assert done == ["a.jpg", "b.jpg"]
    assert tally.duplicates == 3


def test_a_name_no_system_takes_costs_its_own_line_only(tmp_path):
    (tmp_path / "a").mkdir()
    path = tmp_path / "list.csv"
    names = ["long" * 75 + ".jpg", "a\\" + "long" * 75 + ".jpg", "a.jpg"]
    path.write_text("photo,job\n" + "".join(f"{name},1\n" for name in names), encoding="utf-8")
    _, done, rows, _ = run(tmp_path, lambda: from_manifest(path), measure_item)
    assert done == names
    assert [row["refusal"] for row in rows] == ["unreadable"] * 3
    if sys.platform != "win32":
        assert ["too long" in row["why"] for row in rows] == [True, True, False]


def test_what_does_not_lie_in_the_picture_is_tried_again(tmp_path):
    source = listed(tmp_path, 3)
    state = {"code": "scale-missing", "message": "None."}

    def work(item, _settings):
        if item.photo == "1.jpg":
            return pretend.record(item, "refused", **state)
        if item.photo == "2.jpg":
            return pretend.record(item, "refused", "no-indent", "None.")
        return pretend.record(item)

    run(tmp_path, source, work)
    _, done, _, _ = run(tmp_path, source, work)
    assert done == ["1.jpg"]
    with open_ledger(tmp_path / "book.db") as book:
        assert book.head()[0] == 3  # the same refusal is not written again
    state["code"] = "scale-ambiguous"
    run(tmp_path, source, work)
    work_now = pretend.at_once
    _, done, rows, _ = run(tmp_path, source, work_now)
    assert done == ["1.jpg"]
    assert [row["status"] for row in rows] == ["measured", "measured", "refused"]
    with open_ledger(tmp_path / "book.db") as book:
        entries = list(book.entries())
        assert [e.draft.replaces for e in entries[3:]] == [2, 4]
        assert [e.draft.attempt for e in entries[3:]] == [2, 3]
        assert len(list(book.entries(Filter(current=True)))) == 3
    assert run(tmp_path, source, work_now)[1] == []


def test_what_is_said_otherwise_is_measured_again_and_replaces(tmp_path):
    source = listed(tmp_path, 2)
    scale = tmp_path / "scale.toml"
    scale.write_text("one", encoding="utf-8")
    ways = [
        Settings(test="1"),
        Settings(test="2"),
        Settings(test="2", rules="astm"),
        Settings(test="2", rules="astm", scale=str(scale)),
        Settings(test="2", rules="astm", scale=str(scale), tone="linear"),
    ]
    for way in ways:
        assert run(tmp_path, source, settings=way)[1] == ["0.jpg", "1.jpg"]
        assert run(tmp_path, source, settings=way)[1] == []
    with open_ledger(tmp_path / "book.db") as book:
        assert [e.draft.replaces for e in book.entries()] == [None, None, *range(1, 9)]
        assert [e.number for e in book.entries(Filter(current=True))] == [9, 10]


def test_a_scale_calibrated_again_under_its_name_is_measured_with(tmp_path):
    source = listed(tmp_path, 1)
    scale = tmp_path / "scale.toml"

    def work(item, settings):
        sha256 = hashlib.sha256(scale.read_bytes()).hexdigest()
        return pretend.at_once(item, settings) | {"scale_file": str(scale), "scale_sha256": sha256}

    for text in ("one", "another"):
        scale.write_text(text, encoding="utf-8")
        assert run(tmp_path, source, work)[1] == ["0.jpg"]
        assert run(tmp_path, source, work)[1] == []


def compared(folder, told):
    """Old against new, where the manifest tells this mean and the photo says 4.8434 mm."""
    path = folder / "list.csv"
    path.write_text(f"photo,mean\na.jpg,{told}\n", encoding="utf-8")

    def work(item, _settings):
        measured = {"test": "10/3000", "mean_mm": 4.8434, "U_mean_mm": 0.006, "hbw": 152.6}
        return pretend.record(item) | measured | {"earlier": {"mean_mm": item.earlier.mean_mm}}

    with (
        open_ledger(folder / "book.db") as book,
        Archive(lambda: from_manifest(path), Settings(), run="r") as archive,
    ):
        tally = remeasure(archive, book, pretend.Here(), work=work)
        write_results(archive, book, folder / "out.csv", pull=folder / "pull.csv")
    with (folder / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    return tally, row


def test_an_earlier_value_corrected_in_the_manifest_counts(tmp_path):
    _, row = compared(tmp_path, "4.5")
    assert (float(row["old_mm"]), row["pull"]) == (4.5, "disagrees")
    tally, row = compared(tmp_path, "4.8434")
    assert (tally.before, tally.now) == (1, 0)  # nothing to be measured again
    assert (float(row["old_mm"]), row["pull"]) == (4.8434, "")
    _, row = compared(tmp_path, "")
    assert (row["old_mm"], row["pull"]) == ("", "")


def test_a_list_of_an_earlier_start_does_not_stay(tmp_path):
    rows = []
    for told in ("4.0", "4.8434"):
        compared(tmp_path, told)
        with (tmp_path / "pull.csv").open(encoding="utf-8-sig", newline="") as file:
            rows.append(list(csv.reader(file)))
    assert [len(each) for each in rows] == [2, 1]
    assert rows[1][0] == rows[0][0]
    assert "normalised_error" in rows[0][0]


def test_own_columns_do_not_hide_ours(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("photo,status,operator,job\na.jpg,scrapped,Zoë,7\n", encoding="utf-8")
    with (
        open_ledger(tmp_path / "book.db") as book,
        Archive(lambda: from_manifest(path), Settings(), run="r") as archive,
    ):
        remeasure(archive, book, pretend.Here(), work=pretend.at_once)
        write_results(archive, book, tmp_path / "out.csv", own=own_columns(path))
    with (tmp_path / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["status"], row["status (own)"]) == ("measured", "scrapped")
    assert (row["operator"], row["job"]) == ("Zoë", "7")


def test_a_refusal_a_person_withdrew_may_be_tried_again(tmp_path):
    source = listed(tmp_path, 1)

    def work(item, _settings):
        return pretend.record(item, "refused", "unreadable", "Cut short.")

    run(tmp_path, source, work)
    with open_ledger(tmp_path / "book.db") as book:
        book.append([Draft("withdrawal", replaces=1, reason="disk was full", operator="A")])
    tally, _, _, _ = run(tmp_path, source)
    assert tally.measured == 1


def test_a_fault_of_the_program_stops_one_photo_only(tmp_path):
    def work(item, settings):
        if item.photo == "1.jpg":
            raise ZeroDivisionError("division by zero")
        return pretend.at_once(item, settings)

    tally, _, rows, _ = run(tmp_path, listed(tmp_path, 3), work)
    assert (tally.measured, tally.reasons) == (2, {"program-fault": 1})
    assert rows[1]["why"] == program_fault(ZeroDivisionError("division by zero")).message


def test_a_photo_that_ends_its_process_stops_one_photo_only(tmp_path):
    path = tmp_path / "list.csv"
    names = [f"{k}.jpg" for k in range(12)]
    names[5] = "deadly.jpg"
    path.write_text("photo\n" + "\n".join(names) + "\n", encoding="utf-8")
    pool = Cores(2)
    tally, _, rows, _ = run(tmp_path, lambda: from_manifest(path), pretend.deadly, pool)
    pool.close()
    assert [row["photo"] for row in rows] == names
    assert tally.reasons["process-ended"] == 1
    assert [row["photo"] for row in rows if row["refusal"] == "process-ended"] == ["deadly.jpg"]
    assert tally.measured == 10


def test_as_many_processes_as_the_system_waits_for(monkeypatch):
    for system, counts in (("win32", [1, 61, 61]), ("linux", [1, 61, 200])):
        monkeypatch.setattr("rimread.archive.pool.sys", SimpleNamespace(platform=system))
        assert [Cores(count).at_once for count in (1, 61, 200)] == counts


def test_two_programs_at_the_same_archive_write_each_photo_once(tmp_path):
    source = listed(tmp_path, 300)

    def work(item, settings):
        if item.photo == "100.jpg":  # another program is started meanwhile
            run(tmp_path, source)
        return pretend.at_once(item, settings)

    tally, _, rows, _ = run(tmp_path, source, work)
    assert tally.now >= 100
    with open_ledger(tmp_path / "book.db") as book:
        assert Counter(e.record["photo"] for e in book.entries()) == Counter(
            f"{k}.jpg" for k in range(300)
        )
    assert len(rows) == 300


def test_photos_that_moved_are_found_by_the_hash_the_ledger_has(tmp_path):
    archive, attic = tmp_path / "archive", tmp_path / "attic/2019"
    archive.mkdir()
    attic.mkdir(parents=True)
    for k in range(3):
        (archive / f"{k}.jpg").write_bytes(f"photo {k}".encode())
    path = tmp_path / "list.csv"
    path.write_text("photo\n" + "".join(f"archive/{k}.jpg\n" for k in range(3)), encoding="utf-8")
    seen = {}

    def work(item, _settings):
        seen[item.photo] = item.path
        exists = Path(item.path).exists()
        record = pretend.record(item, "refused", "" if exists else "unreadable", "No.")
        record["sha256"] = (
            hashlib.sha256(Path(item.path).read_bytes()).hexdigest() if exists else None
        )
        record["reasons"] = [
            {"code": "scale-missing" if exists else "unreadable", "message": "No."}
        ]
        return record

    run(tmp_path, lambda: from_manifest(path), work)
    (archive / "1.jpg").rename(attic / "renamed.jpg")
    (archive / "2.jpg").rename(attic / "2.jpg")
    (attic / "1.jpg").write_bytes(b"another photo of the same name")
    run(tmp_path, lambda: from_manifest(path), work, roots=(archive, tmp_path / "attic"))
    assert Path(seen["archive/0.jpg"]) == archive / "0.jpg"
    assert Path(seen["archive/1.jpg"]) == attic / "renamed.jpg"
    assert Path(seen["archive/2.jpg"]) == attic / "2.jpg"
    assert Whereabouts((attic,)).find("none.jpg", "0" * 64) is None


def test_a_folder_tree(tmp_path):
    (tmp_path / "tree/a").mkdir(parents=True)
    for name in ("a/1.jpg", "a/2.png", "0.jpg"):
        (tmp_path / "tree" / name).touch()
    _, done, rows, _ = run(tmp_path, lambda: from_folder(tmp_path / "tree"))
    assert done == ["0.jpg", "a/1.jpg", "a/2.png"]
    assert [row["line"] for row in rows] == ["", "", ""]


# -- killed ---------------------------------------------------------------------------------------


def start(folder, milliseconds):
    words = ["list.csv", "book.db", "out.csv"]
    return subprocess.Popen(
        [
            sys.executable,
            "-m",
            "tests.archive.pretend",
            *(str(folder / w) for w in words),
            str(milliseconds),
        ],
        cwd=ROOT,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )


def reported(folder):
    told = folder / "out.told"
    lines = told.read_text(encoding="ascii").split() if told.exists() else []
    return int(lines[-1]) if lines else 0


def children(pid):
    """Processes whose parent is this one (Linux)."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            words = stat.read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()
        except OSError:
            continue
        if int(words[1]) == pid:
            found.append(int(stat.parent.name))
    return found


def alive(pid):
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
    except OSError:
        return False
    return state.rpartition(")")[2].split()[0] != "Z"


def wait_for_progress(folder, process):
    before = reported(folder)
    while process.poll() is None and reported(folder) == before:
        time.sleep(0.01)


def killed_and_started_again(folder, kills, count, milliseconds, rng):
    """Kill at random moments, then let it end; nothing reported may be lost or done twice."""
    pretend.manifest(folder / "list.csv", count)
    left_behind, reached = [], []
    for _ in range(kills):
        process = start(folder, milliseconds)
        if rng.random() < 0.8:  # the others while they start up
            wait_for_progress(folder, process)
        try:
            process.wait(rng.uniform(0.0, 1.5))
        except subprocess.TimeoutExpired:
            left_behind += children(process.pid)
            process.send_signal(signal.SIGKILL)
            process.wait()
        with open_ledger(folder / "book.db") as book:
            assert list(audit(book)) == []
            assert book.head()[0] >= reported(folder)
            reached.append(book.head()[0])
    assert start(folder, milliseconds).wait(240) == 0
    with open_ledger(folder / "book.db") as book:
        assert list(audit(book)) == []
        photos = Counter(e.record["photo"] for e in book.entries())
    assert photos == Counter(f"{k}.jpg" for k in range(count))
    with (folder / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [row["photo"] for row in csv.DictReader(file)] == [f"{k}.jpg" for k in range(count)]
    return left_behind, reached


@pytest.mark.skipif(sys.platform == "win32", reason="there is no kill -9")
def test_killed_twice(tmp_path):
    left, reached = killed_and_started_again(tmp_path, 2, 250, 20, random.Random(3))  # noqa: S311
    assert any(0 < n < 250 for n in reached), "killed in the midst of it"
    if sys.platform == "linux":
        deadline = time.monotonic() + 10.0
        while any(map(alive, left)) and time.monotonic() < deadline:
            time.sleep(0.1)
        assert not any(map(alive, left)), "workers outlive the killed program"


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there is no kill -9")
def test_killed_twenty_times(tmp_path):
    _, reached = killed_and_started_again(tmp_path, 20, 3000, 20, random.Random(65))  # noqa: S311
    assert len({n for n in reached if 0 < n < 3000}) >= 10, "killed in the midst of it"


@pytest.mark.skipif(sys.platform == "win32", reason="signals differ")
def test_ctrl_c_keeps_what_was_reported(tmp_path):
    from tests.cli.test_remeasure import SAMPLES, command  # noqa: PLC0415

    names = sorted(SAMPLES.glob("*.jpg"))[:7]
    (tmp_path / "list.csv").write_text(
        "photo,test\n"
        + "".join(f"{p},{'2.5/62.5' if 'fine' in p.name else '10/3000'}\n" for p in names),
        encoding="utf-8",
    )
    process = subprocess.Popen(
        command(tmp_path / "list.csv", tmp_path),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        time.sleep(0.2)
        if (tmp_path / "book.db").exists():
            with open_ledger(tmp_path / "book.db") as book:
                if book.head()[0] > 0:
                    break
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to all of its processes
    out, errors = process.communicate(timeout=60)
    assert "Traceback" not in errors
    if process.returncode == 130:
        assert "Start the same command again" in errors
        assert out == ""
    done = subprocess.run(
        command(tmp_path / "list.csv", tmp_path), capture_output=True, text=True, check=False
    )
    record = json.loads(done.stdout)
    assert record["rows"] == len(names)
    assert record["done_before"] > 0
    with open_ledger(tmp_path / "book.db") as book:
        assert Counter(e.record["photo"] for e in book.entries()) == Counter(map(str, names))
        assert list(audit(book)) == []


@pytest.fixture
def asked(monkeypatch):
    """What `measure_item` asks of the measurement, which is not made."""
    calls = []

    def measured(photo, scale, test, **how):
        calls.append({"tone": photo.tone, "scale": scale.label, "test": test.name, **how})
        return Refusal("no-indent", "None.")

    monkeypatch.setattr(work, "measure_photo", measured)
    return calls


HALL = ROOT / "sample_images/hall-plate-1.jpg"
SCALES = ROOT / "calibration"
OF_ALL = Settings(
    test="5/750",
    scale=str(SCALES / "bench-scope.toml"),
    rules="astm",
    tone="linear",
    taken_on=date(2020, 1, 2),
)


def test_what_holds_for_all_is_what_a_photo_is_measured_with(asked):
    record = measure_item(Item("a", str(HALL)), OF_ALL)
    (call,) = asked
    assert (call["tone"], call["test"], call["rules"].name) == ("linear", "5/750", "astm")
    assert call["scale"] == read_scale(SCALES / "bench-scope.toml").label
    assert call["on"] == date(2020, 1, 2)
    assert record["taken_on"] == "2020-01-02"


def test_what_a_line_says_goes_before_what_holds_for_all(asked):
    item = Item(
        "a",
        str(HALL),
        test="10/3000",
        scale=str(SCALES / "hall-scope.toml"),
        taken_on=date(2019, 3, 28),
        sha256=hashlib.sha256(HALL.read_bytes()).hexdigest(),
    )
    measure_item(item, OF_ALL)
    (call,) = asked
    assert (call["test"], call["on"]) == ("10/3000", date(2019, 3, 28))
    assert call["scale"] == read_scale(SCALES / "hall-scope.toml").label


def test_the_day_in_the_photo_goes_before_that_of_all_and_after_that_of_its_line(asked, tmp_path):
    dated = tmp_path / "a.jpg"
    with Image.open(HALL) as image:
        exif = image.getexif()
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = "2021:05:06 07:08:09"
        image.save(dated, exif=exif, quality=90)
    measure_item(Item("a", str(dated)), OF_ALL)
    measure_item(Item("a", str(dated), taken_on=date(2019, 3, 28)), OF_ALL)
    assert [call["on"] for call in asked] == [date(2021, 5, 6), date(2019, 3, 28)]


def test_another_photo_under_the_name_gets_no_number(asked):
    record = measure_item(Item("a", str(HALL), sha256="0" * 64), OF_ALL)
    assert record["status"] == "refused"
    assert record["reasons"][0]["code"] == "photo-changed"
    assert asked == []
