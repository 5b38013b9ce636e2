"""The verb as a person or a program meets it: streams, exit codes, bad input."""

import csv
import json
import os
import re
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from rimread.cli import app

ROOT = Path(__file__).parents[2]
SAMPLES, CALIBRATION = ROOT / "sample_images", ROOT / "calibration"
GOOD = SAMPLES / "hall-plate-2.jpg"
SCALE = CALIBRATION / "hall-scope.toml"
ON = ("--on", "2026-12-01")

# the names of the --json contract; they do not change
CONTRACT = {
    *("photo", "sha256", "status", "d1_mm", "d2_mm", "mean_mm", "U_mean_mm", "k"),
    *("width_mm", "height_mm", "centre_x_px", "centre_y_px", "angle_deg", "coverage"),
    *("hbw", "U_hbw", "designation", "checks", "reasons"),
}


def truth() -> list[dict[str, str]]:
    with (SAMPLES / "truth.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def run(*words: object):
    return CliRunner().invoke(app, ["measure", *map(str, words)], catch_exceptions=False)


def measure(*photos: object, scale: Path = SCALE, test: str = "10/3000", options=()):
    return run(*photos, "--scale", scale, "--test", test, *ON, *options)


def records(done) -> list[dict]:
    return [json.loads(line) for line in done.stdout.splitlines()]


# -- the job ------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", truth(), ids=lambda row: row["photo"])
def test_sample_images_against_their_truth(row):
    done = measure(
        SAMPLES / row["photo"], scale=ROOT / row["scale"], test=row["test"], options=["--json"]
    )
    (record,) = records(done)
    assert set(record) >= CONTRACT
    assert record["status"] == row["expect"]
    if row["expect"] == "refused":
        assert done.exit_code == 1
        assert record["hbw"] is None
        assert record["mean_mm"] is None
        assert len(record["reasons"][0]["message"]) > 20
        return
    assert done.exit_code == 0
    true_mm = (float(row["d1_mm"]) + float(row["d2_mm"])) / 2
    # an error beyond U and beyond half a percent of d must never leave as a number
    assert abs(record["mean_mm"] - true_mm) <= max(record["U_mean_mm"], 0.005 * true_mm)
    assert record["U_mean_mm"] < 0.01 * true_mm
    for key in ("width_mm", "height_mm"):
        assert abs(record[key] - float(row[key])) < 0.01 * true_mm
    for key in ("centre_x_px", "centre_y_px"):
        assert abs(record[key] - float(row[key])) < 5.0
    assert record["designation"].endswith(f"HBW {row['test']}")


def test_table_for_people():
    done = measure(GOOD, SAMPLES / "hall-double.jpg")
    assert done.exit_code == 1
    head, good, *rest = done.stdout.splitlines()
    assert head.split() == [
        "photo",
        "d1",
        "mm",
        "d2",
        "mm",
        "mean",
        "mm",
        "±",
        "U",
        "hardness",
        "±",
        "U",
    ]
    assert "HBW 10/3000 ±" in good
    assert any("refused (" in line for line in rest)
    assert "qualified person" in done.stdout
    assert done.stderr == ""


def test_budget_adds_up():
    lines = measure(GOOD, options=["--budget"]).stdout.splitlines()
    first = next(i for i, line in enumerate(lines) if "contribution" in line) + 1
    last = next(i for i, line in enumerate(lines) if "combined u" in line)
    shares = [int(re.search(r"(\d+)%", line)[1]) for line in lines[first:last]]
    assert len(shares) >= 2
    assert sum(shares) == pytest.approx(100, abs=len(shares))


def test_overlay_for_measured_and_refused(tmp_path):
    done = measure(GOOD, SAMPLES / "hall-double.jpg", options=["--overlay", tmp_path / "seen"])
    assert done.exit_code == 1
    assert {p.name for p in (tmp_path / "seen").iterdir()} == {
        "hall-plate-2-rim.jpg",
        "hall-double-rim.jpg",
    }


def test_same_name_from_two_folders_gives_two_overlays(tmp_path):
    for folder in ("x", "y"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "a.jpg").write_bytes(GOOD.read_bytes())
    done = measure(
        tmp_path / "x/a.jpg", tmp_path / "y/a.jpg", options=["--overlay", tmp_path, "--json"]
    )
    assert done.exit_code == 0
    assert [r["photo"] for r in records(done)] == [
        str(tmp_path / "x/a.jpg"),
        str(tmp_path / "y/a.jpg"),
    ]
    assert {p.name for p in tmp_path.glob("*.jpg")} == {"a-rim.jpg", "a-rim-2.jpg"}


def test_same_input_gives_the_same_digits():
    assert measure(GOOD, options=["--json"]).stdout == measure(GOOD, options=["--json"]).stdout


def test_patterns_are_expanded_and_names_with_brackets_are_not(tmp_path):
    for name in ("a1.jpg", "a2.jpg", "b[1].jpg", "b1.jpg"):
        (tmp_path / name).write_bytes(GOOD.read_bytes())
    done = measure(tmp_path / "a*.jpg", tmp_path / "b[1].jpg", options=["--json"])
    assert [Path(r["photo"]).name for r in records(done)] == ["a1.jpg", "a2.jpg", "b[1].jpg"]


def test_scale_out_of_date_fails():
    done = run(GOOD, "--scale", SCALE, "--test", "10/3000", "--on", "2999-01-01")
    assert done.exit_code == 1
    assert "fail: the scale counts" in done.stdout


# -- bad input ----------------------------------------------------------------------------------


def huge(path: Path) -> None:
    """A PNG that says it has 200 million pixels."""
    Image.new("L", (64, 64)).save(path)
    data = bytearray(path.read_bytes())
    data[16:24] = struct.pack(">II", 20_000, 10_000)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    path.write_bytes(bytes(data))


def animated(path: Path) -> None:
    frames = [Image.new("L", (80, 80), shade) for shade in (0, 99, 200)]
    frames[0].save(path, format="GIF", save_all=True, append_images=frames[1:])


UNREADABLE = {
    "truncated": (lambda p: p.write_bytes(GOOD.read_bytes()[:-9000]), "cut short"),
    "empty": (lambda p: p.touch(), "empty"),
    "text": (lambda p: p.write_text("no picture", encoding="utf-8"), "not a picture"),
    "animated": (animated, "3 pictures"),
    "one-pixel": (lambda p: Image.new("L", (1, 1)).save(p, "PNG"), "1 × 1 pixels"),
    "huge": (huge, "100 million"),
    "folder": (lambda p: p.mkdir(), "a folder"),
    "missing": (lambda _: None, "no such file"),
}


@pytest.mark.parametrize("kind", UNREADABLE)
@pytest.mark.parametrize("as_json", [True, False])
def test_unreadable_photo_is_said_and_the_others_are_measured(tmp_path, kind, as_json):
    make, rule = UNREADABLE[kind]
    bad = tmp_path / f"{kind}.png"
    make(bad)
    done = measure(bad, GOOD, options=["--json"] if as_json else [])
    assert done.exit_code == 2
    (sentence,) = done.stderr.splitlines()
    assert str(bad) in sentence
    assert rule in sentence
    if as_json:
        first, second = records(done)
        assert (first["status"], first["hbw"], first["sha256"]) == ("refused", None, None)
        assert first["reasons"][0]["code"] == "unreadable"
        assert second["status"] == "measured"
    else:
        assert "unreadable" in done.stdout
        assert "HBW 10/3000 ±" in done.stdout


def deep(picture: Image.Image) -> Image.Image:
    return Image.fromarray(np.asarray(picture.convert("L")).astype(np.uint16) * 257)


UNUSUAL = {
    "16-bit.png": lambda im, p: deep(im).save(p),
    "16-bit.tif": lambda im, p: deep(im).save(p),
    "palette.png": lambda im, p: im.convert("L").convert("P").save(p),
    "alpha.png": lambda im, p: im.convert("RGBA").save(p),
    "cmyk.tif": lambda im, p: im.convert("CMYK").save(p),
    "plain.bmp": lambda im, p: im.save(p),
}


@pytest.mark.parametrize("name", UNUSUAL)
def test_unusual_files_give_the_same_diameter(tmp_path, name):
    with Image.open(GOOD) as picture:
        UNUSUAL[name](picture.convert("RGB"), tmp_path / name)
    done = measure(GOOD, tmp_path / name, options=["--json"])
    assert done.exit_code == 0
    plain, other = records(done)
    # luma is rounded anew and 8 bits are sampled more coarsely than 16: far below U all the same
    assert other["mean_mm"] == pytest.approx(plain["mean_mm"], abs=plain["U_mean_mm"] / 4)


def test_orientation_tag_changes_nothing(tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 6
    block = exif.tobytes()
    data = GOOD.read_bytes()
    turned = tmp_path / "turned.jpg"
    turned.write_bytes(
        data[:2] + b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block + data[2:]
    )
    with Image.open(turned) as picture:
        assert picture.getexif()[0x0112] == 6
    plain, other = records(measure(GOOD, turned, options=["--json"]))
    assert {k: v for k, v in other.items() if k not in {"photo", "sha256"}} == {
        k: v for k, v in plain.items() if k not in {"photo", "sha256"}
    }


def test_photo_of_another_size_is_refused():
    done = measure(SAMPLES / "bench-axle-1.jpg", options=["--json"])
    assert done.exit_code == 1
    (record,) = records(done)
    assert record["reasons"][0]["code"] == "photo-size"
    assert record["mean_mm"] is None


@pytest.mark.parametrize(
    "test",
    ["-10/3000", "10/-3000", "0/3000", "10/nan", "10/1e9", "10", "10/3000/0", "1000/3000", ""],
)
def test_absurd_test_conditions(test):
    done = run(GOOD, "--scale", SCALE, f"--test={test}")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "ball mm / force kgf" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("value", ["nan", "inf", "-1.0", "0.0", '"118"', "true"])
def test_scale_file_with_a_value_that_is_no_scale(tmp_path, value):
    text = SCALE.read_text(encoding="utf-8")
    lines = [
        f"px_per_mm_x = {value}" if line.startswith("px_per_mm_x") else line
        for line in text.splitlines()
    ]
    spoiled = tmp_path / "spoiled.toml"
    spoiled.write_text("\n".join(lines), encoding="utf-8")
    done = measure(GOOD, scale=spoiled, options=["--json"])
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "spoiled.toml" in done.stderr
    assert "px_per_mm_x" in done.stderr


@pytest.mark.parametrize("content", [None, b"", b"\xff\xfe", b"[", GOOD.read_bytes()[:500]])
def test_no_scale_file(tmp_path, content):
    path = tmp_path / "scale.toml"
    if content is not None:
        path.write_bytes(content)
    done = measure(GOOD, scale=path)
    assert done.exit_code == 2
    assert "scale.toml" in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize(
    "options",
    [["--tone", "bright"], ["--on", "yesterday"], ["--rules", "din"], ["--nonsense"]],
)
def test_wrong_options(options):
    assert measure(GOOD, options=options).exit_code == 2


def test_no_traceback_and_no_number_from_a_real_process(tmp_path):
    (tmp_path / "a.jpg").write_text("no picture", encoding="utf-8")
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "from rimread.cli import app; app()",
            "measure",
            "a.jpg",
            "--scale",
            str(SCALE),
            "--test",
            "10/3000",
            "--json",
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
    )
    assert done.returncode == 2
    assert done.stderr.startswith("rimread: a.jpg: not a picture")
    assert len(done.stderr.splitlines()) == 1
    assert json.loads(done.stdout)["status"] == "refused"


def test_a_closed_pipe_is_no_error():
    code = (
        "import sys; sys.argv = ['rimread', 'measure', *['missing.jpg'] * 3000, '--scale', "
        f"{str(SCALE)!r}, '--test', '10/3000', '--json']; from rimread.cli import app; app()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        process.stdout.readline()
        process.stdout.close()
        errors = process.stderr.read()
    assert "Traceback" not in errors
    assert "BrokenPipe" not in errors
