"""The verb that simulates a lab's own conditions, as a person or a program meets it."""

import errno
import json
import os
from dataclasses import replace
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from rimread.cli import app
from rimread.scale import ScalePhoto, read_scale, write_scale
from rimread.simulate import Camera, Indent, Scene, simulate
from rimread.simulate.relief import scale_of

SMALL = Camera(width_px=400, height_px=320, px_per_mm=70.0)


@pytest.fixture(scope="module")
def lab(tmp_path_factory) -> Path:
    """Folder with a scale file and a photo that is simulated too."""
    folder = tmp_path_factory.mktemp("lab")
    scene = Scene(indents=(Indent(d1_mm=3.0, d2_mm=2.99),), camera=SMALL)
    shot = simulate(scene, rng=np.random.default_rng(1))
    cv2.imwrite(str(folder / "indent.png"), shot.picture)
    blank = simulate(Scene(camera=SMALL), rng=np.random.default_rng(1))
    cv2.imwrite(str(folder / "blank.png"), blank.picture)
    scale = replace(
        scale_of(SMALL),
        covariance=((4e-4, 3e-4, 0.0), (3e-4, 4e-4, 0.0), (0.0, 0.0, 1e-8)),
        dof=40.0,
        photos=(ScalePhoto("stage.png", "ab" * 32, 0.0, 11, 0.05),),
    )
    write_scale(scale, folder / "scope.toml")
    return folder


def call(lab: Path, *words: object):
    fixed = ("--scale", lab / "scope.toml", "--test", "10/3000", "--jobs", "1")
    return CliRunner().invoke(
        app, ["validate", *map(str, (*fixed, *words))], catch_exceptions=False
    )


def test_table_plot_and_words(lab, tmp_path):
    plot = tmp_path / "v.png"
    words = ("--diameter", "2.6:3.4", "--count", 6, "--cells", 2, "--conditions", "clean")
    done = call(lab, *words, "--like", lab / "indent.png", "--plot", plot)
    lines = done.stdout.splitlines()
    assert done.exit_code in {0, 1}
    assert any(line.startswith(" 2.600- 3.000") for line in lines)
    assert any(line.endswith("all") and line.startswith(" 2.600- 3.400") for line in lines)
    assert "like the photo: noise" in done.stdout
    assert "simulated" in done.stdout
    assert "qualified person" in done.stdout
    assert "6 of 6 photos" in done.stderr
    assert lines[-1] == f"plot: {plot}"
    assert plot.read_bytes().startswith(b"\x89PNG")


def test_a_plot_that_fails_after_all_is_not_told_as_written(lab, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    plot = tmp_path / "v.png"
    monkeypatch.setattr("os.fsync", full)
    done = call(lab, "--count", 1, "--cells", 1, "--conditions", "clean", "--plot", plot)
    assert done.exit_code == 2
    assert "U holds" in done.stdout
    assert str(plot) not in done.stdout
    assert f"rimread: {plot}: No space left" in done.stderr


def test_json_says_all_of_it_and_only_json(lab):
    words = ("--hardness", "321-534", "--count", 3, "--light", "ring", "--finish", "ground")
    done = call(lab, *words, "--json")
    record = json.loads(done.stdout)
    assert record["status"] == ("passed" if done.exit_code == 0 else "failed")
    assert record["conditions"]["lights"] == ["ring"]
    assert {trial["light"] for trial in record["trials"]} == {"ring"}
    assert {trial["finish"] for trial in record["trials"]} == {"ground"}
    # published for 10/3000: 2.65 mm is 534 HBW, 3.40 mm is 321 HBW (Chicago Tube & Iron chart)
    assert record["conditions"]["low_mm"] == pytest.approx(2.65, abs=2e-3)
    assert record["conditions"]["high_mm"] == pytest.approx(3.40, abs=3e-3)
    assert record["whole"]["low_hbw"] == pytest.approx(321)
    assert record["whole"]["photos"] == 3
    assert {check["code"] for check in record["checks"]} >= {"coverage", "error", "refusals"}
    assert json.loads(call(lab, *words, "--json").stdout) == record


def test_a_limit_that_cannot_be_kept_is_exit_1(lab):
    words = ("--diameter", "2.6:3.4", "--count", 4, "--conditions", "clean")
    record = call(lab, *words, "--most-error", 0.0001, "--json")
    assert record.exit_code == 1
    outcomes = {c["code"]: c["outcome"] for c in json.loads(record.stdout)["checks"]}
    assert outcomes["error"] == "fail"


def test_photos_that_did_not_come_out_are_shown(lab, tmp_path):
    words = ("--diameter", "2.6:3.4", "--count", 8, "--conditions", "hard", "--seed", 3)
    folder = tmp_path / "seen"
    record = json.loads(call(lab, *words, "--show", folder, "--json").stdout)
    odd = {
        trial["index"]: trial["code"]
        for trial in record["trials"]
        if trial["code"] != "measured" or abs(trial["mean_mm"] - trial["true_mm"]) > trial["U_mm"]
    }
    assert odd, "choose another seed"
    names = {
        f"simulated-{index}-{'beyond-U' if code == 'measured' else code}.png"
        for index, code in odd.items()
    }
    assert {path.name for path in folder.iterdir()} == names
    picture = cv2.imread(str(folder / min(names)), cv2.IMREAD_UNCHANGED)
    assert picture.shape == (320, 400)


def test_a_photo_without_an_indent_still_gives_its_noise(lab):
    words = ("--diameter", "2.6:3.4", "--count", 1, "--like", lab / "blank.png", "--json")
    done = call(lab, *words)
    like = json.loads(done.stdout)["conditions"]["like"]
    assert like["blur_px"] is None
    assert like["noise"]["full_well_e"] > 0
    assert "no rim to tell blur and contrast from" in done.stderr


@pytest.mark.parametrize(
    ("words", "rule"),
    [
        (("--diameter", "3"), "LOW-HIGH, like 2.5-4.0"),
        (("--hardness", "250"), "LOW-HIGH, like 180-320"),
        (("--diameter", "4:3"), "LOW < HIGH"),
        (("--diameter", "2.5:30"), "fits into these photos"),
        (("--hardness", "10:20"), "must be above"),
        (("--hardness", "200:300", "--diameter", "3:4"), "not both"),
        (("--light", "lantern"), "light must be one of ring"),
        (("--finish", "rust"), "finish must be one of ground"),
        (("--most-error", "0"), "--most-error is a percentage above 0"),
        (("--most-error", "nan"), "--most-error"),
        (("--most-refused", "200"), "--most-refused is a percentage from 0 to 100"),
        (("--plot", "v.doc"), "ends in .png"),
        (("--plot", "nowhere/v.png"), "no such folder"),
        (("--like", "missing.jpg"), "no such file"),
        (("--count", "0"), "--count"),
    ],
)
def test_wrong_use_is_said_before_the_work(lab, words, rule):
    done = call(lab, *words)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert rule in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.slow
def test_sample_scope_over_some_dozens_of_photos():
    root = Path(__file__).parents[2]
    scope = root / "calibration" / "hall-scope.toml"
    assert read_scale(scope).valid_until > date(2026, 1, 1)
    done = CliRunner().invoke(
        app,
        [
            *("validate", "--scale", str(scope), "--test", "10/3000", "--json"),
            *("--like", str(root / "sample_images" / "hall-plate-2.jpg"), "--light", "ring"),
            *("--count", "60", "--conditions", "clean"),
        ],
    )
    record = json.loads(done.stdout)
    assert record["whole"]["coverage_high"] > 0.954
    assert record["whole"]["error_95_rel"] < 0.005
    assert record["whole"]["refused_share"] < 0.1


def test_a_photo_of_another_size_is_not_one_of_the_scope(lab, tmp_path):
    small = tmp_path / "small.png"
    cv2.imwrite(str(small), cv2.resize(cv2.imread(str(lab / "indent.png")), (200, 160)))
    done = call(lab, "--like", small, "--count", 1)
    assert done.exit_code == 2
    assert "200 × 160" in done.stderr
    assert "photos," not in done.stderr  # nothing was simulated


def test_what_cannot_be_written_is_told_before_the_work(lab, tmp_path):
    taken, plot = tmp_path / "taken", tmp_path / "plot.png"
    taken.touch()
    plot.mkdir()
    for words, says in ((("--show", taken), "--show"), (("--plot", plot), "plot.png: ")):
        done = call(lab, "--count", 1, *words)
        assert done.exit_code == 2
        assert says in done.stderr
        assert "1 of 1" not in done.stderr
        assert done.stdout == ""
