"""Pictures of a report: only of the very photo that was measured."""

from __future__ import annotations

import errno
import json
import shutil
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from rimread.hardness import parse_test
from rimread.photo import read_photo
from rimread.reading import Reading, measure_photo, reading_json
from rimread.refusal import Refusal
from rimread.report.blocks import Picture
from rimread.report.pictures import pictures_from_files, pictures_from_photos
from rimread.report.results import ByHand, Result, result_from
from rimread.scale import read_scale
from rimread.scale.model import Scale

ROOT = Path(__file__).parents[2]
PHOTO = ROOT / "sample_images" / "bench-axle-1.jpg"
TEST = parse_test("10/3000")


@pytest.fixture(scope="module")
def scale() -> Scale:
    return read_scale(ROOT / "calibration" / "bench-scope.toml")


@pytest.fixture(scope="module")
def measured(scale) -> Result:
    photo = read_photo(PHOTO)
    reading = measure_photo(photo, scale, TEST)
    assert isinstance(reading, Reading)
    told = json.loads(json.dumps(reading_json("gone/" + PHOTO.name, photo.sha256, reading)))
    return result_from(told, "here")


def shown(picture: Picture | Refusal) -> np.ndarray:
    assert isinstance(picture, Picture)
    pixels = cv2.imdecode(np.frombuffer(picture.jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert pixels.shape[:2] == (picture.height_px, picture.width_px)
    return pixels


def test_the_rim_is_drawn_anew(measured, scale):
    (picture,) = pictures_from_photos([measured], [scale], PHOTO.parent)
    pixels = shown(picture).astype(int)
    assert pixels.shape[0] == pytest.approx(0.75 * pixels.shape[1], abs=2)
    # The photo is grey, rim and points are not: what has a colour goes once around the middle.
    y, x = np.nonzero(np.ptp(pixels, axis=2) > 40)
    turn = np.degrees(np.arctan2(y - pixels.shape[0] / 2, x - pixels.shape[1] / 2))
    seen = np.histogram(turn, bins=24, range=(-180, 180))[0]
    assert (seen >= 10).all()
    radius = np.hypot(y - pixels.shape[0] / 2, x - pixels.shape[1] / 2)
    assert np.median(radius) == pytest.approx(pixels.shape[0] / 1.4 / 2, rel=0.05)
    assert isinstance(picture, Picture)
    assert picture.caption.startswith("1: bench-axle-1.jpg, mean d ")
    assert "drawn by" not in picture.caption  # the same program, the same mean


def test_a_photo_where_it_lay_is_found(measured, scale):
    (picture,) = pictures_from_photos([replace(measured, photo=str(PHOTO))], [scale], None)
    assert isinstance(picture, Picture)


def test_another_photo_of_that_name_is_not_taken(measured, scale, tmp_path):
    shutil.copyfile(PHOTO.with_name("bench-axle-2.jpg"), tmp_path / PHOTO.name)
    (picture,) = pictures_from_photos([measured], [scale], tmp_path)
    assert isinstance(picture, Refusal)
    assert picture.code == "no-photo"


@pytest.mark.parametrize("name", ["x\0y", "a" * 5000, "", "..", "con:"])
def test_names_that_no_file_has(measured, scale, tmp_path, name):
    (picture,) = pictures_from_photos([replace(measured, photo=name)], [scale], tmp_path)
    assert isinstance(picture, Refusal)


def test_without_the_scale_nothing_is_drawn(measured, scale):
    for scales in ([], [replace(scale, sha256="6" * 64)]):
        (picture,) = pictures_from_photos([measured], scales, PHOTO.parent)
        assert isinstance(picture, Refusal)
        assert picture.code == "no-scale"
        assert "--scale" in picture.message


def test_another_mean_is_not_drawn(measured, scale):
    indent = measured.indent
    other = replace(measured, indent=replace(indent, d1_mm=indent.d1_mm + 2 * indent.budget.U))
    (picture,) = pictures_from_photos([other], [scale], PHOTO.parent)
    assert isinstance(picture, Refusal)
    assert picture.code == "other-mean"
    near = replace(measured, indent=replace(indent, d1_mm=indent.d1_mm + 0.1 * indent.budget.U))
    (picture,) = pictures_from_photos([near], [scale], PHOTO.parent)
    assert isinstance(picture, Picture)
    assert "drawn by rimread" in picture.caption


def test_a_rim_set_by_hand_is_not_drawn_as_the_programs(measured, scale):
    other = replace(measured, by_hand=ByHand("dragged", "", None, None))
    (picture,) = pictures_from_photos([other], [scale], PHOTO.parent)
    assert isinstance(picture, Refusal)
    assert picture.code == "by-hand"


def test_given_pictures_are_said_to_be_unproved(measured, tmp_path):
    cv2.imwrite(str(tmp_path / "bench-axle-1-rim.jpg"), np.full((300, 3000, 3), 90, np.uint8))
    (picture,) = pictures_from_files([measured], tmp_path)
    assert shown(picture).shape == (110, 1100, 3)
    assert isinstance(picture, Picture)
    assert "not proved to be of this photo" in picture.caption
    (tmp_path / "bench-axle-1-rim.jpg").write_bytes(b"no picture")
    (picture,) = pictures_from_files([measured], tmp_path)
    assert isinstance(picture, Refusal)
    (tmp_path / "bench-axle-1-rim.jpg").unlink()
    (picture,) = pictures_from_files([measured], tmp_path)
    assert isinstance(picture, Refusal)


@pytest.mark.parametrize("step", ["stat", "read_bytes"])
def test_a_locked_folder_of_pictures_is_told_and_stops_no_report(
    measured, tmp_path, monkeypatch, step
):
    cv2.imwrite(str(tmp_path / "bench-axle-1-rim.jpg"), np.full((300, 300, 3), 90, np.uint8))

    def locked(path, **_how):
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    monkeypatch.setattr(Path, step, locked)  # as for anybody but the superuser
    monkeypatch.setattr(Path, "is_file", lambda path: path.stat().st_size > 0)  # as in Python 3.11
    (picture,) = pictures_from_files([measured], tmp_path)
    assert picture == Refusal(
        "no-picture", "bench-axle-1-rim.jpg cannot be read (Permission denied)"
    )


def test_given_pictures_of_two_photos_of_one_name_are_not_told_apart(measured, tmp_path):
    cv2.imwrite(str(tmp_path / "bench-axle-1-rim.jpg"), np.full((300, 300, 3), 90, np.uint8))
    other = replace(measured, photo="other/bench-axle-1.jpg", sha256="5" * 64)
    for picture in pictures_from_files([measured, other], tmp_path):
        assert isinstance(picture, Refusal)
        assert picture.code == "no-picture"
    again = replace(measured, number=2)  # two indents of one photo are on one picture
    assert all(isinstance(p, Picture) for p in pictures_from_files([measured, again], tmp_path))


def test_the_tone_that_was_stated_is_used_again(scale):
    photo = read_photo(PHOTO, tone="linear")
    reading = measure_photo(photo, scale, parse_test("5/750"))
    linear = result_from(reading_json(PHOTO.name, photo.sha256, reading), "line 1")
    (picture,) = pictures_from_photos([linear], [scale], PHOTO.parent)
    assert isinstance(picture, Picture)
    assert "drawn by" not in picture.caption
