"""Pictures dropped into a folder: each once, when it is whole."""

import shutil
import threading
import time

import pytest
from tests.bench.conftest import ROOT

from rimread.capture import arrivals
from rimread.capture.watch import EMPTY_FOR

PHOTO = (ROOT / "sample_images/hall-plate-2.jpg").read_bytes()
QUICK = {"settle_s": 0.15, "every_s": 0.03, "idle_s": 0.6}


def later(work, delay=0.1):
    thread = threading.Timer(delay, work)
    thread.start()
    return thread


def test_new_pictures_come_once_and_old_ones_not(tmp_path):
    (tmp_path / "old.jpg").write_bytes(PHOTO)

    def drop():
        for name in ("b.jpg", "a.PNG", "notes.txt", ".hidden.jpg", "c.tif"):
            (tmp_path / name).write_bytes(b"x" * 10)
        (tmp_path / "sub.jpg").mkdir()

    later(drop)
    names = [path.name for path in arrivals(tmp_path, **QUICK)]
    assert sorted(names) == ["a.PNG", "b.jpg", "c.tif"]


def test_existing_ones_count_when_asked_for(tmp_path):
    (tmp_path / "old.jpg").write_bytes(PHOTO)
    assert [p.name for p in arrivals(tmp_path, existing=True, **QUICK)] == ["old.jpg"]


def test_a_file_still_growing_is_waited_for(tmp_path):
    path = tmp_path / "slow.jpg"

    def write_slowly():
        with path.open("wb") as file:
            for start in range(0, len(PHOTO), len(PHOTO) // 10 + 1):
                file.write(PHOTO[start : start + len(PHOTO) // 10 + 1])
                file.flush()
                time.sleep(0.06)

    later(write_slowly)
    seen = [found.read_bytes() for found in arrivals(tmp_path, **QUICK)]
    assert seen == [PHOTO]


def test_an_empty_file_is_not_whole_yet(tmp_path):
    path = tmp_path / "late.jpg"
    later(path.touch, 0.05)
    later(lambda: path.write_bytes(PHOTO), 0.4)
    assert [found.read_bytes() for found in arrivals(tmp_path, **QUICK)] == [PHOTO]


def test_a_file_that_stays_empty_does_not_hold_the_clock(tmp_path):
    (tmp_path / "empty.jpg").touch()
    ended = threading.Event()

    def watch():
        assert list(arrivals(tmp_path, existing=True, **QUICK)) == []
        ended.set()

    threading.Thread(target=watch, daemon=True).start()
    assert ended.wait(10.0)


def test_a_file_that_stays_empty_is_handed_over_once_and_late(tmp_path):
    path = tmp_path / "empty.jpg"
    path.touch()
    later(lambda: path.write_bytes(PHOTO), EMPTY_FOR * 0.05 + 0.7)
    times = {"settle_s": 0.05, "every_s": 0.03, "idle_s": 0.9}
    begun = time.monotonic()
    coming = arrivals(tmp_path, existing=True, **times)
    seen = [(found.stat().st_size, time.monotonic() - begun) for found in coming]
    assert [size for size, _ in seen] == [0, len(PHOTO)]
    assert seen[0][1] >= EMPTY_FOR * 0.05


def test_a_picture_written_anew_comes_again(tmp_path):
    path = tmp_path / "again.jpg"
    later(lambda: path.write_bytes(PHOTO[:5000]), 0.05)
    later(lambda: path.write_bytes(PHOTO), 0.7)
    assert [
        len(found.read_bytes()) for found in arrivals(tmp_path, **{**QUICK, "idle_s": 1.0})
    ] == [
        5000,
        len(PHOTO),
    ]


def test_a_file_moved_into_place_and_one_taken_away(tmp_path):
    whole, gone = tmp_path / "x.part", tmp_path / "gone.jpg"
    whole.write_bytes(PHOTO)

    def work():
        shutil.move(whole, tmp_path / "x.jpg")
        gone.write_bytes(b"1")
        gone.unlink()

    later(work)
    assert [path.name for path in arrivals(tmp_path, **QUICK)] == ["x.jpg"]


def test_what_is_no_folder_is_misuse(tmp_path):
    """Told when it is asked for, not at the first picture."""
    with pytest.raises(ValueError, match="not a folder"):
        arrivals(tmp_path / "none")
    with pytest.raises(ValueError, match="above 0"):
        arrivals(tmp_path, every_s=0)


def test_a_picture_that_comes_before_the_first_look_is_new(tmp_path):
    coming = arrivals(tmp_path, **QUICK)
    (tmp_path / "x.jpg").write_bytes(PHOTO)
    assert [path.name for path in coming] == ["x.jpg"]
