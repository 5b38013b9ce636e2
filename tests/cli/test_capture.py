"""The verbs capture, watch and bench as a person or a program meets them."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import urllib.request

import cv2
import numpy as np
import pytest
from tests.bench.conftest import ROOT
from typer.testing import CliRunner

from rimread.bench.serve import Address, bound
from rimread.cli import app
from rimread.ledger import open_ledger
from rimread.photo import read_photo

SAMPLES = ROOT / "sample_images"
SCALE = ROOT / "calibration/hall-scope.toml"


def run(*words: object):
    return CliRunner().invoke(app, list(map(str, words)), catch_exceptions=False)


def film(path, pictures):
    """Lossless video of grey pictures with noise."""
    rng = np.random.default_rng(1)
    size = pictures[0].shape[::-1]
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"FFV1"), 60, size, isColor=False)
    for grey in pictures:
        noisy = np.clip(np.rint(grey + rng.normal(0, 1.0, grey.shape)), 0, 255)
        writer.write(noisy.astype(np.uint8))
    writer.release()
    return path


@pytest.fixture(scope="module")
def plate():
    return read_photo(SAMPLES / "hall-plate-2.jpg").grey


@pytest.fixture(scope="module")
def coming_to_rest(tmp_path_factory, plate):
    """An indent that is moved into the frame, out of focus, then focused."""
    moving = [np.roll(plate, 40 * i, axis=1) for i in range(5, 0, -1)]
    soft = [cv2.GaussianBlur(plate, (0, 0), sigma) for sigma in (6, 4, 2)]
    return film(tmp_path_factory.mktemp("film") / "rest.avi", [*moving, *soft, *([plate] * 12)])


# -- capture --------------------------------------------------------------------------------------


def test_capture_at_once(tmp_path, coming_to_rest):
    done = run("capture", coming_to_rest, "--out", tmp_path / "job", "--json")
    assert done.exit_code == 0
    told = json.loads(done.stdout)
    assert told["status"] == "taken"
    photo = read_photo(next((tmp_path / "job").iterdir()))
    assert photo.sha256 == told["sha256"]
    assert told["frames"] == 1
    assert told["scatter_rel"] is None


def test_capture_waits_until_still_and_sharp(tmp_path, coming_to_rest, plate):
    done = run("capture", coming_to_rest, "--auto", "--out", tmp_path, "--json")
    assert done.exit_code == 0, done.output
    photo = read_photo(next(tmp_path.iterdir()))
    assert np.abs(photo.grey.astype(int) - plate).mean() < 1.5, "the still, sharp one"
    assert "moves" in done.stderr
    assert done.stderr.index("next frame to compare with") < done.stderr.index("moves")


def test_capture_averages_and_tells_the_scatter(tmp_path, plate):
    video = film(tmp_path / "still.avi", [plate] * 6)
    done = run("capture", video, "--frames", 5, "--out", tmp_path / "out", "--json")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["frames"] == told["frames_measured"] == 5
    assert told["dof"] == 4
    assert told["u_frames_rel"] == pytest.approx(told["scatter_rel"] / 5**0.5)
    assert 0 < told["scatter_rel"] < 1e-3
    photo = read_photo(next((tmp_path / "out").iterdir()))
    assert photo.grey.dtype == np.uint16
    assert "scatters by" in run("capture", video, "--frames", 5, "--out", tmp_path / "o").stdout


def test_capture_that_never_comes_to_rest_writes_nothing(tmp_path, plate):
    video = film(tmp_path / "m.avi", [np.roll(plate, 40 * i, axis=1) for i in range(8)])
    done = run("capture", video, "--auto", "--out", tmp_path / "out", "--json")
    assert done.exit_code == 1
    assert json.loads(done.stdout)["reasons"][0]["code"] == "not-steady"
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("of", ["indent", "stage"])
@pytest.mark.parametrize("drift", [1, 4, 16])
def test_capture_averages_no_drift(tmp_path, plate, drift, of):
    """No pause between the frames is long enough to be taken for rest, and no average is made."""
    grey = plate if of == "indent" else read_photo(ROOT / "calibration/hall-horizontal.jpg").grey
    video = film(tmp_path / "d.avi", [np.roll(grey, drift * i, axis=1) for i in range(12)])
    for how in ((), ("--auto",)):
        words = ("--frames", 2 if drift > 1 else 8, "--of", of, "--out", tmp_path / "out")
        done = run("capture", video, *how, *words)
        assert done.exit_code == 1, done.output
        assert "nothing written (not-steady)" in done.stdout
    assert not (tmp_path / "out").exists()


def test_capture_looks_for_what_must_be_in_view(tmp_path, plate):
    ruled = read_photo(ROOT / "calibration/hall-horizontal.jpg").grey
    for name, grey, code in (("indent", plate, 1), ("ruled", ruled, 0)):
        video = film(tmp_path / f"{name}.avi", [grey] * 10)
        done = run("capture", video, "--auto", "--of", "stage", "--out", tmp_path / name)
        assert done.exit_code == code, done.output
        assert ("no ruled lines" in done.stderr) == (name == "indent")
        assert (tmp_path / name).exists() == (name == "ruled")


def test_capture_of_too_short_a_video(tmp_path, plate):
    video = film(tmp_path / "s.avi", [plate] * 2)
    done = run("capture", video, "--frames", 4, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "too-few-frames" in done.stdout


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["none.avi"], "none.avi: no such video file"),
        (["987"], "camera 987 cannot be opened"),
        (["0", "--size", "big"], "WIDTHxHEIGHT"),
    ],
)
def test_capture_misuse(tmp_path, words, sentence):
    done = run("capture", *words, "--out", tmp_path)
    assert done.exit_code == 2
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "camera",
    [
        pytest.param(
            "987",
            marks=pytest.mark.skipif(
                sys.platform == "darwin", reason="AVFoundation adds a word of its own"
            ),
        ),
        "/dev/video987",
        "rtsp://127.0.0.1:1/scope",
    ],
)
def test_only_our_own_sentence_is_told_without_a_camera(tmp_path, camera):
    """In a process of its own: the libraries write past Python's standard error."""
    program = [sys.executable, "-m", "rimread"]
    words = ["capture", camera, "--out", str(tmp_path)]
    kept = {key: word for key, word in os.environ.items() if not key.startswith("OPENCV_")}
    done = subprocess.run(
        [*program, *words], capture_output=True, text=True, check=False, env=kept, timeout=120
    )
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert line.startswith(f"rimread: camera {camera} cannot be opened")


# -- watch ----------------------------------------------------------------------------------------


def test_watch_measures_what_arrives(tmp_path):
    inbox, ledger = tmp_path / "in", tmp_path / "lab.db"
    inbox.mkdir()

    def drop():
        for name in ("hall-plate-2.jpg", "hall-double.jpg"):
            shutil.copyfile(SAMPLES / name, inbox / name)
        (inbox / "half.jpg").write_bytes((SAMPLES / "hall-plate-3.jpg").read_bytes()[:9000])

    threading.Timer(0.3, drop).start()
    done = run(
        *("watch", inbox, "--scale", SCALE, "--test", "10/3000", "--ledger", ledger),
        *("--operator", "Ada", "--settle", 0.2, "--idle", 1.2, "--json"),
    )
    assert done.exit_code == 2, "one could not be read"
    told = {json.loads(line)["photo"]: json.loads(line) for line in done.stdout.splitlines()}
    assert told[str(inbox / "hall-plate-2.jpg")]["status"] == "measured"
    assert told[str(inbox / "hall-double.jpg")]["status"] == "refused"
    assert told[str(inbox / "half.jpg")]["reasons"][0]["code"] == "unreadable"
    with open_ledger(ledger) as book:
        entries = list(book.entries())
    assert len(entries) == 3
    assert {entry.draft.operator for entry in entries} == {"Ada"}
    assert {entry.record["scale_file"] for entry in entries} == {str(SCALE)}
    assert {record["ledger_entry"] for record in told.values()} == {1, 2, 3}


def test_watch_tells_people(tmp_path):
    shutil.copyfile(SAMPLES / "hall-plate-2.jpg", tmp_path / "p.jpg")
    words = ("--scale", SCALE, "--test", "10/3000", "--existing", "--settle", 0, "--idle", 0.3)
    done = run("watch", tmp_path, *words)
    assert done.exit_code == 0
    assert "p.jpg  4.41" in done.stdout
    assert "HBW 10/3000" in done.stdout


def test_watch_tells_of_a_picture_that_stays_empty(tmp_path, monkeypatch):
    monkeypatch.setattr("rimread.capture.watch.EMPTY_FOR", 2.0)
    (tmp_path / "empty.jpg").touch()
    words = ("--scale", SCALE, "--test", "10/3000", "--existing", "--settle", 0, "--idle", 1.2)
    done = run("watch", tmp_path, *words)
    assert done.exit_code == 2
    assert done.stdout.count("empty.jpg  refused (unreadable)") == 1


def test_watch_stopped_in_the_middle_of_a_picture(tmp_path, monkeypatch):
    """The first is refused, and the second is not measured to its end: no word and no entry."""
    for name in ("hall-double.jpg", "hall-plate-2.jpg"):
        shutil.copyfile(SAMPLES / name, tmp_path / name)
        os.utime(tmp_path / name, (0, len(name)))
    from rimread.cli import _job  # noqa: PLC0415

    def interrupted(path, job):
        if path.name == "hall-plate-2.jpg":
            raise KeyboardInterrupt
        return _job.measured(path, job)

    monkeypatch.setattr("rimread.cli.watch.measured", interrupted)
    words = ("--scale", SCALE, "--test", "10/3000", "--existing", "--settle", 0)
    done = run("watch", tmp_path, *words, "--ledger", tmp_path / "lab.db")
    assert done.exit_code == 1, done.output
    assert done.stderr.rstrip().endswith("stopped watching")
    assert "hall-plate-2" not in done.stdout
    with open_ledger(tmp_path / "lab.db") as book:
        assert [entry.record["photo"] for entry in book.entries()] == [
            str(tmp_path / "hall-double.jpg")
        ]


def test_watch_misuse(tmp_path):
    done = run("watch", tmp_path / "no", "--scale", SCALE, "--test", "10/3000")
    assert done.exit_code == 2
    assert "not a folder" in done.stderr
    assert "watching" not in done.stderr
    words = ("--scale", SCALE, "--test", "10/3000", "--operator", "Ada", "--idle", 0.1)
    done = run("watch", tmp_path, *words)
    assert done.exit_code == 2
    assert done.stderr.startswith("rimread: --operator needs --ledger")


# -- bench ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["none.avi"], "no such video file"),
        (["--host", "0.0.0.0"], "--name"),  # noqa: S104  (refused)
        (["--port", "99999"], "port"),
        (["--scale", "none.toml"], "none.toml"),
        (["--size", "large"], "WIDTHxHEIGHT"),
    ],
)
def test_bench_misuse(tmp_path, words, sentence):
    done = run("bench", *words, "--no-show", "--data", tmp_path / "b")
    assert done.exit_code == 2
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "b").exists()


def test_bench_at_a_port_that_is_taken_says_what_to_do(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = run("bench", "--no-show", "--data", tmp_path / "b", "--port", port)
    assert done.exit_code == 2
    assert f"port {port}" in done.stderr
    assert "choose another --port" in done.stderr
    assert "Errno" not in done.stderr
    with pytest.raises(OSError, match="choose another --host"):
        bound(Address("192.0.2.1", 0, (), ""))  # kept for documentation by RFC 5737


@pytest.mark.skipif(sys.platform == "win32", reason="a process alone gets no Ctrl-C there")
def test_bench_stopped_by_the_keyboard(tmp_path):
    code = (
        "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from rimread.cli import app; app()"
    )
    words = ["bench", "--no-show", "--port", "0", "--data", str(tmp_path / "b")]
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words], stderr=subprocess.PIPE, text=True
    )
    with process:
        url = process.stderr.readline().split(" at ")[1].split()[0]
        with urllib.request.urlopen(url, timeout=30):  # noqa: S310  (loopback)
            process.send_signal(signal.SIGINT)
        told = process.stderr.read()
    assert process.returncode == 0
    assert told == "rimread: the bench has stopped\n"


def test_bench_without_its_extra_says_how_to_get_it(tmp_path):
    code = (
        "import sys; sys.modules['starlette'] = None; sys.modules['uvicorn'] = None\n"
        "from rimread.cli import app; app()"
    )
    words = ["bench", "--no-show", "--data", str(tmp_path)]
    program = [sys.executable, "-c", code, *words]
    done = subprocess.run(program, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "rimread[bench]" in done.stderr
    assert "Traceback" not in done.stderr
