"""What the ledger has of a photo stands as long as picture and scale are the same."""

import csv
import hashlib
import os
import shutil
from pathlib import Path

import pytest
from tests.archive import pretend

from rimread.archive.items import Item, from_folder, from_manifest
from rimread.archive.results import write_results
from rimread.archive.run import Archive, remeasure
from rimread.archive.standing import another_picture
from rimread.archive.work import Settings, measure_item, state_of
from rimread.ledger import Draft, Filter, open_ledger

ROOT = Path(__file__).parents[2]
HALL = ROOT / "calibration" / "hall-scope.toml"
PLATES = [ROOT / "sample_images" / f"hall-plate-{k}.jpg" for k in (1, 2)]


@pytest.fixture
def folder(tmp_path):
    """Two photos with their scale."""
    photos = tmp_path / "photos"
    photos.mkdir()
    for name, plate in zip(("a.jpg", "b.jpg"), PLATES, strict=True):
        shutil.copy(plate, photos / name)
    shutil.copy(HALL, photos)
    return photos


def measured(folder, *, shelf=""):
    """Counts and rows of one more start, by photo."""
    book, out = folder.parent / "book.db", folder.parent / "out.csv"
    settings = Settings(test="10/3000", root=str(folder), shelf=str(shelf))
    with (
        open_ledger(book) as ledger,
        Archive(lambda: from_folder(folder), settings, run="r") as archive,
    ):
        tally = remeasure(archive, ledger, pretend.Here(), work=measure_item)
        write_results(archive, ledger, out)
    with out.open(encoding="utf-8-sig", newline="") as file:
        return tally, {row["photo"]: row for row in csv.DictReader(file)}


def other_scale(path):
    """One of the same size that gives larger diameters."""
    text = HALL.read_text(encoding="utf-8")
    for axis in "xy":
        text = text.replace(f"px_per_mm_{axis} = 118.19", f"px_per_mm_{axis} = 108.19")
    path.write_text(text.replace("hall scope", "second scope"), encoding="utf-8")
    return path


def test_photos_that_changed_places_are_measured_again(folder):
    _, before = measured(folder)
    a, b, aside = folder / "a.jpg", folder / "b.jpg", folder / "aside"
    a.rename(aside)
    b.rename(a)
    aside.rename(b)
    tally, after = measured(folder)
    assert (tally.measured, tally.others) == (2, 2)
    for name, other in (("a.jpg", "b.jpg"), ("b.jpg", "a.jpg")):
        assert after[name]["sha256"] == before[other]["sha256"]
        assert after[name]["mean_mm"] == before[other]["mean_mm"]
    assert measured(folder)[0].before == 2
    with open_ledger(folder.parent / "book.db") as book:
        told = [entry.draft.reason for entry in book.entries(Filter(current=True))]
    assert len(told) == 2
    assert all("another picture" in reason for reason in told)


def test_a_photo_cut_short_loses_its_number(folder):
    measured(folder)
    (folder / "a.jpg").write_bytes(b"")
    tally, after = measured(folder)
    assert (tally.unreadable, tally.before) == (1, 1)
    assert after["a.jpg"]["status"] == "refused"


def test_a_copy_with_another_time_is_the_same(folder):
    measured(folder)
    os.utime(folder / "a.jpg", (1e9, 1e9))
    assert measured(folder)[0].before == 2


@pytest.mark.parametrize(("sha256", "other"), [("0" * 64, True), (None, False)])
def test_another_picture_is_known_by_its_hash(folder, sha256, other):
    item = Item("a.jpg", str(folder / "a.jpg"))
    assert another_picture(item, {"sha256": sha256}) == other
    assert not another_picture(item, {"sha256": sha256, "file": state_of(item.path)})
    assert not another_picture(Item("c.jpg", str(folder / "c.jpg")), {"sha256": sha256})


def test_another_folder_of_scales_counts(folder, tmp_path):
    (folder / HALL.name).rename(tmp_path / HALL.name)
    shelves = [tmp_path / name for name in ("one", "two")]
    for shelf in shelves:
        shelf.mkdir()
    shutil.copy(HALL, shelves[0])
    other_scale(shelves[1] / "second.toml")
    _, before = measured(folder, shelf=shelves[0])
    tally, after = measured(folder, shelf=shelves[1])
    assert tally.measured == 2
    ratio = float(after["a.jpg"]["mean_mm"]) / float(before["a.jpg"]["mean_mm"])
    assert ratio == pytest.approx(118.19 / 108.19, rel=1e-3)
    assert measured(folder, shelf=shelves[1])[0].before == 2
    shelves[1].rename(tmp_path / "away")
    assert measured(folder)[0].before == 2  # it was that one, wherever it is now


def test_no_number_is_given_up_for_a_scale_that_came_later(folder):
    measured(folder)
    second = other_scale(folder / "second.toml")
    assert measured(folder)[0].before == 2  # either would fit a new photo, which is refused
    (folder / HALL.name).unlink()
    assert measured(folder)[0].measured == 2  # now there is no doubt
    second.rename(folder.parent / "away")
    assert measured(folder)[0].before == 2


def test_a_photo_that_moved_with_its_scale_is_measured_once(folder, tmp_path):
    shelf, moved = tmp_path / "shelf", folder / "moved"
    for one in (shelf, moved):
        one.mkdir()
    other_scale(shelf / "second.toml")
    for path in (folder / "a.jpg", folder / HALL.name):
        path.rename(moved / path.name)
    (folder / "b.jpg").unlink()
    (tmp_path / "list.csv").write_text(
        f"photo,sha256\nphotos/a.jpg,{hashlib.sha256(PLATES[0].read_bytes()).hexdigest()}\n",
        encoding="utf-8",
    )
    settings = Settings(test="10/3000", root=str(folder), shelf=str(shelf))
    for start in (1, 2):
        with (
            open_ledger(tmp_path / "book.db") as ledger,
            Archive(
                lambda: from_manifest(tmp_path / "list.csv"), settings, run="r", roots=(folder,)
            ) as archive,
        ):
            tally = remeasure(archive, ledger, pretend.Here(), work=measure_item)
        assert (tally.measured, tally.before) == ((1, 0) if start == 1 else (0, 1))


def test_a_scale_calibrated_again_is_seen_from_another_folder(folder, monkeypatch, tmp_path):
    shelf = tmp_path / "scales"
    shelf.mkdir()
    (folder / HALL.name).rename(shelf / HALL.name)
    monkeypatch.chdir(tmp_path)
    measured(folder, shelf="scales")
    other_scale(shelf / HALL.name)
    (tmp_path / "below").mkdir()
    monkeypatch.chdir(tmp_path / "below")
    assert measured(folder, shelf="../scales")[0].measured == 2


def test_what_a_person_took_out_or_corrected_stays_so(folder):
    _, before = measured(folder)
    numbers = {name: int(row["entry"]) for name, row in before.items()}
    with open_ledger(folder.parent / "book.db") as book:
        record = dict(book.entry(numbers["b.jpg"]).record) | {"hbw": 99.0}
        book.append(
            [
                Draft("withdrawal", replaces=numbers["a.jpg"], reason="wrong part", operator="A"),
                Draft("image", record, replaces=numbers["b.jpg"], reason="wrong test"),
            ]
        )
    for shelf in ("", other_scale(folder / HALL.name).parent):  # also when all is due again
        tally, after = measured(folder, shelf=shelf)
        assert (tally.before, tally.now) == (2, 0)
        assert after["a.jpg"]["status"] == "refused"
        assert after["a.jpg"]["refusal"] == "withdrawn"
        assert "wrong part" in after["a.jpg"]["why"]
        assert not after["a.jpg"]["hbw"]
        assert float(after["b.jpg"]["hbw"]) == 99.0
    with open_ledger(folder.parent / "book.db") as book:
        assert len(list(book.entries(Filter(current=True)))) == 1


def test_a_picture_put_in_place_of_what_was_taken_out_is_measured(folder):
    _, before = measured(folder)
    with open_ledger(folder.parent / "book.db") as book:
        number = int(before["a.jpg"]["entry"])
        book.append([Draft("withdrawal", replaces=number, reason="wrong part", operator="A")])
    shutil.copy(PLATES[1], folder / "a.jpg")
    tally, after = measured(folder)
    assert tally.measured == 1
    assert after["a.jpg"]["mean_mm"] == before["b.jpg"]["mean_mm"]


def test_a_share_that_drops_out_leaves_the_table(folder):
    measured(folder)
    out = folder.parent / "out.csv"
    table = out.read_bytes()
    folder.rename(folder.parent / "away")
    folder.mkdir()
    with pytest.raises(ValueError, match=r"not there any more; .*out.csv stays as it was"):
        measured(folder)
    assert out.read_bytes() == table
