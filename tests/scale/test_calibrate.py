"""From pictures drawn from formulas to a scale: truth, invariance, refusals."""

from __future__ import annotations

import csv
import math
import re
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from tests.scale.rulings import Ruling, photo_of

from rimread.photo import Photo, read_photo
from rimread.refusal import Refusal
from rimread.scale import Certificate, Scale, calibrate
from rimread.scale.calibrate import (
    U_NO_CERTIFICATE,
    _grey_step,
    _notes,
    _whole_covariance,
    lines_seen,
)
from rimread.scale.fit import Fit

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 1, 1)
SURE = Certificate(nominal_mm=10.0, certified_mm=10.0, U_mm=1e-7)


def scale_of(*photos: Photo, division_mm: float = 0.1, certificate: Certificate | None = SURE):
    return calibrate(photos, division_mm=division_mm, certificate=certificate, calibrated_on=TODAY)


def along(scale: Scale, angle_deg: float) -> tuple[float, float]:
    """Relative px/mm along a direction and its standard uncertainty."""
    turn = math.radians(angle_deg)
    g = np.array([math.cos(turn) ** 2 / scale.px_per_mm_x, math.sin(turn) ** 2 / scale.px_per_mm_y])
    return (
        float(g @ [scale.px_per_mm_x, scale.px_per_mm_y]),
        math.sqrt(float(g @ np.array(scale.covariance)[:2, :2] @ g)),
    )


# -- truth --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "ruling",
    [
        Ruling(),
        Ruling(angle_deg=1.3, k1=0.004),
        Ruling(angle_deg=90.0, k1=-0.004),
        Ruling(angle_deg=37.0),
        Ruling(angle_deg=-30.0, ground=0.6, ink=0.3),
        Ruling(angle_deg=120.0, ground=0.05, ink=0.8, noise=0.002),
        Ruling(px_per_mm_x=65.0, px_per_mm_y=65.0, thickness=2.0, blur=1.4, ground=0.6, ink=0.5),
        Ruling(angle_deg=2.0, offset=-60.0, short=50.0, slope=1.0),
        Ruling(angle_deg=45.0, quality=None, numerals=False, specks=0),
        Ruling(angle_deg=0.0, blur=0.5, thickness=2.0),
        Ruling(angle_deg=181.0),
        Ruling(specks=60),
    ],
    ids=lambda r: f"{r.angle_deg:g}-{r.px_per_mm_x:g}-{r.ground:g}",
)
def test_drawn_rulings(ruling):
    scale = scale_of(photo_of(ruling, np.random.default_rng(1)))
    assert isinstance(scale, Scale), scale
    _, u = along(scale, ruling.angle_deg)
    error = scale.px_per_mm_x / ruling.px_per_mm_x - 1
    assert abs(error) < 2e-4
    assert abs(error) < 3 * u
    assert abs(scale.k1_half_diagonal - ruling.k1) < 3 * math.sqrt(scale.covariance[2][2])
    turn = (scale.photos[0].angle_deg - ruling.angle_deg + 90) % 180 - 90
    assert abs(turn) < 0.05


def test_two_photos_give_both_directions():
    rng = np.random.default_rng(2)
    wide = Ruling(px_per_mm_x=120.0, px_per_mm_y=112.0, k1=0.002)
    across = wide.but(angle_deg=90.0, noise=3 * wide.noise)
    scale = scale_of(photo_of(wide, rng), photo_of(across, rng))
    assert isinstance(scale, Scale)
    assert scale.px_per_mm_x == pytest.approx(120.0, rel=1e-4)
    assert scale.px_per_mm_y == pytest.approx(112.0, rel=1e-4)
    assert len(scale.photos) == 2
    for photo, angle, px in zip(scale.photos, (0.0, 90.0), (640, 480), strict=True):
        assert photo.angle_deg == pytest.approx(angle, abs=0.05)
        assert photo.lines_used == pytest.approx(px / 12, abs=4)  # a pitch of 12 px or nearly
    still, grainy = (photo.residual_rms_px for photo in scale.photos)
    assert 0 < 1.5 * still < grainy


def test_a_scale_says_what_it_holds_for_and_until_when():
    photo = photo_of(Ruling(height=400), np.random.default_rng(3))
    scale = calibrate(
        [photo],
        division_mm=0.1,
        certificate=SURE,
        label="bench",
        calibrated_on=TODAY,
        valid_days=30,
    )
    assert (scale.width_px, scale.height_px, scale.label) == (640, 400, "bench")
    assert scale.valid_until == date(2026, 1, 31)
    assert (scale.photos[0].name, scale.photos[0].sha256) == (photo.name, photo.sha256)


def test_certificate_scales_the_division():
    photo = photo_of(Ruling(), np.random.default_rng(3))
    plain = scale_of(photo)
    longer = scale_of(photo, certificate=Certificate(10.0, 10.01, 0.002))
    assert longer.px_per_mm_x == pytest.approx(plain.px_per_mm_x / 1.001, rel=1e-9)
    # U = 0.002 of 10.01 at k = 2 enters both axes alike
    extra = np.array(longer.covariance) - np.array(plain.covariance) / 1.001**2
    expected = (longer.px_per_mm_x * 0.001 / 10.01) ** 2
    assert extra[0, 0] == pytest.approx(expected, rel=1e-3)
    assert extra[0, 1] == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(("certified_mm", "told"), [(9.9, True), (10.04, True), (9.99, False)])
def test_a_certified_length_far_from_the_nominal_one_is_told(certified_mm, told):
    photo = photo_of(Ruling(), np.random.default_rng(3))
    notes = scale_of(photo, certificate=Certificate(10.0, certified_mm, 0.002)).notes
    assert any("off the nominal one" in note for note in notes) == told


def test_without_certificate_the_scale_says_so():
    scale = scale_of(photo_of(Ruling(), np.random.default_rng(4)), certificate=None)
    assert scale.certificate is None
    assert math.sqrt(scale.covariance[0][0]) / scale.px_per_mm_x >= U_NO_CERTIFICATE
    assert any("no certificate" in note for note in scale.notes)


def test_turned_and_mirrored_pictures_agree():
    photo = photo_of(Ruling(angle_deg=11.0, offset=25.0, k1=0.003), np.random.default_rng(5))
    seen = []
    for turn in (lambda g: g, np.fliplr, np.flipud, np.rot90):
        grey = np.ascontiguousarray(turn(photo.grey))
        scale = scale_of(Photo(grey=grey, tone="srgb", name="turned", sha256="0"))
        assert isinstance(scale, Scale)
        seen.append((scale.px_per_mm_x + scale.px_per_mm_y) / 2)
    _, u = along(scale_of(photo), 11.0)
    assert np.ptp(seen) / seen[0] < 0.5 * u  # the same pixels, other bins


def test_gain_and_offset_of_light_do_not_matter():
    rng = np.random.default_rng(6)
    ruling = Ruling(angle_deg=5.0, specks=0, quality=None)
    light = photo_of(ruling, rng)
    linear = np.where(
        light.grey / 255 <= 0.04045,
        light.grey / 255 / 12.92,
        ((light.grey / 255 + 0.055) / 1.055) ** 2.4,
    )
    values = []
    for gain, offset in ((1.0, 0.0), (0.5, 0.0), (0.5, 0.2)):
        grey = np.rint(65535 * (gain * linear + offset)).astype(np.uint16)
        photo = Photo(grey=grey, tone="linear", name="gain.png", sha256="1")
        values.append(scale_of(photo).px_per_mm_x)
    assert np.ptp(values) / values[0] < 1e-6


def test_same_photo_same_digits():
    photo = photo_of(Ruling(angle_deg=3.0), np.random.default_rng(7))
    assert scale_of(photo) == scale_of(photo)


# -- refusals -----------------------------------------------------------------------------------


def refused(result, *codes: str) -> None:
    assert isinstance(result, Refusal), result
    assert result.code in codes
    assert result.message.endswith(".")


@pytest.mark.parametrize("division", [0.5, 1.0, 0.05, 0.2])
def test_wrong_division_is_refused(division):
    photo = photo_of(Ruling(), np.random.default_rng(8))
    refused(scale_of(photo, division_mm=division), "wrong-division")


@pytest.mark.parametrize("division", [0.5, 0.05, 0.025, 0.3])
def test_wrong_division_shows_in_the_longer_lines(division):
    photo = photo_of(Ruling(), np.random.default_rng(8))
    refused(scale_of(photo, division_mm=division, certificate=None), "wrong-division")


def test_both_ends_seen_and_wrong_length():
    photo = photo_of(Ruling(lines=21, middle_line=10.0), np.random.default_rng(9))
    refused(scale_of(photo), "wrong-division")
    assert scale_of(photo, certificate=Certificate(2.0, 2.0, 1e-6))


def test_an_odd_division_is_believed_when_the_whole_scale_is_seen():
    ruling = Ruling(lines=51, middle_line=25.0, division_mm=0.05, px_per_mm_x=200, px_per_mm_y=200)
    photo = photo_of(ruling, np.random.default_rng(9))
    refused(scale_of(photo, division_mm=0.05, certificate=None), "wrong-division")
    scale = scale_of(photo, division_mm=0.05, certificate=Certificate(2.5, 2.5, 1e-6))
    assert scale.px_per_mm_x == pytest.approx(200, rel=5e-4)


@pytest.mark.parametrize(("certified_mm", "seen"), [(2.0, True), (4.0, False)])
def test_lines_all_of_one_length_are_proved_by_the_length_of_the_scale_alone(certified_mm, seen):
    alike = Ruling(lines=21, middle_line=10.0, fifth=1.0, tenth=1.0, numerals=False, specks=0)
    photo = photo_of(alike, np.random.default_rng(9))
    result = scale_of(photo, certificate=Certificate(certified_mm, certified_mm, 1e-6))
    if seen:
        assert result.px_per_mm_x == pytest.approx(120.0, rel=2e-4)
    else:
        refused(result, "lines-unresolved")


@pytest.mark.parametrize("lines", [3, 6, 9])
def test_too_few_lines(lines):
    ruling = Ruling(lines=lines, middle_line=(lines - 1) / 2)
    result = scale_of(photo_of(ruling, np.random.default_rng(10)))
    refused(result, "too-few-lines", "no-lines")
    assert re.search(r"at least 11|fewer than 11", result.message)


@pytest.mark.parametrize("pitch", [6.0, 11.0])
@pytest.mark.parametrize("blur", [0.3, 0.45, 0.6, 0.8, 1.1])
def test_blur_never_costs_a_factor(pitch, blur):
    # the finest lines fade, then vanish, while the 5th and 10th remain
    for seed, angle in enumerate((0.0, 31.0)):
        ruling = Ruling(
            px_per_mm_x=10 * pitch,
            px_per_mm_y=10 * pitch,
            thickness=0.3 * pitch,
            blur=blur * pitch,
            angle_deg=angle,
        )
        result = scale_of(photo_of(ruling, np.random.default_rng(seed)), certificate=None)
        if isinstance(result, Scale):
            assert result.px_per_mm_x == pytest.approx(10 * pitch, rel=2e-3)
        else:
            refused(result, "lines-unresolved", "lines-scatter", "no-lines", "too-few-lines")
    if blur >= 0.8:
        refused(result, "lines-unresolved", "no-lines", "too-few-lines")
    if blur <= 0.3:
        assert isinstance(result, Scale), "what is still well seen is not refused"


def test_long_ends_outside_the_frame():
    # only the band is in view: nothing proves that these are the finest lines
    ruling = Ruling(short=900.0, angle_deg=1.0)
    refused(scale_of(photo_of(ruling, np.random.default_rng(11))), "lines-unresolved", "no-lines")


def test_photos_of_different_size():
    rng = np.random.default_rng(12)
    result = scale_of(photo_of(Ruling(), rng), photo_of(Ruling(width=600, angle_deg=90.0), rng))
    refused(result, "different-sizes")


def test_photos_of_different_magnification():
    rng = np.random.default_rng(13)
    other = Ruling(px_per_mm_x=60.0, px_per_mm_y=60.0, thickness=1.5, angle_deg=90.0)
    refused(scale_of(photo_of(Ruling(), rng), photo_of(other, rng)), "photos-disagree")


@pytest.mark.parametrize("turn_deg", [0.0, 3.0, 20.0])
@pytest.mark.parametrize("more", [1.003, 1.01, 1.05, 1.15])
def test_zoom_touched_between_photos_of_one_direction_is_refused(turn_deg, more):
    """Lines of a photo that strays are not weighted down to nothing, nor hidden by a turn."""
    rng = np.random.default_rng(17)
    other = Ruling(px_per_mm_x=120 * more, px_per_mm_y=120 * more, angle_deg=turn_deg)
    along, across = photo_of(Ruling(), rng), photo_of(Ruling(angle_deg=90.0), rng)
    strays = photo_of(other, rng)
    refused(scale_of(along, strays), "photos-disagree")
    refused(scale_of(along, across, strays), "photos-disagree")


@pytest.mark.parametrize("k1", [0.06, -0.06])
def test_a_strongly_bent_picture_is_unbent(k1):
    rng = np.random.default_rng(20)
    photos = [photo_of(Ruling(angle_deg=a, k1=k1), rng) for a in (0.0, 90.0)]
    found = scale_of(*photos)
    assert isinstance(found, Scale), found
    assert found.k1_half_diagonal == pytest.approx(k1, abs=1e-3)
    assert found.px_per_mm_x == pytest.approx(120.0, rel=5e-4)


def test_photos_that_differ_slightly_widen_u():
    rng = np.random.default_rng(21)
    along, across = (photo_of(Ruling(angle_deg=a), rng) for a in (0.0, 90.0))
    slight = photo_of(Ruling(px_per_mm_x=120.1, px_per_mm_y=120.1, angle_deg=2.0), rng)
    alike, apart = scale_of(along, across), scale_of(along, across, slight)
    assert apart.covariance[0][0] > 2 * alike.covariance[0][0]
    assert abs(apart.px_per_mm_x - 120.0) < 2 * math.sqrt(apart.covariance[0][0])
    assert any("photos differ by more" in note for note in apart.notes)
    assert not any("photos differ by more" in note for note in alike.notes)


@pytest.mark.parametrize("seed", range(4))
def test_photos_of_one_magnification_agree(seed):
    rng = np.random.default_rng([18, seed])
    photos = [photo_of(Ruling(angle_deg=a), rng) for a in (0.0, *rng.uniform(-40, 130, 2))]
    found = scale_of(*photos)
    assert isinstance(found, Scale), found
    assert found.px_per_mm_x == pytest.approx(120.0, rel=5e-4)


@pytest.mark.parametrize(("turn_deg", "square"), [(20.0, True), (40.0, True), (60.0, False)])
def test_directions_near_each_other_do_not_tell_x_from_y(turn_deg, square):
    rng = np.random.default_rng(19)
    photos = [photo_of(Ruling(angle_deg=a), rng) for a in (2.0, 2.0 + turn_deg)]
    found = scale_of(*photos)
    assert any("taken as square" in note for note in found.notes) == square
    assert found.px_per_mm_y == pytest.approx(120.0, rel=5e-4)


@pytest.mark.parametrize(("px_per_mm", "told"), [(126.0, True), (120.4, True), (120.1, False)])
def test_zoom_touched_between_the_photos_is_told(px_per_mm, told):
    rng = np.random.default_rng(13)
    other = Ruling(px_per_mm_x=px_per_mm, px_per_mm_y=px_per_mm, angle_deg=90.0)
    found = scale_of(photo_of(Ruling(), rng), photo_of(other, rng))
    assert isinstance(found, Scale)
    assert any("take them again" in note for note in found.notes) == told


@pytest.mark.parametrize("value", [0, 128, 255])
def test_blank(value):
    grey = np.full((480, 640), value, np.uint8)
    refused(scale_of(Photo(grey=grey, tone="srgb", name="blank", sha256="2")), "no-lines")


def test_noise_only():
    grey = np.random.default_rng(14).integers(0, 256, (480, 640)).astype(np.uint8)
    refused(scale_of(Photo(grey=grey, tone="srgb", name="noise", sha256="3")), "no-lines")


@pytest.mark.parametrize("period", [8, 16])
def test_stripes_without_longer_lines(period):
    # a JPEG grid, blinds, a file test pattern: periodic, but not a scale
    x = np.arange(640)[None, :] + np.zeros((480, 1))
    grey = np.where(x % period < period / 3, 90, 160).astype(np.uint8)
    photo = Photo(grey=grey, tone="srgb", name="stripes", sha256="4")
    refused(scale_of(photo), "lines-unresolved", "no-lines")
    refused(lines_seen(photo), "lines-unresolved", "no-lines")


def test_lines_seen_are_those_side_by_side():
    photo = photo_of(Ruling(lines=31, middle_line=15.0), np.random.default_rng(4))
    assert lines_seen(photo) == pytest.approx(31, abs=1)


@pytest.mark.parametrize(("ink", "seen"), [(0.1525, False), (0.153, True)])
def test_lines_fainter_than_a_grey_step_are_no_scale(ink, seen):
    """A step is 0.003 of the light there: fainter lines show by the noise that blurs the steps."""
    faint = Ruling(ink=ink, thickness=5.0, noise=0.003, slope=0.0, specks=0, quality=None)
    result = scale_of(photo_of(faint.but(numerals=False), np.random.default_rng(1)))
    if seen:
        assert isinstance(result, Scale)
    else:
        refused(result, "lines-unresolved")


SKIMAGE = (
    "brick.png",
    "grass.png",
    "gravel.png",
    "camera.png",
    "coins.png",
    "page.png",
    "text.png",
)


@pytest.mark.parametrize("name", SKIMAGE)
def test_photographs_without_a_scale(name):
    # photographs that come with scikit-image (skimage/data, see its README for their licences)
    import skimage.data  # noqa: PLC0415

    photo = read_photo(Path(skimage.data.__file__).parent / name)
    refused(scale_of(photo), "no-lines", "lines-unresolved", "too-few-lines")


@pytest.mark.parametrize(
    "path", sorted((ROOT / "sample_images").glob("*.jpg")), ids=lambda p: p.stem
)
def test_indents_are_no_scales(path):
    refused(scale_of(read_photo(path)), "no-lines", "too-few-lines", "lines-unresolved")


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"division_mm": 0.0}, "division"),
        ({"division_mm": -0.1}, "division"),
        ({"division_mm": float("nan")}, "division"),
        ({"division_mm": float("inf")}, "division"),
        ({"division_mm": 10.0}, "in mm, 0.00001 to 5"),
        ({"division_mm": 5.0, "certificate": Certificate(4, 4, 1e-3)}, "must not exceed"),
        ({"valid_days": 0}, "valid"),
        ({"valid_days": 36501}, "valid"),
        ({"calibrated_on": date(9999, 12, 1), "valid_days": 31}, "beyond the year 9999"),
        ({"photos": []}, "at least one photo"),
        ({"photos": "twice"}, "given twice"),
    ],
)
def test_misuse(changes, word):
    photo = photo_of(Ruling(), np.random.default_rng(15))
    photos = changes.pop("photos", [photo])
    told = {"division_mm": 0.1, "certificate": SURE, "calibrated_on": TODAY, **changes}
    with pytest.raises(ValueError, match=word):
        calibrate([photo, photo] if photos == "twice" else photos, **told)


# -- renderings with truth ----------------------------------------------------------------------


def stage_rows() -> list[dict[str, str]]:
    with (ROOT / "calibration" / "truth.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.slow
@pytest.mark.parametrize("row", stage_rows(), ids=lambda row: row["photo"])
def test_stage_renderings(row):
    certified = float(row["certified_mm"])
    result = scale_of(
        read_photo(ROOT / "calibration" / row["photo"]),
        division_mm=float(row["division_mm"]),
        certificate=Certificate(float(row["length_mm"]), certified, 1e-4 * certified),
    )
    if row["expect"] == "refused":
        refused(result, "lines-unresolved")
    else:
        assert isinstance(result, Scale), result
        for value in (result.px_per_mm_x, result.px_per_mm_y):
            assert value == pytest.approx(float(row["px_per_mm"]), rel=2e-4)


@pytest.mark.slow
def test_coverage_of_drawn_scales():
    """200 pictures of any kind: k = 2 must cover near 95 %, and none may be grossly wrong."""
    rng = np.random.default_rng(5)
    scores = []
    for _ in range(200):
        px_per_mm = rng.uniform(60, 160)
        dark = rng.random() < 0.5
        lines = int(rng.choice([21, 101]))
        ruling = Ruling(
            px_per_mm_x=px_per_mm,
            px_per_mm_y=px_per_mm,
            k1=rng.normal(0, 0.003),
            angle_deg=rng.uniform(-45, 135),
            blur=rng.uniform(0.7, 2.2),
            lines=lines,
            middle_line=(lines - 1) / 2 + rng.uniform(-3, 3),
            offset=rng.uniform(-40, 40),
            thickness=rng.uniform(2, 3.5),
            short=rng.uniform(50, 90),
            noise=rng.uniform(0.003, 0.012),
            ruling_error_mm=rng.choice([0.0, 0.0005]),
            ground=0.6 if dark else 0.15,
            ink=0.3 if dark else 0.4,
            quality=int(rng.choice([85, 92, 97])),
        )
        length = 0.1 * (lines - 1)
        result = scale_of(photo_of(ruling, rng), certificate=Certificate(length, length, 1e-7))
        if not isinstance(result, Scale):
            continue
        g_value, u = along(result, ruling.angle_deg)
        turn = math.radians(ruling.angle_deg)
        ratio = (
            math.cos(turn) ** 2 * px_per_mm / result.px_per_mm_x
            + math.sin(turn) ** 2 * px_per_mm / result.px_per_mm_y
        )
        scores.append((g_value - ratio) / u)
    score = np.abs(scores)
    print(f"{score.size} of 200 measured, {np.mean(score < 2):.3f} within k = 2")
    assert score.size > 190
    assert 0.90 <= np.mean(score < 2) <= 0.99
    assert score.max() < 5


# -- what is said of it -------------------------------------------------------------------------


def fitted(**facts) -> Fit:
    told = {
        "values": np.array([100.0, 100.0, 0.0]),
        "covariance": np.diag([1e-4, 4e-4, 1e-6]),
        "scatter": np.diag([1e-4, 4e-4, 1e-6]),  # 0.01 % along x and 0.02 % along y
        "dof": 8.0,
        "angles_deg": (0.0, 90.0),
        "residual_rms_px": (0.1, 0.1),
        "lines_used": (13, 13),
        "aspect_measured": True,
        "alone_px_per_mm": (100.0, 100.0),
        "apart": (0.0, 0.0),
        "u_apart": (1e-4, 1e-4),
    }
    return Fit(**told | facts)


@pytest.mark.parametrize(
    ("certified_mm", "off"),
    [(9.95, "-0.50 %"), (10.05, "+0.50 %"), (9.975, ""), (10.025, "")],
)
def test_the_notes_have_scatter_and_certificate_in_per_cent(certified_mm, off):
    notes = _notes(fitted(), Certificate(10.0, certified_mm, 0.03, 3.0))
    assert notes[0].startswith("line scatter: 0.02000 % of px/mm, standard, 8 degrees")
    share = 100 * 0.01 / certified_mm
    assert notes[1].startswith(f"certificate of the stage micrometer: {share:.5f} %")
    surprised = [note for note in notes if "off the nominal one" in note]
    assert len(surprised) == bool(off)
    assert all(f"is {off} off" in note for note in surprised)


@pytest.mark.parametrize(
    ("y", "told"),
    [
        (94.0, "-6.00 %"),
        (99.4, "-0.60 %"),
        (100.6, "+0.60 %"),
        (100.21, "+0.21 %"),
        (99.81, ""),
        (100.19, ""),
    ],
)
def test_px_per_mm_that_differ_from_axis_to_axis_are_told_by_how_much(y, told):
    notes = _notes(fitted(values=np.array([100.0, y, 0.0])), SURE)
    unlike = [note for note in notes if "along y and x differ by" in note]
    assert len(unlike) == bool(told)
    assert all(f"differ by {told}:" in note for note in unlike)


@pytest.mark.parametrize("measured", [True, False])
def test_what_is_assumed_is_said_in_per_cent(measured):
    told = " ".join(_notes(fitted(aspect_measured=measured), None))
    assert "no certificate given: 0.100 % of px/mm" in told
    assert ("pixels taken as square within 0.050 %" in told) != measured


@pytest.mark.parametrize(
    ("tone", "kind", "full", "light"),
    [
        ("linear", np.uint8, 255, 0.3),
        ("linear", np.uint16, 65535, 0.3),
        ("srgb", np.uint8, 255, 0.15),
        ("srgb", np.uint16, 65535, 0.15),
    ],
)
def test_a_grey_step_is_that_of_the_file_at_the_light_of_the_lines(tone, kind, full, light):
    """IEC 61966-2-1 has L = ((g + 0.055) / 1.055)^2.4; the step is its slope over full scale."""
    photo = Photo(grey=np.zeros((2, 2), kind), tone=tone, name="", sha256="")
    grey = 1.055 * light ** (1 / 2.4) - 0.055
    slope = 2.4 / 1.055 * ((grey + 0.055) / 1.055) ** 1.4 if tone == "srgb" else 1.0
    assert _grey_step(photo, light) == pytest.approx(slope / full, rel=1e-3)


@pytest.mark.parametrize(
    "last",
    [
        {"valid_days": 36500},
        {"calibrated_on": date(9999, 12, 1), "valid_days": 30},
        {"division_mm": 5.0, "certificate": Certificate(5.0, 5.0, 1e-3)},
        {"division_mm": 1e-5},
    ],
)
def test_the_last_that_is_allowed(last):
    blank = Photo(grey=np.full((64, 64), 90, np.uint8), tone="srgb", name="blank", sha256="5")
    told = {"division_mm": 0.1, "certificate": SURE, "calibrated_on": TODAY, **last}
    refused(calibrate([blank], **told), "no-lines")


@pytest.mark.parametrize(("share", "finite"), [(0.01, True), (1e-3, False)])
def test_degrees_of_freedom_beyond_a_million_are_endless(share, finite):
    scatter = np.diag([1e-4, 1e-4, 0.0])
    whole = fitted(scatter=scatter, covariance=scatter / share + np.diag([0, 0, 1e-6]))
    _, dof = _whole_covariance(whole, SURE)
    assert dof == (pytest.approx(8.0 / share**2, rel=1e-3) if finite else math.inf)


@pytest.mark.parametrize("along", [0, 1])
def test_degrees_of_freedom_are_those_of_the_axis_that_has_fewer(along):
    """Welch-Satterthwaite (GUM eq. G.2b): of one axis scatter is half of the variance."""
    scatter = np.array([1e-10, 1e-10, 0.0])
    scatter[along] = 1e-6
    one = fitted(
        covariance=np.diag(scatter * 1e4 + [0.0, 0.0, 1e-6]), scatter=np.diag(scatter * 1e4)
    )
    whole, dof = _whole_covariance(one, Certificate(10.0, 10.0, 0.03, 3.0))  # u = 1e-3 of it
    assert whole[along, along] == pytest.approx(0.02)
    assert whole[0, 1] == pytest.approx(0.01)
    assert dof == pytest.approx(8.0 / 0.5**2)
    assert whole[2, 2] == pytest.approx(1e-6)  # a wrong length does not bend the picture
    assert whole[2, :2] == pytest.approx([0.0, 0.0])
