"""The sample scales are what the program makes of the sample pictures, and true."""

import csv
import json
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimread.cli import app
from rimread.scale import read_scale

ROOT = Path(__file__).parents[1]
CALIBRATION = ROOT / "calibration"
SCOPES = ("hall", "bench", "fine")


def truth() -> dict[str, dict[str, str]]:
    with (CALIBRATION / "truth.csv").open(encoding="utf-8", newline="") as file:
        return {row["photo"]: row for row in csv.DictReader(file)}


@pytest.mark.parametrize("scope", SCOPES)
def test_scale_files_are_made_from_their_pictures(tmp_path, scope):
    certificate = tomllib.loads(
        (CALIBRATION / f"{scope}-micrometer.toml").read_text(encoding="utf-8")
    )
    words = [
        *("calibrate", CALIBRATION / f"{scope}-horizontal.jpg"),
        *(CALIBRATION / f"{scope}-vertical.jpg", "--division", certificate["division_mm"]),
        *("--length-mm", certificate["nominal_mm"], "--certified-mm", certificate["certified_mm"]),
        *("--certificate-u-mm", certificate["U_mm"], "--out", tmp_path / "new.toml", "--json"),
    ]
    done = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert json.loads(done.stdout)["status"] == "calibrated"
    new, kept = read_scale(tmp_path / "new.toml"), read_scale(CALIBRATION / f"{scope}-scope.toml")
    assert new.px_per_mm_x == pytest.approx(kept.px_per_mm_x, rel=1e-5)
    assert new.px_per_mm_y == pytest.approx(kept.px_per_mm_y, rel=1e-5)
    assert new.k1_half_diagonal == pytest.approx(kept.k1_half_diagonal, abs=3e-5)


@pytest.mark.parametrize("scope", SCOPES)
def test_scale_files_are_true(scope):
    scale, true = (
        read_scale(CALIBRATION / f"{scope}-scope.toml"),
        truth()[f"{scope}-horizontal.jpg"],
    )
    for value in (scale.px_per_mm_x, scale.px_per_mm_y):
        assert value == pytest.approx(float(true["px_per_mm"]), rel=2e-4)
    assert scale.k1_half_diagonal == pytest.approx(float(true["k1_half_diagonal"]), abs=3e-4)


def test_every_picture_has_its_row_and_every_row_its_picture():
    assert set(truth()) == {path.name for path in CALIBRATION.glob("*.jpg")}
    with (ROOT / "sample_images" / "truth.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["photo"] for row in rows} == {
        path.name for path in (ROOT / "sample_images").glob("*.jpg")
    }
    assert all((ROOT / row["scale"]).exists() for row in rows)


def test_samples_are_small_enough_to_clone():
    files = [p for folder in ("calibration", "sample_images") for p in (ROOT / folder).iterdir()]
    assert sum(path.stat().st_size for path in files) < 12_000_000
