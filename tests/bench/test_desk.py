"""Decisions, series and scales at the bench, and what the record then holds."""

import contextlib
import csv
import json
import sqlite3
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from tests.bench.conftest import ROOT, make_ready
from typer.testing import CliRunner

from rimread.bench.ask import Ask
from rimread.bench.blocks import verified
from rimread.bench.desk import Desk
from rimread.bench.folder import Folder
from rimread.bench.pending import UndecidedError
from rimread.bench.record import withdraw
from rimread.bench.series import Line, eyes_of, lines_of
from rimread.bench.told import series as series_told
from rimread.budget import combine, in_step
from rimread.capture.frame import Frame
from rimread.check import Check
from rimread.cli import app
from rimread.hardness import (
    Block,
    brinell,
    from_parts,
    parse_test,
    read_daily,
    reading_components,
    series_from_indents,
)
from rimread.ledger import Draft, Filter, audit, open_ledger
from rimread.photo import PhotoError, read_photo
from rimread.reading import indent_of, measure_photo
from rimread.scale import read_scale

PLATES = [f"hall-plate-{number}.jpg" for number in (1, 2, 3, 4)]


def photo(name: str) -> bytes:
    return (ROOT / "sample_images" / name).read_bytes()


def truth() -> dict[str, dict[str, str]]:
    with (ROOT / "sample_images/truth.csv").open(encoding="utf-8", newline="") as file:
        return {row["photo"]: row for row in csv.DictReader(file)}


def full_at(kind, append):
    """What writes entries until one of this kind comes: the disk is full."""

    def cut(drafts):
        if drafts[0].kind == kind:
            raise OSError(28, "No space left on device")
        return append(drafts)

    return cut


class Bench:
    """A desk without a page, that can be left and come back to."""

    def __init__(self, folder):
        self.folder = folder
        self.come_back()

    def come_back(self):
        """Open everything anew."""
        self.ledger = open_ledger(Folder(self.folder).ledger)
        self.desk = Desk(Folder(self.folder), self.ledger)
        return self.desk

    def leave(self):
        """Close the ledger; nothing else is tidied up."""
        self.ledger.close()

    def open(self, name: str) -> str:
        """Put a sample image on the table."""
        self.desk.upload(photo(name), name)
        return self.desk.pending.id

    def entries(self):
        """All of the ledger."""
        return list(self.ledger.entries())


@pytest.fixture
def bench(tmp_path):
    one = Bench(tmp_path / "b")
    make_ready(one)
    yield one
    one.leave()


def test_nothing_is_measured_without_a_name_or_a_scale(tmp_path):
    one = Bench(tmp_path / "b")
    with pytest.raises(ValueError, match="who tests"):
        one.desk.upload(photo(PLATES[1]), "x")
    one.desk.set_job(Ask({"operator": "Ada"}))
    with pytest.raises(ValueError, match="scale"):
        one.desk.upload(photo(PLATES[1]), "x")
    with pytest.raises(ValueError, match="camera"):
        one.desk.snap_stage("along")
    one.leave()


def test_accepted_readings_survive_being_left(bench):
    for name in PLATES[:2]:
        bench.desk.accept(bench.open(name))
    waiting = bench.open(PLATES[2])
    series = bench.desk.series.id
    bench.leave()  # the third was never decided on
    told = bench.come_back().told()
    assert told["series"]["id"] == series
    assert [line["decision"] for line in told["series"]["lines"]] == ["accepted", "accepted"]
    assert told["series"]["n"] == 2
    assert told["pending"] is None
    assert told["job"]["operator"] == "Ada Quill"
    with pytest.raises(UndecidedError):
        bench.desk.accept(waiting)
    assert not list(audit(bench.ledger))


def test_what_the_pictures_share_is_not_averaged_away(bench):
    for name in PLATES[:3]:
        bench.desk.accept(bench.open(name))
    told = bench.desk.told()["series"]
    scale = read_scale(ROOT / "calibration/hall-scope.toml")
    readings = [
        measure_photo(read_photo(ROOT / "sample_images" / name), scale, parse_test("10/3000"))
        for name in PLATES[:3]
    ]
    series = series_from_indents([indent_of(one) for one in readings], parse_test("10/3000"))
    U = from_parts(series).budget.U
    assert told["U_mean"] == in_step(series.mean_hbw, U)[1]
    assert U > combine(reading_components(series)).U
    bench.desk.report()
    (page,) = (bench.folder / "reports").glob("*.html")
    assert f"U = {told['U_mean']} HBW" in page.read_text(encoding="utf-8")


def test_u_beside_a_mean_is_not_that_of_a_single_reading(bench):
    """Indents of 186 and some 380 HBW: s says it, and U follows."""
    bench.desk.accept(bench.open(PLATES[1]))
    (entry,) = bench.ledger.entries()
    line = Line(1, "accepted", entry.record, counts=True, operator="")
    d = {key: entry.record[key] * 0.705 for key in ("d1_mm", "d2_mm", "mean_mm")}
    other = replace(line, entry=2, record={**entry.record, **d})
    alone = series_told({}, [line], line.test, "iso")
    both = series_told({}, [line, other], line.test, "iso")
    assert (alone["sd"], alone["U_mean"]) == (None, bench.desk.told()["series"]["U_mean"])
    assert alone["covers"] == "reading of the diameters only"
    assert float(both["sd"]) > 100
    # the mean of two is as unsure as Student's t of one degree of freedom makes s / √2
    assert float(both["U_mean"]) == pytest.approx(12.71 * float(both["sd"]) / 2**0.5, rel=0.15)
    assert "scatter of the piece" in both["covers"]


def test_a_lost_answer_writes_nothing_twice(bench):
    name = bench.open(PLATES[1])
    bench.desk.accept(name)
    bench.desk.accept(name)  # the page asks again because it never saw the answer
    assert [e.draft.kind for e in bench.entries()] == ["image"]
    assert bench.desk.told()["series"]["n"] == 1


def in_force(bench) -> int:
    """How many lines of the series count."""
    return sum(line["counts"] for line in bench.desk.told()["series"]["lines"])


DECISIONS = {
    "accepted": lambda desk, name, _: desk.accept(name),
    "rejected": lambda desk, name, _: desk.reject(name, Ask({"reason": "wrong piece"})),
    "corrected": lambda desk, name, ellipse: desk.correct(
        name, Ask({"ellipse": ellipse, "reason": "rim lies outside"})
    ),
}


@pytest.mark.parametrize("second", DECISIONS)
@pytest.mark.parametrize("first", DECISIONS)
def test_another_decision_on_a_decided_picture_is_turned_away(bench, first, second):
    """From a second tab, say; the same one again is a click or a request that came twice."""
    name = bench.open(PLATES[1])
    ellipse = bench.desk.told()["pending"]["ellipse"]
    DECISIONS[first](bench.desk, name, ellipse)
    before = bench.entries()
    if first == second:
        DECISIONS[second](bench.desk, name, ellipse)
    else:
        with pytest.raises(UndecidedError, match=rf"was already {first} \(entry 1\)"):
            DECISIONS[second](bench.desk, name, ellipse)
    assert bench.entries() == before
    assert in_force(bench) == (0 if first == "rejected" else 1)


@pytest.mark.parametrize("first", ["rejected", "corrected"])
def test_a_decision_again_for_another_reason_is_turned_away(bench, first):
    name = bench.open(PLATES[1])
    ellipse = bench.desk.told()["pending"]["ellipse"]
    DECISIONS[first](bench.desk, name, ellipse)
    again = bench.desk.reject if first == "rejected" else bench.desk.correct
    with pytest.raises(UndecidedError, match=f"was already {first}"):
        again(name, Ask({"ellipse": ellipse, "reason": "the lamp was off"}))
    assert len(bench.entries()) == 2


@pytest.mark.parametrize("verb", [True, False])
@pytest.mark.parametrize(("first", "number"), [("accepted", 1), ("corrected", 2)])
def test_what_is_said_of_a_decided_picture_works(bench, first, number, verb):
    """Withdrawn by the number that was named, on the page or by the verb, and opened again."""
    name = bench.open(PLATES[1])
    DECISIONS[first](bench.desk, name, bench.desk.told()["pending"]["ellipse"])
    said = f"the list of the series, or entry {number} with rimread ledger withdraw"
    with pytest.raises(UndecidedError, match=said):
        bench.desk.reject(name, Ask({"reason": "wrong piece"}))
    if verb:
        words = ["ledger", "withdraw", str(Folder(bench.folder).ledger), str(number)]
        done = CliRunner().invoke(app, [*words, "--reason", "wrong piece", "--operator", "Ada"])
        assert done.exit_code == 0, done.output
    else:
        bench.desk.withdraw(Ask({"entry": number, "reason": "wrong piece"}))
    path = bench.entries()[0].record["photo"]
    with pytest.raises(UndecidedError, match=rf"withdrawn since, 'wrong piece'.*open.*{path}"):
        bench.desk.reject(name, Ask({"reason": "wrong piece"}))
    bench.desk.upload((bench.folder / path).read_bytes(), "again")
    bench.desk.reject(bench.desk.pending.id, Ask({"reason": "wrong piece"}))
    assert in_force(bench) == 0


def test_a_rejection_cut_short_before_a_restart_is_told(bench, monkeypatch):
    """Its reason is nowhere: no answer says that it was kept."""
    name = bench.open(PLATES[1])
    monkeypatch.setattr(bench.ledger, "append", full_at("withdrawal", bench.ledger.append))
    with pytest.raises(OSError, match="space"):
        bench.desk.reject(name, Ask({"reason": "wrong piece"}))
    monkeypatch.undo()
    bench.leave()
    desk = bench.come_back()
    with pytest.raises(UndecidedError, match=r"rejected \(entry 1\): it does not count"):
        desk.reject(name, Ask({"reason": "wrong piece"}))


def test_the_next_picture_waits_for_a_decision(bench):
    bench.open(PLATES[1])
    with pytest.raises(UndecidedError, match="decide"):
        bench.desk.upload(photo(PLATES[2]), "x")
    with pytest.raises(UndecidedError, match="decide"):
        bench.desk.new_series(Ask({"purpose": "part"}))


def test_record_holds_the_reading_and_where_it_belongs(bench):
    bench.desk.set_job(Ask({"part": "plate 9", "heat": "K1", "temperature_c": "21,5"}))
    bench.desk.accept(bench.open(PLATES[1]))
    (entry,) = bench.entries()
    record = entry.record
    assert entry.draft.operator == "Ada Quill"
    assert record["status"] == "measured"
    assert record["decision"] == "accepted"
    assert record["series"]["part"] == "plate 9"
    assert record["series"]["temperature_c"] == 21.5
    assert record["scale_file"] == "scales/hall-scope.toml"
    kept = bench.folder / record["photo"]
    assert kept.read_bytes() == photo(PLATES[1])
    row = truth()[PLATES[1]]
    true_mm = (float(row["d1_mm"]) + float(row["d2_mm"])) / 2  # of the rendering
    assert abs(record["mean_mm"] - true_mm) <= record["U_mean_mm"]


def test_a_refused_picture_is_recorded_and_gives_no_number(bench):
    name = bench.open("hall-double.jpg")
    told = bench.desk.told()["pending"]
    assert told["status"] == "refused"
    assert "hbw" not in told
    with pytest.raises(ValueError, match="no number"):
        bench.desk.accept(name)
    with pytest.raises(ValueError, match="no number"):
        bench.desk.try_correction(name, Ask({"ellipse": {}}))
    with pytest.raises(UndecidedError, match="refused already: put it aside"):
        bench.desk.reject(name, Ask({"reason": "two indents in one"}))
    bench.desk.dismiss(name)
    (entry,) = bench.entries()
    assert entry.record["reasons"][0]["code"] == "overlapping-indents"
    line = bench.desk.told()["series"]["lines"][0]
    assert (line["decision"], line["counts"]) == ("refused", False)


def test_a_refused_picture_put_aside_is_put_aside(bench):
    name = bench.open("hall-double.jpg")
    bench.desk.dismiss(name)
    bench.desk.dismiss(name)  # a second click
    with pytest.raises(UndecidedError, match=r"was already refused \(entry 1\): it does not count"):
        bench.desk.accept(name)
    accepted = bench.open(PLATES[1])
    bench.desk.accept(accepted)
    with pytest.raises(UndecidedError, match=r"was already accepted \(entry 2\)"):
        bench.desk.dismiss(accepted)


def test_a_refusal_that_cannot_be_written_lies_not_on_the_table(bench, monkeypatch):
    """Put aside from there, the ledger would never have it."""
    monkeypatch.setattr(bench.ledger, "append", full_at("image", bench.ledger.append))
    with pytest.raises(OSError, match="space"):
        bench.open("hall-double.jpg")
    assert bench.desk.told()["pending"] is None
    monkeypatch.undo()
    bench.desk.dismiss(bench.open("hall-double.jpg"))
    (entry,) = bench.entries()
    assert (entry.record["status"], entry.record["decision"]) == ("refused", "refused")


def test_rejection_keeps_the_reading_and_the_reason(bench):
    name = bench.open(PLATES[1])
    for reason in ("", "  ", "no"):
        with pytest.raises(ValueError, match="reason"):
            bench.desk.reject(name, Ask({"reason": reason}))
    bench.desk.reject(name, Ask({"reason": "dirt on the rim"}))
    image, withdrawal = bench.entries()
    assert withdrawal.draft.replaces == image.number
    assert withdrawal.draft.reason == "dirt on the rim"
    told = bench.desk.told()["series"]
    assert told["mean"] is None
    assert told["lines"][0]["reason"] == "dirt on the rim"
    assert not list(bench.ledger.entries(Filter(current=True)))


def test_another_decision_after_half_a_rejection_is_not_lost_in_silence(bench, monkeypatch):
    name = bench.open(PLATES[1])
    ellipse = bench.desk.told()["pending"]["ellipse"]
    why = Ask({"reason": "dirt on the rim"})
    monkeypatch.setattr(bench.ledger, "append", full_at("withdrawal", bench.ledger.append))
    with pytest.raises(OSError, match="space"):
        bench.desk.reject(name, why)
    monkeypatch.undo()
    with pytest.raises(UndecidedError, match="rejected already: reject it again"):
        bench.desk.accept(name)
    with pytest.raises(UndecidedError, match="rejected already: reject it again"):
        bench.desk.correct(name, Ask({"ellipse": ellipse, "reason": "rim lies outside"}))
    bench.desk.reject(name, why)
    image, withdrawal = bench.entries()
    assert (image.record["decision"], withdrawal.draft.replaces) == ("rejected", image.number)
    assert bench.desk.pending is None


def test_withdrawing_an_accepted_reading(bench):
    for name in PLATES[1:3]:
        bench.desk.accept(bench.open(name))
    first = bench.desk.told()["series"]["lines"][0]["entry"]
    bench.desk.withdraw(Ask({"entry": first, "reason": "wrong part on the table"}))
    told = bench.desk.told()["series"]
    assert told["n"] == 1
    assert [line["decision"] for line in told["lines"]] == ["rejected", "accepted"]
    for number in (first, 999):
        with pytest.raises(ValueError, match="counts"):
            bench.desk.withdraw(Ask({"entry": number, "reason": "once more"}))


def test_running_mean_and_spread(bench):
    for name in PLATES[:3]:
        bench.desk.accept(bench.open(name))
    told = bench.desk.told()["series"]
    values = [brinell(e.record["mean_mm"], parse_test("10/3000")) for e in bench.entries()]
    assert told["n"] == 3
    assert float(told["sd"]) == pytest.approx(np.std(values, ddof=1), abs=0.05)
    assert float(told["range"]) == pytest.approx(max(values) - min(values), abs=0.05)
    assert float(told["mean"]) == pytest.approx(np.mean(values), abs=0.5)


def test_one_indent_taken_twice_is_noticed(bench):
    for name in (PLATES[1], PLATES[2]):
        bench.desk.accept(bench.open(name))
    jpeg = photo(PLATES[1])
    bench.desk.upload(jpeg[:2] + b"\xff\xfe\x00\x06else" + jpeg[2:], "another file of it")
    bench.desk.accept(bench.desk.pending.id)
    warned = [c["message"] for c in bench.desk.told()["series"]["checks"] if c["outcome"] == "warn"]
    assert sum("indents 1 and 3" in message for message in warned) == 1
    assert not any("indents 1 and 2" in message for message in warned)


@pytest.mark.parametrize(
    ("away_px", "size", "twice"),
    [(0.0, 0.0, True), (2.5, 4e-4, True), (3.5, 4e-4, False), (2.5, 6e-4, False)],
)
def test_what_is_taken_for_the_same_indent(bench, away_px, size, twice):
    """A few pixels and 0.05 % in size: less than two indents ever agree by chance."""
    bench.desk.accept(bench.open(PLATES[1]))
    (entry,) = bench.ledger.entries()
    line = Line(1, "accepted", entry.record, counts=True, operator="")
    moved = {"centre_x_px": entry.record["centre_x_px"] + away_px}
    d = {key: entry.record[key] * (1 + size) for key in ("d1_mm", "d2_mm", "mean_mm")}
    other = replace(line, entry=2, record={**entry.record, **moved, **d})
    shown = series_told({}, [line, other], line.test, "iso")
    assert ("taken-twice" in {check["code"] for check in shown["checks"]}) == twice


def test_a_photo_counts_once_and_is_turned_away_at_once(bench):
    for name in PLATES[1:3]:
        bench.desk.accept(bench.open(name))
    kept = list((bench.folder / "photos").rglob("*.jpg"))
    with pytest.raises(ValueError, match="indent 2 of the series already"):
        bench.open(PLATES[2])
    assert bench.desk.pending is None
    assert bench.desk.told()["series"]["n"] == 2
    assert list((bench.folder / "photos").rglob("*.jpg")) == kept, "nothing is kept twice"
    bench.desk.withdraw(Ask({"entry": 2, "reason": "wrong piece"}))
    bench.desk.accept(bench.open(PLATES[2]))
    assert bench.desk.told()["series"]["n"] == 2
    bench.desk.report()
    bench.desk.new_series(Ask({"purpose": "part"}))
    bench.desk.accept(bench.open(PLATES[2]))


def test_test_of_a_begun_series_stays(bench):
    bench.desk.accept(bench.open(PLATES[1]))
    with pytest.raises(UndecidedError, match="new series"):
        bench.desk.set_job(Ask({"test": "5/750"}))
    bench.desk.new_series(Ask({"purpose": "part"}))
    bench.desk.set_job(Ask({"test": "5/750"}))
    assert bench.desk.told()["series"]["lines"] == []


# -- where a series begins in the ledger ---------------------------------------------------------


def ahead() -> datetime:
    """What a clock says that runs a day and more ahead."""
    return datetime.now(UTC) + timedelta(days=1, hours=12)


def test_a_clock_set_back_takes_no_indent_out_of_its_series(bench):
    right, bench.desk.clock = bench.desk.clock, ahead
    bench.desk.new_series(Ask({"purpose": "part"}))
    bench.desk.clock = right
    bench.desk.set_job(Ask({"blind": True}))
    name = bench.open(PLATES[1])
    bench.desk.read_blind(name, Ask({"first_mm": 4.43, "second_mm": 4.41}))
    bench.desk.accept(name)
    for _ in range(2):  # the second time after a restart
        assert in_force(bench) == 1
        with pytest.raises(ValueError, match="indent 1 of the series already"):
            bench.open(PLATES[1])
        page = bench.folder / "reports" / bench.desk.report()["files"][0]
        assert "4.43" in page.read_text(encoding="utf-8"), "the reading by eye"
        bench.leave()
        bench.come_back()


def kept_without_its_place(bench) -> None:
    """What an earlier version kept of a series that was begun by a clock ahead."""
    path = bench.folder / "bench.json"
    told = json.loads(path.read_text(encoding="utf-8"))
    told["series"]["begun"] = ahead().date().isoformat()
    del told["series"]["after"]
    path.write_text(json.dumps(told), encoding="utf-8")


def test_a_series_of_an_earlier_version_is_found(bench):
    bench.desk.accept(bench.open(PLATES[1]))
    bench.desk.new_series(Ask({"purpose": "part"}))
    for name in PLATES[1:3]:
        bench.desk.accept(bench.open(name))
    kept_without_its_place(bench)
    bench.leave()
    assert [line["entry"] for line in bench.come_back().told()["series"]["lines"]] == [2, 3]
    assert json.loads((bench.folder / "bench.json").read_text())["series"]["after"] == 1
    bench.desk.new_series(Ask({"purpose": "part"}))
    kept_without_its_place(bench)  # and nothing is in it yet
    bench.leave()
    bench.come_back().accept(bench.open(PLATES[1]))
    assert [line["entry"] for line in bench.desk.told()["series"]["lines"]] == [4]


def test_a_series_goes_on_in_another_ledger(bench):
    """That is shorter than the one in which it was begun; later it is longer."""
    others = [Draft("image", {"photo": f"{i}.jpg"}) for i in range(20)]
    bench.ledger.append(others[:10])
    bench.desk.new_series(Ask({"purpose": "part"}))
    bench.leave()
    Folder(bench.folder).ledger.unlink()
    bench.come_back().accept(bench.open(PLATES[1]))
    bench.ledger.append(others)
    bench.leave()
    bench.come_back()
    assert in_force(bench) == 1


def test_of_a_long_ledger_only_what_follows_is_read(bench, monkeypatch):
    bench.ledger.append([Draft("image", {"photo": f"{i}.jpg"}) for i in range(1200)])
    bench.desk.new_series(Ask({"purpose": "part"}))
    bench.desk.accept(bench.open(PLATES[1]))
    read, entries = [], bench.ledger.entries

    def counted(*words, **more):
        for entry in entries(*words, **more):
            read.append(entry.number)
            yield entry

    monkeypatch.setattr(bench.ledger, "entries", counted)
    assert bench.desk.told()["series"]["n"] == 1
    bench.desk.report()
    assert set(read) == {1201}


def test_what_another_program_writes_meanwhile_hides_no_indent(bench, monkeypatch):
    """Between the look at the ledger's last entry and the reading of the last so many."""
    for name in PLATES[1:3]:
        bench.desk.accept(bench.open(name))
    head = bench.ledger.head

    def and_then_others_write():
        found = head()
        bench.ledger.append([Draft("image", {"photo": f"{i}.jpg"}) for i in range(7)])
        return found

    monkeypatch.setattr(bench.ledger, "head", and_then_others_write)
    assert bench.desk.told()["series"]["n"] == 2


def test_an_entry_cut_out_of_the_ledger_stops_nothing(bench):
    """The check of the ledger finds it; the series is shown."""
    bench.ledger.append([Draft("image", {"photo": "1.jpg"})])
    bench.desk.accept(bench.open(PLATES[1]))
    with contextlib.closing(sqlite3.connect(Folder(bench.folder).ledger)) as database:
        database.execute("DROP TRIGGER entries_delete")
        database.execute("DELETE FROM ledger_entries WHERE number = 1")
        database.commit()
    assert in_force(bench) == 1
    assert list(audit(bench.ledger))


# -- blind ----------------------------------------------------------------------------------------


def test_blind_readings_come_first_and_are_kept_beside(bench):
    bench.desk.set_job(Ask({"blind": True}))
    name = bench.open(PLATES[1])
    shown = bench.desk.told()["pending"]
    assert shown["blind_due"]
    assert not {"hbw", "d1_mm", "outline_px", "ellipse", "checks", "budget"} & set(shown)
    for act in (bench.desk.accept, lambda n: bench.desk.reject(n, Ask({"reason": "because"}))):
        with pytest.raises(UndecidedError, match="your own"):
            act(name)
    bench.desk.read_blind(name, Ask({"first_mm": "4,43", "second_mm": 4.41, "angle_deg": 0}))
    with pytest.raises(UndecidedError, match="shown"):
        bench.desk.read_blind(name, Ask({"first_mm": 4.5, "second_mm": 4.5}))
    eye = bench.desk.told()["pending"]["eye"]
    bench.desk.accept(name)
    image, hand = bench.entries()
    assert (image.draft.kind, hand.draft.kind) == ("image", "hand")
    assert hand.draft.replaces is None
    assert hand.record["blind"]
    assert hand.record["sha256"] == image.record["sha256"]
    first = 4.43 - image.record["width_mm"]
    assert float(eye["rows"][0]["difference_mm"]) == pytest.approx(first, abs=6e-4)
    assert float(eye["rows"][1]["difference_mm"]) == pytest.approx(
        4.41 - image.record["height_mm"], abs=6e-4
    )
    assert bench.desk.told()["series"]["n"] == 1, "the eye's reading is no second indent"


@pytest.mark.parametrize(
    "words",
    [
        {},
        {"first_mm": 4.4},
        {"first_mm": 4.4, "second_mm": 44},
        {"first_mm": 4.4, "second_mm": 2.0},
        {"first_mm": "nan", "second_mm": 4.4},
        {"first_mm": "inf", "second_mm": 4.4},
        {"first_mm": True, "second_mm": 4.4},
        {"first_mm": [4.4], "second_mm": 4.4},
        {"first_mm": -4.4, "second_mm": 4.4},
        {"first_mm": 4.4, "second_mm": 4.4, "angle_deg": 1e9},
    ],
)
def test_readings_that_cannot_be_are_said(bench, words):
    bench.desk.set_job(Ask({"blind": True}))
    name = bench.open(PLATES[1])
    with pytest.raises(ValueError, match=r"diameter|angle"):
        bench.desk.read_blind(name, Ask(words))
    assert bench.desk.told()["pending"]["blind_due"]


def test_a_withdrawn_reading_by_eye_is_in_no_report(bench):
    bench.desk.set_job(Ask({"blind": True}))
    name = bench.open(PLATES[1])
    bench.desk.read_blind(name, Ask({"first_mm": 4.43, "second_mm": 4.41}))
    bench.desk.accept(name)
    assert len(eyes_of(bench.ledger, bench.desk.series)) == 1
    _, hand = bench.entries()
    withdraw(bench.ledger, hand.number, operator="Ada Quill", reason="read off the wrong line")
    assert eyes_of(bench.ledger, bench.desk.series) == []


def test_taking_no_blind_reading_shows_the_result(bench):
    bench.desk.set_job(Ask({"blind": True}))
    name = bench.open(PLATES[1])
    bench.desk.skip_blind(name)
    assert bench.desk.told()["pending"]["eye"] is None
    bench.desk.accept(name)
    assert len(bench.entries()) == 1


# -- correction -----------------------------------------------------------------------------------


def test_correction_keeps_both_values(bench):
    name = bench.open(PLATES[1])
    ellipse = bench.desk.told()["pending"]["ellipse"]
    drawn = {**ellipse, "long_px": ellipse["long_px"] + 4, "short_px": ellipse["short_px"] + 4}
    tried = bench.desk.try_correction(name, Ask({"ellipse": drawn}))
    assert bench.entries() == []
    bench.desk.correct(name, Ask({"ellipse": drawn, "reason": "rim lies outside"}))
    image, hand = bench.entries()
    assert hand.draft.replaces == image.number
    before = hand.record["correction"]["image"]
    assert before["hbw"] == image.record["hbw"]
    assert hand.record["mean_mm"] - image.record["mean_mm"] == pytest.approx(4 / 118.2, rel=2e-3)
    assert hand.record["designation"] == tried["designation"]
    told = bench.desk.told()["series"]
    assert told["n"] == 1
    assert told["lines"][0]["decision"] == "corrected"
    current = list(bench.ledger.entries(Filter(current=True)))
    assert [entry.number for entry in current] == [hand.number]


def test_a_correction_cut_short_does_not_count_the_program_s_value(bench, monkeypatch):
    """Cut between the two entries: nobody believed the value, so it does not count."""
    name = bench.open(PLATES[1])
    ellipse = bench.desk.told()["pending"]["ellipse"]
    monkeypatch.setattr(bench.ledger, "append", full_at("hand", bench.ledger.append))
    with pytest.raises(OSError, match="space"):
        bench.desk.correct(name, Ask({"ellipse": ellipse, "reason": "rim lies outside"}))
    monkeypatch.undo()
    bench.leave()
    told = bench.come_back().told()["series"]
    assert told["mean"] is None
    assert told["lines"][0]["counts"] is False
    where = str(Folder(bench.folder).ledger)
    out = bench.folder / "x.html"
    words = ["report", where, "--out", str(out), "--series", told["id"]]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 2, done.output
    assert "at least one measured indent" in done.stderr
    assert not out.exists()
    assert CliRunner().invoke(app, ["ledger", "list", where]).stdout == ""
    listed = CliRunner().invoke(app, ["ledger", "list", where, "--all"]).stdout
    assert listed.rstrip().endswith("(corrected: this value does not count)  by Ada Quill")


def test_withdrawing_a_correction(bench):
    name = bench.open(PLATES[1])
    ellipse = bench.desk.told()["pending"]["ellipse"]
    bench.desk.correct(name, Ask({"ellipse": ellipse, "reason": "rim lies outside"}))
    bench.desk.accept(bench.open(PLATES[2]))
    corrected = bench.desk.told()["series"]["lines"][0]["entry"]
    bench.desk.withdraw(Ask({"entry": corrected, "reason": "two indents in one"}))
    told = bench.desk.told()["series"]
    assert [line["decision"] for line in told["lines"]] == ["rejected", "accepted"]
    assert told["lines"][0]["reason"] == "two indents in one"
    assert told["n"] == 1
    with pytest.raises(ValueError, match="counts"):
        bench.desk.withdraw(Ask({"entry": corrected, "reason": "once more"}))
    page = bench.folder / "reports" / bench.desk.report()["files"][0]
    text = page.read_text(encoding="utf-8")
    assert "Rims set by hand" not in text


@pytest.mark.parametrize(
    "marks",
    [
        [[637, 270]] * 6,
        [[637, 270]] * 7,
        [[637, 270]] * 20,
        [[100 * i, 0] for i in range(6)],
        [[100, 100]] * 3 + [[400, 300]] * 3,
    ],
)
def test_marks_that_are_no_rim_are_refused(bench, marks):
    name = bench.open(PLATES[1])
    told = bench.desk.try_correction(name, Ask({"marks": marks}))
    assert (told["status"], told["code"]) == ("refused", "marks-no-rim")


@pytest.mark.parametrize(
    "words",
    [
        {},
        {"ellipse": None},
        {"ellipse": {"x_px": 1}},
        {"ellipse": {"x_px": 1, "y_px": 1, "long_px": 1e9, "short_px": 10, "angle_deg": 0}},
        {"ellipse": {"x_px": 500, "y_px": 400, "long_px": 500, "short_px": 100, "angle_deg": 0}},
        {"marks": 5},
        {"marks": [[1, 2, 3]]},
        {"marks": [["a", 2]]},
        {"marks": [[1, 2]] * 2000},
    ],
)
def test_a_rim_that_cannot_be_is_said(bench, words):
    name = bench.open(PLATES[1])
    with pytest.raises(ValueError, match=r".{10,}"):
        bench.desk.correct(name, Ask({**words, "reason": "rim lies outside"}))
    assert bench.entries() == []


# -- scale, block, files --------------------------------------------------------------------------


def test_scale_from_the_stage_micrometer(bench):
    calibration = ROOT / "calibration"
    for slot, name in (("along", "hall-horizontal.jpg"), ("across", "hall-vertical.jpg")):
        bench.desk.upload_stage(slot, (calibration / name).read_bytes(), name)
    words = {"division_mm": "0,1", "label": "hall", "nominal_mm": 10, "certified_mm": 9.9975024}
    with pytest.raises(ValueError, match="together"):
        bench.desk.make_scale(Ask(words))
    made = bench.desk.make_scale(Ask({**words, "certificate_U_mm": 0.0009998}))
    assert made["status"] == "calibrated"
    assert float(made["px_per_mm"]) == pytest.approx(118.2, rel=2e-4)  # truth of the renderings
    assert bench.desk.job.scale == made["sha256"]
    assert bench.desk.told()["stage"] == {}


def test_unresolved_lines_make_no_scale(bench):
    data = (ROOT / "calibration/hall-unresolved.jpg").read_bytes()
    bench.desk.upload_stage("along", data, "u.jpg")
    before = bench.desk.job.scale
    told = bench.desk.make_scale(Ask({"division_mm": 0.1, "label": "hall"}))
    assert told["status"] == "refused"
    assert bench.desk.job.scale == before
    with pytest.raises(ValueError, match="along, across"):
        bench.desk.upload_stage("../x", data, "u.jpg")


def test_check_on_a_block(bench):
    bench.desk.add_block(
        Ask({"serial": "Q/1 \\ ..", "certified_hbw": 186, "U_hbw": "1,9", "test": "10/3000"})
    )
    bench.desk.new_series(Ask({"purpose": "block", "block": "Q/1 \\ .."}))
    assert bench.desk.told()["verification"]["status"] == "begun"
    bench.desk.accept(bench.open(PLATES[1]))
    told = bench.desk.told()["verification"]
    assert told["status"] == "passed"
    bench.desk.new_series(Ask({"purpose": "part"}))
    rows = (bench.folder / "daily-checks.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) == 2
    assert ",yes" in rows[1]
    with pytest.raises(ValueError, match="certificate"):
        bench.desk.new_series(Ask({"purpose": "block", "block": "Q-2"}))
    assert all(p.parent == bench.folder / "blocks" for p in bench.folder.rglob("q-1*.toml"))


OLD = {"certified_hbw": 186, "U_hbw": 1.9, "test": "10/3000", "valid_until": "2020-01-31"}


def test_a_certificate_that_has_run_out_is_said_and_kept(bench):
    said = bench.desk.add_block(Ask({"serial": "Q1", **OLD}))
    assert said["warning"].startswith("The certificate of block Q1 ran out on 2020-01-31")
    assert bench.desk.told()["blocks"][0]["warning"] == said["warning"]
    begun = bench.desk.new_series(Ask({"purpose": "block", "block": "Q1"}))
    assert begun["warning"] == said["warning"]
    assert bench.desk.told()["verification"]["warning"] == said["warning"]
    bench.desk.accept(bench.open(PLATES[1]))
    told = bench.desk.told()["verification"]
    assert (told["status"], told["warning"]) == ("failed", ""), "the check of the date says it"
    assert "2020-01-31" in told["checks"][0]["message"]


@pytest.mark.parametrize("until", ["", "2999-01-31"])
def test_of_a_certificate_that_holds_nothing_is_said(bench, until):
    words = {**OLD, "serial": "Q1", "valid_until": until}
    assert bench.desk.add_block(Ask(words)) == {"warning": ""}
    said = bench.desk.new_series(Ask({"purpose": "block", "block": "Q1"}))
    assert said == {"note": "", "warning": ""}
    assert bench.desk.told()["blocks"][0]["warning"] == ""


def test_what_became_of_a_check_is_said_at_its_end(bench):
    """Passed, failed, or without an indent; a failed one stays in sight until one passes."""
    good = {"certified_hbw": 186, "U_hbw": 1.9, "test": "10/3000"}
    bench.desk.add_block(Ask({"serial": "Q1", **good}))
    bench.desk.add_block(Ask({"serial": "Q2", **good, "certified_hbw": 300}))
    part = Ask({"purpose": "part"})
    assert bench.desk.told()["check_failed"] == ""
    for serial, note, warning in (
        ("Q2", "", "The check on block Q2 failed; the daily log has it: mean 186"),
        ("Q1", "The check on block Q1 passed; the daily log has it.", ""),
    ):
        bench.desk.new_series(Ask({"purpose": "block", "block": serial}))
        bench.desk.accept(bench.open(PLATES[1]))
        said = bench.desk.new_series(part)
        assert said["note"] == note
        assert said["warning"].startswith(warning)
        failed = bench.desk.told()["check_failed"]
        assert bool(failed) == bool(warning)
        assert not failed or "under this test failed (block Q2 on " in failed
    bench.desk.new_series(Ask({"purpose": "block", "block": "Q1"}))
    assert "no indent that counts" in bench.desk.new_series(part)["note"]


def test_a_failed_check_under_another_test_says_nothing(bench):
    bench.desk.add_block(Ask({"serial": "Q2", "certified_hbw": 300, "U_hbw": 2, "test": "10/3000"}))
    bench.desk.new_series(Ask({"purpose": "block", "block": "Q2"}))
    bench.desk.accept(bench.open(PLATES[1]))
    bench.desk.new_series(Ask({"purpose": "part"}))
    bench.desk.set_job(Ask({"test": "5/750"}))
    assert bench.desk.told()["check_failed"] == ""
    bench.desk.set_job(Ask({"test": "10/3000"}))
    assert "block Q2" in bench.desk.told()["check_failed"]


def test_a_spoilt_daily_log_is_said_and_stops_nothing(bench):
    (bench.folder / "daily-checks.csv").write_text("no log", encoding="utf-8")
    assert "no daily log" in bench.desk.told()["check_failed"]
    bench.desk.accept(bench.open(PLATES[1]))


def test_a_check_is_of_the_day_and_person_of_its_indents(bench):
    """Ended three days later by somebody else, when the certificate had run out."""
    monday, thursday = (datetime(2020, 11, day, 12, tzinfo=UTC) for day in (23, 26))
    words = {"certified_hbw": 186, "U_hbw": 1.9, "test": "10/3000", "valid_until": "2020-11-24"}
    bench.desk.clock = lambda: monday
    bench.desk.add_block(Ask({"serial": "Q1", **words}))
    bench.desk.new_series(Ask({"purpose": "block", "block": "Q1"}))
    bench.desk.accept(bench.open(PLATES[1]))
    bench.desk.clock = lambda: thursday
    bench.desk.set_job(Ask({"operator": "Bob Reed"}))
    assert bench.desk.told()["verification"]["status"] == "passed"
    bench.desk.new_series(Ask({"purpose": "part"}))
    (row,) = read_daily(bench.folder / "daily-checks.csv")
    assert (row.on, row.operator, row.passed) == (monday.date(), "Ada Quill", True)


def test_what_failed_when_an_indent_was_measured_fails_the_check_on_a_block(bench):
    """The scale had run out, say: its indent proves nothing about the machine."""
    words = {"serial": "Q1", "certified_hbw": 186, "U_hbw": 1.9, "test": "10/3000"}
    bench.desk.add_block(Ask(words))
    bench.desk.new_series(Ask({"purpose": "block", "block": "Q1"}))
    bench.desk.accept(bench.open(PLATES[1]))
    block = next(block for block in Folder(bench.folder).blocks() if block.serial == "Q1")
    (line,) = lines_of(bench.desk.ledger, bench.desk.series)
    assert verified([line], block, "iso").passed
    why = {"code": "scale-in-date", "outcome": "fail", "message": "ran out", "source": "lab"}
    spoilt = replace(line, record=line.record | {"checks": [*line.record["checks"], why]})
    found = verified([spoilt], block, "iso")
    assert not found.passed
    assert found.checks[-1] == Check(**why | {"message": "indent 1: ran out"})
    assert verified([line, replace(spoilt, counts=False)], block, "iso").passed


@pytest.mark.parametrize("spoil", [lambda path: path.unlink(), lambda path: path.write_bytes(b"")])
def test_a_block_whose_file_is_lost_keeps_nobody_at_its_check(bench, spoil):
    words = {"serial": "Q1", "certified_hbw": 186, "U_hbw": 1.9, "test": "10/3000"}
    bench.desk.add_block(Ask(words))
    bench.desk.new_series(Ask({"purpose": "block", "block": "Q1"}))
    spoil(bench.folder / "blocks" / "q1-001.toml")
    assert bench.desk.told()["series"]["test"] == "test not known"
    bench.desk.add_block(Ask(words))
    bench.desk.accept(bench.open(PLATES[1]))
    name = bench.open(PLATES[2])
    ellipse = bench.desk.told()["pending"]["ellipse"]
    for path in (bench.folder / "blocks").iterdir():
        spoil(path)
    bench.desk.correct(name, Ask({"ellipse": ellipse, "reason": "rim lies outside"}))
    bench.leave()
    told = bench.come_back().told()
    assert (told["series"]["n"], told["series"]["test"]) == (2, "10/3000")
    assert told["verification"]["status"] == "unknown"
    assert "no certificate of block Q1" in told["verification"]["why"]
    with pytest.raises(ValueError, match="no certificate of block Q1"):
        bench.open(PLATES[3])
    note = bench.desk.new_series(Ask({"purpose": "part"}))["note"]
    assert "not in the daily log: no certificate of block Q1" in note
    assert not (bench.folder / "daily-checks.csv").exists()
    bench.open(PLATES[3])


def test_a_certificate_for_another_test_judges_no_check(bench):
    words = {"serial": "Q1", "certified_hbw": 186, "U_hbw": 1.9}
    bench.desk.add_block(Ask({**words, "test": "10/3000"}))
    bench.desk.new_series(Ask({"purpose": "block", "block": "Q1"}))
    bench.desk.accept(bench.open(PLATES[1]))
    before = bench.desk.told()["series"]["mean"]
    bench.desk.add_block(Ask({**words, "test": "10/1000"}))
    told = bench.desk.told()
    assert told["series"]["mean"] == before
    assert "10/1000" in told["verification"]["why"]
    with pytest.raises(UndecidedError, match="test of a series stays"):
        bench.open(PLATES[2])


def test_a_block_takes_its_own_test(bench):
    bench.desk.add_block(Ask({"serial": "Q5", "certified_hbw": 200, "U_hbw": 2, "test": "5/750"}))
    bench.desk.new_series(Ask({"purpose": "block", "block": "Q5"}))
    assert bench.desk.told()["series"]["test"] == "5/750"


def test_report_of_a_series(bench):
    with pytest.raises(ValueError, match="counts"):
        bench.desk.report()
    bench.desk.set_job(Ask({"part": "plate 9"}))
    for name in PLATES[1:3]:
        bench.desk.accept(bench.open(name))
    files = bench.desk.report()["files"]
    html = next(bench.folder / "reports" / file for file in files if file.endswith(".html"))
    text = html.read_text(encoding="utf-8")
    assert "plate 9" in text
    assert bench.desk.told()["series"]["designation"] in text


@pytest.mark.parametrize(
    "words",
    [
        {"certified_hbw": 186},
        {"certified_hbw": 300},
        {"certified_hbw": 186, "valid_until": "2020-01-31"},
    ],
    ids=["passed", "failed", "expired"],
)
def test_no_report_of_a_part_is_made_of_a_block(bench, words):
    bench.desk.add_block(Ask({"serial": "Q1", "U_hbw": 1.9, "test": "10/3000", **words}))
    bench.desk.new_series(Ask({"purpose": "block", "block": "Q1"}))
    bench.desk.accept(bench.open(PLATES[1]))
    with pytest.raises(UndecidedError, match="a block check is under way: end it first"):
        bench.desk.report()
    assert not list((bench.folder / "reports").iterdir())
    bench.desk.new_series(Ask({"purpose": "part"}))
    bench.desk.accept(bench.open(PLATES[1]))
    assert bench.desk.report()["files"]


def test_report_is_of_the_day_and_person_of_its_indents(bench):
    """Written three days later by somebody else, after a check on the block that came later."""
    monday, thursday = (datetime(2020, 11, day, 12, tzinfo=UTC) for day in (23, 26))
    bench.desk.clock = lambda: monday
    bench.desk.new_series(Ask({"purpose": "part"}))
    bench.desk.accept(bench.open(PLATES[1]))
    bench.desk.clock = lambda: thursday
    bench.desk.set_job(Ask({"operator": "Bob Reed"}))
    columns = "date,block,test,operator,n,mean_hbw,certified_hbw,error_rel,repeatability_rel,passed"
    later = "2020-11-26,Q1,10/3000,Bob Reed,1,186.000,186,0.000000,0.000000,yes"
    log = bench.folder / "daily-checks.csv"
    log.write_text(f"{columns}\n{later}\n", encoding="utf-8")
    page = bench.folder / "reports" / bench.desk.report()["files"][0]
    text = page.read_text(encoding="utf-8")
    assert "no check under this test that counts on 2020-11-23" in text
    assert "Ada Quill" in text
    assert "Bob Reed" not in text
    assert "2020-11-26" in text, "the day the report was made"


def test_report_is_of_the_piece_of_its_indents(bench):
    """Written when the next job lies on the table already."""
    told = {"part": "plate 9", "heat": "K77", "location": "rim", "temperature_c": 21.5}
    bench.desk.set_job(Ask(told))
    bench.desk.accept(bench.open(PLATES[1]))
    bench.desk.set_job(Ask({"location": "hub"}))
    bench.desk.accept(bench.open(PLATES[2]))
    bench.desk.set_job(
        Ask({"part": "shaft 4", "heat": "Z next", "location": "end", "temperature_c": 35.0})
    )
    page = bench.folder / "reports" / bench.desk.report()["files"][0]
    text = page.read_text(encoding="utf-8")
    assert all(word in text for word in ("plate 9", "K77", "rim; hub", "21.5"))
    assert not any(word in text for word in ("shaft 4", "Z next", "35.0"))


def test_report_tells_a_rim_set_by_hand(bench):
    name = bench.open(PLATES[1])
    ellipse = bench.desk.told()["pending"]["ellipse"]
    bench.desk.correct(name, Ask({"ellipse": ellipse, "reason": "rim lies outside"}))
    bench.desk.set_job(Ask({"blind": True}))
    name = bench.open(PLATES[2])
    bench.desk.read_blind(name, Ask({"first_mm": 3.15, "second_mm": 3.11}))
    bench.desk.accept(name)
    for source in (bench.desk.report()["files"][0], None):
        if source is None:  # the verb, from the same ledger
            out = bench.folder / "verb.html"
            words = ["report", str(Folder(bench.folder).ledger), "--out", str(out)]
            done = CliRunner().invoke(app, [*words, "--photos", str(bench.folder)])
            assert done.exit_code == 0, done.output
        else:
            out = bench.folder / "reports" / source
        text = out.read_text(encoding="utf-8")
        assert "by hand" in text
        assert "rim lies outside" in text
        assert "3.15" in text


def test_spoilt_files_do_not_stop_the_bench(bench):
    (bench.folder / "scales" / "bad.toml").write_bytes(b"\xff")
    (bench.folder / "blocks" / "bad.toml").write_text("serial = 1", encoding="utf-8")
    (bench.folder / "bench.json").write_text("[", encoding="utf-8")
    bench.leave()
    told = bench.come_back().told()
    assert len(told["scales"]) == 1
    assert told["blocks"] == []


def test_a_block_file_is_read_back_as_it_was(tmp_path):
    folder = Folder(tmp_path)
    block = Block('Ä "1"\\x7f\x7f', 201.5, 2.25, 2.1, parse_test("2.5/187.5/30"), date(2027, 1, 31))
    folder.add_block(block)
    assert list(folder.blocks()) == [block]


def test_uploads_of_other_kinds_are_turned_away(tmp_path):
    folder = Folder(tmp_path)
    for data in (b"", b"GIF89a", b"PK\x03\x04"):
        with pytest.raises(PhotoError, match="JPEG"):
            folder.keep_upload(data, "x", datetime.now(UTC))


# -- camera ---------------------------------------------------------------------------------------


class Still:
    """A camera that shows one picture with the noise of a sensor."""

    trouble = ""

    def __init__(self, grey):
        self.grey, self.rng = grey.astype(float), np.random.default_rng(1)

    def next(self, count):
        """Frames that differ by noise alone."""
        noisy = (self.rng.normal(0, 1.5, self.grey.shape) + self.grey for _ in range(count))
        return [
            Frame(np.clip(np.rint(f), 0, 255).astype(np.uint8), datetime.now(UTC), i)
            for i, f in enumerate(noisy, 1)
        ]


def test_several_frames_bring_their_scatter_into_u(bench):
    grey = read_photo(ROOT / "sample_images" / PLATES[1]).grey
    bench.desk.feed, bench.desk.camera = Still(grey), "still"
    bench.desk.set_job(Ask({"frames": 5}))
    bench.desk.snap()
    bench.desk.accept(bench.desk.pending.id)
    (entry,) = bench.entries()
    part = next(p for p in entry.record["budget_mm"] if p["name"] == "frame to frame")
    assert 0 < part["u_mm"] < entry.record["U_mean_mm"]
    assert part["dof"] == 4
    kept = read_photo(bench.folder / entry.record["photo"])
    assert kept.grey.dtype == np.uint16
    assert kept.sha256 == entry.record["sha256"]


@pytest.mark.parametrize("frames", [1, 4])
def test_a_tone_curve_that_nobody_stated_counts_in_u(bench, frames):
    grey = read_photo(ROOT / "sample_images" / PLATES[1]).grey
    bench.desk.feed, bench.desk.camera = Still(grey), "still"
    bench.desk.set_job(Ask({"frames": frames}))
    bench.desk.snap()
    budget = bench.desk.pending.result.diameters.budget
    (part,) = (part for part in budget.components if part.name == "tone curve")
    assert part.how.startswith("assumed")
    assert part.u > 0


@pytest.mark.parametrize("count", [2, 5])
def test_a_picture_that_moved_is_neither_kept_nor_measured(bench, count):
    class Drifting(Still):
        def next(self, count):
            """Each frame four pixels on from the one before."""
            shown = super().next(count)
            return [
                Frame(np.roll(f.picture, 4 * i, axis=1), f.taken_at, f.number)
                for i, f in enumerate(shown)
            ]

    grey = read_photo(ROOT / "sample_images" / PLATES[1]).grey
    bench.desk.feed, bench.desk.camera = Drifting(grey), "drifting"
    bench.desk.set_job(Ask({"frames": count}))
    with pytest.raises(ValueError, match="come to rest"):
        bench.desk.snap()
    assert bench.desk.pending is None
    assert not list((bench.folder / "photos").iterdir())
    assert bench.entries() == []
