"""The verb as a person or a program meets it: streams, exit codes, bad input."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimread.cli import app
from rimread.scale import read_scale

ROOT = Path(__file__).parents[2]
CALIBRATION = ROOT / "calibration"
GOOD = CALIBRATION / "hall-horizontal.jpg"
ACROSS = CALIBRATION / "hall-vertical.jpg"
LOST = CALIBRATION / "hall-unresolved.jpg"
INDENT = ROOT / "sample_images" / "hall-plate-2.jpg"
CERTIFICATE = (
    *("--length-mm", "10", "--certified-mm", "9.9975024", "--certificate-u-mm", "0.0009998"),
)

# the names of the --json contract; they do not change
CONTRACT = {
    *("status", "px_per_mm_x", "px_per_mm_y", "u_px_per_mm", "angle_deg", "lines_used"),
    *("scale_file", "reasons"),
}


def calibrate(*words: object, out: Path, division: object = 0.1):
    told = ["calibrate", *words, "--division", division, "--on", "2026-11-02", "--out", out]
    return CliRunner().invoke(app, [str(word) for word in told], catch_exceptions=False)


def test_json_and_file(tmp_path):
    out = tmp_path / "hall.toml"
    done = calibrate(
        GOOD, ACROSS, *CERTIFICATE, "--label", "hall", "--valid-days", 30, "--json", out=out
    )
    assert done.exit_code == 0
    assert done.stderr == ""
    record = json.loads(done.stdout)
    assert set(record) >= CONTRACT
    assert record["status"] == "calibrated"
    assert record["reasons"] == []
    assert record["scale_file"] == str(out)
    scale = read_scale(out)
    assert record["px_per_mm_x"] == scale.px_per_mm_x == pytest.approx(118.2, rel=2e-4)
    assert record["px_per_mm_y"] == scale.px_per_mm_y == pytest.approx(118.2, rel=2e-4)
    assert record["lines_used"] == sum(p.lines_used for p in scale.photos)
    assert record["angle_deg"] == pytest.approx(1.9911, abs=0.02)
    # half of U = 0.0009998 mm on 9.9975 mm dominates
    assert record["u_px_per_mm"] == pytest.approx(118.2 * 0.0009998 / 2 / 9.9975, rel=0.05)
    assert (scale.label, str(scale.calibrated_on)) == ("hall", "2026-11-02")
    assert str(scale.valid_until) == "2026-12-02"


def test_table_for_people(tmp_path):
    done = calibrate(GOOD, out=tmp_path / "hall.toml")
    assert done.exit_code == 0
    assert "px/mm along x" in done.stdout
    assert "no certificate given" in done.stdout
    assert "field of view" in done.stdout
    assert str(tmp_path / "hall.toml") in done.stdout


def test_figures_are_told_with_the_digits_that_say_something(tmp_path):
    """Without a certificate the length is a guess and outweighs the scatter: endless freedom."""
    out = tmp_path / "hall.toml"
    shown = calibrate(GOOD, out=out).stdout
    k1, U = re.search(r"distortion k1 +(-?[\d.]+) ± ([\d.]+)", shown).groups()
    assert len(U.replace(".", "").lstrip("0")) == 2
    assert len(k1.partition(".")[2]) == len(U.partition(".")[2])
    record = json.loads(calibrate(GOOD, "--json", out=tmp_path / "again.toml").stdout)
    assert float(U) == pytest.approx(2.0 * record["u_k1_half_diagonal"], rel=0.05)
    assert record["dof"] is None
    assert "\ndof = inf\n" in out.read_text(encoding="utf-8")
    assert math.isinf(read_scale(out).dof)


def test_a_scale_that_readings_may_rest_on_is_not_replaced(tmp_path):
    out = tmp_path / "hall.toml"
    out.write_text("the old one", encoding="utf-8")
    done = calibrate(GOOD, out=out)
    assert done.exit_code == 2
    assert "is there already" in done.stderr
    assert out.read_text(encoding="utf-8") == "the old one"


def test_refusal_writes_nothing(tmp_path):
    out = tmp_path / "lost.toml"
    done = calibrate(LOST, *CERTIFICATE, "--json", out=out)
    assert done.exit_code == 1
    assert not out.exists()
    record = json.loads(done.stdout)
    assert set(record) >= CONTRACT
    assert record["status"] == "refused"
    assert record["px_per_mm_x"] is None
    assert record["scale_file"] is None
    (reason,) = record["reasons"]
    assert reason["code"] == "lines-unresolved"
    assert LOST.name in reason["message"]


def test_refusal_for_people(tmp_path):
    done = calibrate(INDENT, out=tmp_path / "none.toml")
    assert done.exit_code == 1
    assert "no-lines" in done.stdout


@pytest.mark.parametrize(
    ("photos", "options", "division", "word"),
    [
        (["none.jpg"], [], 0.1, "none.jpg"),
        (["."], [], 0.1, "folder"),
        ([GOOD, GOOD], [], 0.1, "given twice"),
        ([GOOD], [], 0, "division"),
        ([GOOD], [], -0.1, "division"),
        ([GOOD], [], "nan", "division"),
        ([GOOD], ["--length-mm", "10"], 0.1, "together"),
        ([GOOD], [*CERTIFICATE[:-1], "-1"], 0.1, "U of the certified length"),
        ([GOOD], [*CERTIFICATE[:-1], "nan"], 0.1, "U of the certified length"),
        ([GOOD], [*CERTIFICATE, "--certificate-k", "0"], 0.1, "coverage factor"),
        ([GOOD], ["--valid-days", "0"], 0.1, "valid"),
    ],
)
def test_misuse(photos, options, division, word, tmp_path):
    out = tmp_path / "out.toml"
    done = calibrate(*photos, *options, "--json", out=out, division=division)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert word in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not out.exists()


def test_unwritable_file(tmp_path):
    out = tmp_path / "none" / "out.toml"
    done = calibrate(tmp_path / "none.jpg", "--json", out=out)  # told before a photo is read
    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr == f"rimread: {out}: no such folder\n"


@pytest.mark.parametrize("data", [b"", b"not a picture", GOOD.read_bytes()[:5000]])
def test_broken_photo(data, tmp_path):
    path = tmp_path / "broken.jpg"
    path.write_bytes(data)
    done = calibrate(path, out=tmp_path / "out.toml")
    assert done.exit_code == 2
    assert "broken.jpg" in done.stderr


@pytest.mark.slow
def test_as_a_process(tmp_path):
    start = "from rimread.cli import app; app()"
    words = ["calibrate", GOOD, "--division", "0.1", "--json", "--out", tmp_path / "out.toml"]
    done = subprocess.run(
        [sys.executable, "-c", start, *words],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["status"] == "calibrated"


def test_a_photo_is_never_written_over(tmp_path):
    photo = tmp_path / "along.jpg"
    photo.write_bytes(GOOD.read_bytes())
    done = calibrate(photo, out=tmp_path / "." / "along.jpg")
    assert done.exit_code == 2
    assert "--out" in done.stderr
    assert photo.read_bytes() == GOOD.read_bytes()
    done = calibrate(GOOD, out=photo)  # another photo than the one that is read
    assert done.exit_code == 2
    assert "--out takes a file that ends in .toml" in done.stderr
    assert photo.read_bytes() == GOOD.read_bytes()


def test_a_year_that_cannot_be(tmp_path):
    out = tmp_path / "hall.toml"
    words = ["calibrate", GOOD, "--division", "0.1", "--on", "9999-12-31", "--out", out]
    done = CliRunner().invoke(app, [str(word) for word in words])
    assert done.exit_code == 2
    assert "9999" in done.stderr


def test_a_scale_file_saved_with_a_byte_order_mark(tmp_path):
    marked = tmp_path / "hall.toml"
    plain = CALIBRATION / "hall-scope.toml"
    marked.write_bytes(b"\xef\xbb\xbf" + plain.read_bytes())
    assert read_scale(marked).px_per_mm_x == read_scale(plain).px_per_mm_x
