"""The scale file: what is written is read back, and nothing doubtful is taken."""

from __future__ import annotations

import hashlib
import math
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimread.scale import Certificate, Scale, ScalePhoto, read_scale, write_scale

ROOT = Path(__file__).parents[2]

GOOD = Scale(
    px_per_mm_x=118.2,
    px_per_mm_y=118.1,
    k1_half_diagonal=-0.0024,
    covariance=((1e-4, 9e-5, 1e-8), (9e-5, 1.1e-4, 2e-8), (1e-8, 2e-8, 1e-8)),
    dof=41.5,
    width_px=1024,
    height_px=768,
    label='bench "two"\\ λ \t',
    calibrated_on=date(2026, 3, 1),
    valid_until=date(2027, 3, 1),
    certificate=Certificate(nominal_mm=10.0, certified_mm=9.9987, U_mm=0.001),
    photos=(ScalePhoto("Maßstab 1.jpg", "ab" * 32, 12.5, 71, 0.011),),
    notes=("line scatter: little", "certificate: some"),
)


def test_round_trip(tmp_path):
    path = tmp_path / "scope.toml"
    digest = write_scale(GOOD, path)
    back = read_scale(path)
    assert back.sha256 == digest == hashlib.sha256(path.read_bytes()).hexdigest()
    for name in Scale.__dataclass_fields__:
        if name != "sha256":
            assert getattr(back, name) == getattr(GOOD, name), name


def test_same_scale_same_bytes(tmp_path):
    assert write_scale(GOOD, tmp_path / "a") == write_scale(GOOD, tmp_path / "b")
    assert b"\r" not in (tmp_path / "a").read_bytes()  # one hash on every system


@settings(max_examples=60)
@given(label=st.text(st.characters(exclude_categories=["Cs"]), max_size=30))
def test_any_label_survives(label, tmp_path_factory):
    path = tmp_path_factory.mktemp("labels") / "scope.toml"
    write_scale(
        Scale(**{n: getattr(GOOD, n) for n in Scale.__dataclass_fields__} | {"label": label}), path
    )
    assert read_scale(path).label == label


def test_no_certificate_is_none(tmp_path):
    path = tmp_path / "scope.toml"
    write_scale(
        Scale(**{n: getattr(GOOD, n) for n in Scale.__dataclass_fields__} | {"certificate": None}),
        path,
    )
    assert read_scale(path).certificate is None


def test_no_photos_are_none(tmp_path):
    path = tmp_path / "scope.toml"
    for certificate in (GOOD.certificate, None):
        write_scale(replace(GOOD, photos=(), certificate=certificate), path)
        back = read_scale(path)
        assert replace(back, sha256="") == replace(GOOD, photos=(), certificate=certificate)


@pytest.mark.parametrize(
    "changes",
    [
        {"dof": math.inf},
        {"dof": 1.0},
        {"k1_half_diagonal": 0.1},
        {"k1_half_diagonal": -0.1},
        {"valid_until": GOOD.calibrated_on},
        {"px_per_mm_x": 100.0, "px_per_mm_y": 199.0},
        {"px_per_mm_x": 199.0, "px_per_mm_y": 100.0},
        {"px_per_mm_x": 0.1, "px_per_mm_y": 0.1, "covariance": tuple(np.eye(3) * 1e-6)},
        {"px_per_mm_x": 9e4, "px_per_mm_y": 9e4},
        {"photos": (replace(GOOD.photos[0], angle_deg=-44.5), replace(GOOD.photos[0], name="2"))},
        {"notes": ()},
    ],
    ids=str,
)
def test_what_a_scale_may_be_comes_back(changes, tmp_path):
    path = tmp_path / "scope.toml"
    told = replace(GOOD, **changes)
    write_scale(told, path)
    back = replace(read_scale(path), sha256="")
    assert np.array_equal(back.covariance, told.covariance)
    assert replace(back, covariance=told.covariance) == told


def test_people_read_the_standard_uncertainty_beside_each_px_per_mm(tmp_path):
    path = tmp_path / "scope.toml"
    write_scale(GOOD, path)
    lines = path.read_text(encoding="utf-8").splitlines()
    for k, name in enumerate(("px_per_mm_x", "px_per_mm_y")):
        (line,) = (line for line in lines if line.startswith(f"{name} ="))
        assert line.endswith(f" {math.sqrt(GOOD.covariance[k][k]):.3g}")


@pytest.mark.parametrize("name", ["hall", "bench", "fine"])
def test_shipped_files_are_read(name):
    scale = read_scale(ROOT / "calibration" / f"{name}-scope.toml")
    assert scale.certificate is not None
    assert scale.px_per_mm_x > 0


BROKEN = [
    (r"px_per_mm_x = [\d.]+", "px_per_mm_x = nan", "scale.px_per_mm_x must lie in"),
    (r"px_per_mm_x = [\d.]+", "px_per_mm_x = inf", "scale.px_per_mm_x must lie in"),
    (r"px_per_mm_x = [\d.]+", "px_per_mm_x = -118.2", "scale.px_per_mm_x must lie in"),
    (r"px_per_mm_x = [\d.]+", "px_per_mm_x = true", "scale.px_per_mm_x must be a number"),
    (r"px_per_mm_x = [\d.]+", 'px_per_mm_x = "118"', "scale.px_per_mm_x must be a number"),
    (r"px_per_mm_x = [\d.]+", "", "scale.px_per_mm_x is missing"),
    (r"px_per_mm_y = [\d.]+", "px_per_mm_y = 11.8", "factor of 2"),
    (r"px_per_mm_x = [\d.]+", "px_per_mm_x = 11.8", "factor of 2"),
    (r"\[9e-05, 0\.00011, 2e-08\]", "[9e-05, 600.0, 2e-08]", "under 20 %"),
    (r"2e-08, 1e-08\]", "2e-08, 0.05]", "of k1: under 0.2"),
    (r"k1_half_diagonal = \S+", "k1_half_diagonal = 0.9", "scale.k1_half_diagonal must lie in"),
    (r"dof = \S+", "dof = 0.0", "scale.dof must lie in"),
    (r"dof = \S+", "dof = nan", "scale.dof must lie in"),
    (r"\[0.0001, 9e-05, 1e-08\]", "[nan, 9e-05, 1e-08]", "3 rows of 3 finite numbers"),
    (r"\[0.0001, 9e-05, 1e-08\]", "[0.0001, 9e-05]", "3 rows of 3 finite numbers"),
    (r"\[0.0001, 9e-05, 1e-08\]", "[0.0001, 8e-05, 1e-08]", "symmetric"),
    (r"\[0.0001, 9e-05, 1e-08\]", "[0.0, 9e-05, 1e-08]", "variances above zero"),
    (r"\[0.0001, 9e-05, 1e-08\]", "[5000.0, 9e-05, 1e-08]", "under 20 %"),
    (r"9e-05", "9e-04", "correlation exceeds 1"),
    (r"width_px = 1024", "width_px = 0", "picture.width_px must lie in"),
    (r"width_px = 1024", "width_px = 1024.5", "picture.width_px must be a whole number"),
    (r"\[picture\]\n", "[image]\n", "picture is missing"),
    (r"valid_until = \S+", "valid_until = 2025-01-01", "must not lie before"),
    (r"valid_until = \S+", 'valid_until = "2027-01-01"', "valid_until must be a date"),
    (r"valid_until = \S+", "valid_until = 2027-03-01T00:00:00", "without a time"),
    (r"valid_until = \S+", "valid_until = 2027-13-01", "not a scale file"),
    (r"U_mm = \S+", "U_mm = 0.0", "U of the certified length"),
    (r"U_mm = \S+", "", "certificate.U_mm is missing"),
    (r"\nk = \S+", "\nk = nan", "certificate.k must lie in"),
    (r'sha256 = "\w+"', 'sha256 = "xyz"', "64 lower-case hexadecimal digits"),
    (r'sha256 = "\w+"', f'sha256 = "{"ab" * 31}"', "64 lower-case hexadecimal digits"),
    (r'sha256 = "\w+"', f'sha256 = "{"AB" * 32}"', "64 lower-case hexadecimal digits"),
    (r"lines_used = \d+", "lines_used = -1", "lines_used must lie in"),
    (r"lines_used = \d+", "lines_used = 0", "lines_used must lie in"),
    (r"residual_rms_px = \S+", "residual_rms_px = -0.011", "residual_rms_px must lie in"),
    (r"height_px = \d+", "height_px = 0", "picture.height_px must lie in"),
    (r"\[\[photos\]\][^[]*$", "", "photos is missing"),
    (r"\[\[photos\]\]", "[[other]]", "photos is missing"),
    (r"\[\[photos\]\][^[]*$|(?=label = )", "photos = [1]\n", "photos must be a list of tables"),
    (r"version = 1", "version = 2", "version must lie in 1 to 1"),
    (r"format = .*", "", "not a scale file"),
    (r"format = .*", 'format = "other"', "not a scale file"),
    (r"notes = \[[^\]]*\]", "notes = [1, 2]", "list of texts"),
]


@pytest.mark.parametrize(("old", "new", "rule"), BROKEN)
def test_strict(old, new, rule, tmp_path):
    path = tmp_path / "broken.toml"
    write_scale(GOOD, path)
    text, count = re.subn(old, lambda _: new, path.read_text(encoding="utf-8"))
    assert count
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=r"broken\.toml") as caught:
        read_scale(path)
    assert rule in str(caught.value)


@pytest.mark.parametrize(
    "data", [b"", b"\xff\xfe\x00", b"\x89PNG\r\n\x1a\n", b"a = " + b"[" * 5000, b"#" * 1_000_001]
)
def test_other_files(data, tmp_path):
    path = tmp_path / "other.bin"
    path.write_bytes(data)
    with pytest.raises(ValueError, match=r"other\.bin: .*(not a scale file|format must be)"):
        read_scale(path)


def test_missing_file(tmp_path):
    with pytest.raises(FileNotFoundError):
        read_scale(tmp_path / "none.toml")
