"""A lab's own conditions simulated: what a photo says, what is drawn, what is told."""

import json
import math
from collections import Counter
from dataclasses import asdict, replace
from datetime import date

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rimread import plot
from rimread.hardness import parse_test
from rimread.scale.model import Scale
from rimread.simulate import Camera, Indent, Light, Scene, Surface, rim_levels, simulate
from rimread.validate import (
    Limits,
    Noise,
    Trial,
    Working,
    character_of,
    largest_mm,
    noise_of,
    run,
    summarised,
    test_range_mm,
)
from rimread.validate.figure import draw
from rimread.validate.trial import tried
from rimread.validate.working import scale_drawn, scene_drawn

TEST = parse_test("10/3000")

SCALE = Scale(
    px_per_mm_x=70.0,
    px_per_mm_y=70.07,
    k1_half_diagonal=0.004,
    covariance=((4e-4, 3e-4, 0.0), (3e-4, 4e-4, 0.0), (0.0, 0.0, 1e-8)),
    dof=40.0,
    width_px=400,
    height_px=320,
    label="small scope (invented)",
    calibrated_on=date(2026, 1, 1),
    valid_until=date(2026, 12, 31),
    certificate=None,
    photos=(),
)
WORKING = Working(SCALE, TEST, 2.6, 3.4, lights=("ring",), finishes=("blasted",), tier="clean")

SCENE = Scene(
    indents=(Indent(d1_mm=3.0, d2_mm=2.99),),
    surface=Surface(finish="blasted", finish_um=0.15),
    light=Light(kind="ring", elevation_deg=40.0),
    camera=Camera(width_px=400, height_px=320, px_per_mm=70.0),
)


def photo(**camera):
    scene = replace(SCENE, camera=replace(SCENE.camera, **camera))
    return simulate(scene, rng=np.random.default_rng(3)).photo()


# -- what a photo says --------------------------------------------------------------------------


@pytest.mark.parametrize(
    "camera",
    [
        {"full_well_e": 4000.0, "read_noise_e": 10.0},
        {"full_well_e": 15_000.0, "read_noise_e": 30.0},
        {"full_well_e": 2000.0, "read_noise_e": 5.0, "jpeg_quality": 90},
        {"full_well_e": 4000.0, "read_noise_e": 10.0, "tone": "linear"},
        {"full_well_e": 8000.0, "read_noise_e": 10.0, "tone": "linear", "bits": 16},
    ],
    ids=str,
)
def test_noise_of_a_photo_is_found(camera):
    taken = photo(**camera)
    found = noise_of(taken, rng=np.random.default_rng(0))
    true = Noise(camera["full_well_e"], camera["read_noise_e"])
    assert found.at(0.3) == pytest.approx(true.at(0.3), rel=0.15)


def test_noise_follows_poisson():
    # a Poisson count of N electrons scatters by its root: 2500 of 10 000 by 50
    assert Noise(10_000.0, 0.0).at(0.25) == pytest.approx(50 / 10_000)
    assert Noise(10_000.0, 120.0).at(0.25) == pytest.approx(130 / 10_000)  # 50, 120, 130


def test_a_picture_without_noise_has_next_to_none():
    found = noise_of(photo(full_well_e=1e7, read_noise_e=0.0), rng=np.random.default_rng(0))
    assert found.at(0.3) < 0.003  # texture and rounding to 8 bits


@pytest.mark.parametrize("blur_px", [1.0, 1.5, 2.2])
def test_blur_of_a_photo_is_found(blur_px):
    found = character_of(photo(blur_px=blur_px), rng=np.random.default_rng(0))
    assert found.blur_px == pytest.approx(blur_px, rel=0.12)


def test_light_and_file_of_a_photo_are_found():
    taken = photo(exposure=0.25, vignetting=0.0, tone="linear", bits=16)
    found = character_of(taken, rng=np.random.default_rng(0))
    assert found.exposure == pytest.approx(0.25, rel=0.1)
    assert (found.tone, found.tone_stated, found.bits) == ("linear", True, 16)
    inside, outside = rim_levels(SCENE)
    step = (inside - outside) / (inside + outside)
    assert found.contrast == pytest.approx(np.abs(step).mean(), abs=0.05)
    assert found.polarity == pytest.approx(step.mean(), abs=0.05)
    json.dumps(asdict(found), allow_nan=False)  # plain numbers


@pytest.mark.parametrize("stray", [0, 9])
def test_what_a_field_stop_hides_says_nothing(stray):
    """A camera held to an eyepiece, its stray light as even as no metal is."""
    whole = photo(full_well_e=4000.0, read_noise_e=10.0, vignetting=0.0)
    middle, radius = (whole.width_px // 2, whole.height_px // 2), whole.height_px // 2 - 3
    seen = cv2.circle(np.zeros_like(whole.grey), middle, radius, 1, -1)
    grey = np.where(seen > 0, whole.grey, np.uint8(stray)).astype(np.uint8)
    free, found = (
        character_of(one, rng=np.random.default_rng(0))
        for one in (whole, replace(whole, grey=grey))
    )
    assert found.noise.at(0.3) == pytest.approx(free.noise.at(0.3), rel=0.05)
    assert found.exposure == pytest.approx(free.exposure, rel=0.05)
    assert found.blur_px == pytest.approx(free.blur_px, rel=0.05)


def test_a_photo_without_a_rim_says_so():
    blank = replace(SCENE, indents=())
    taken = simulate(blank, rng=np.random.default_rng(3)).photo()
    found = character_of(taken, rng=np.random.default_rng(0))
    assert (found.blur_px, found.contrast, found.polarity) == (None, None, None)
    assert found.refused
    assert found.noise.at(0.3) > 0.0


# -- what is drawn ------------------------------------------------------------------------------


def test_range_of_the_test_as_far_as_it_fits():
    low, high = test_range_mm(SCALE, TEST)
    assert low == 2.4  # 0.24 D
    assert high == largest_mm(SCALE) < 320 / 70.07
    assert test_range_mm(replace(SCALE, width_px=4000, height_px=3000), TEST) == (2.4, 6.0)
    narrow = replace(SCALE, width_px=200, height_px=150)  # an objective too strong for the test
    with pytest.raises(ValueError, match="the largest indent that fits into these photos"):
        Working(narrow, TEST, *test_range_mm(narrow, TEST))


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"low_mm": 3.0, "high_mm": 2.0}, "below its end"),
        ({"low_mm": 0.0}, "above 0"),
        ({"high_mm": 4.5}, "fits into these photos"),
        ({"low_mm": 0.5}, "60 px across"),
        ({"lights": ("lantern",)}, "light must be one of"),
        ({"finishes": ("rust",)}, "finish must be one of"),
        ({"tier": "lunar"}, "tier must be one of"),
        ({"test": parse_test("2.5/187.5")}, "smaller than the ball"),
    ],
)
def test_conditions_that_make_no_sense(change, rule):
    with pytest.raises(ValueError, match=rule):
        replace(WORKING, **change)


@given(seed=st.integers(0, 10_000), mean_mm=st.floats(2.6, 3.4))
def test_a_scene_has_the_indent_asked_for_whole_in_the_picture(seed, mean_mm):
    scene = scene_drawn(WORKING, mean_mm, np.random.default_rng(seed))
    (indent,) = scene.indents
    assert indent.mean_mm == pytest.approx(mean_mm)
    assert indent.ball_mm == 10.0
    assert (scene.light.kind, scene.surface.finish) == ("ring", "blasted")
    camera = scene.camera
    assert (camera.width_px, camera.height_px) == (400, 320)
    for middle, side, per_mm in (
        (indent.x_mm, camera.width_px, camera.px_per_mm),
        (indent.y_mm, camera.height_px, camera.px_per_mm * camera.aspect),
    ):
        assert (abs(middle) + indent.d1_mm / 2) * per_mm < side / 2


def test_the_true_scale_scatters_as_the_file_says():
    rng = np.random.default_rng(2)
    drawn = [scale_drawn(SCALE, rng) for _ in range(4000)]
    rows = np.array([(s.px_per_mm_x, s.px_per_mm_y, s.k1_half_diagonal) for s in drawn])
    widened = 40.0 / 38.0  # variance of Student's t with 40 degrees of freedom
    assert np.cov(rows.T) == pytest.approx(widened * np.array(SCALE.covariance), rel=0.1, abs=4e-7)
    assert rows.mean(axis=0) == pytest.approx([70.0, 70.07, 0.004], rel=1e-3, abs=1e-5)


def test_a_scene_takes_after_the_photo():
    like = character_of(
        photo(blur_px=1.4, exposure=0.2, jpeg_quality=85), rng=np.random.default_rng(0)
    )
    working = replace(WORKING, like=like)
    scene = scene_drawn(working, 3.0, np.random.default_rng(4))
    camera = scene.camera
    assert camera.blur_px == like.blur_px
    assert (camera.jpeg_quality, camera.defocus_px, camera.motion_px) == (85, 0.0, 0.0)
    assert camera.full_well_e == like.noise.full_well_e
    assert camera.exposure == pytest.approx(0.2, rel=0.5)

    def unlike(scenes):
        steps = (np.subtract(*rim_levels(s)) / np.add(*rim_levels(s)) for s in scenes)
        return np.mean([abs(np.abs(s).mean() - like.contrast) for s in steps])

    near = [scene_drawn(working, 3.0, np.random.default_rng([5, i])) for i in range(12)]
    any_ = [scene_drawn(WORKING, 3.0, np.random.default_rng([5, i])) for i in range(12)]
    assert unlike(near) < 0.6 * unlike(any_)


# -- trials -------------------------------------------------------------------------------------


def test_trials_cover_the_range_and_depend_on_the_seed_alone():
    told = []
    first = run(WORKING, count=4, seed=7, told=told.append)
    assert [trial.index for trial in first] == [0, 1, 2, 3]
    assert told == list(first)
    edges = [2.6, 2.8, 3.0, 3.2, 3.4]
    for trial, low, high in zip(first, edges, edges[1:], strict=False):
        assert low <= trial.true_mm <= high
    assert tried(WORKING, 2, 4, 7) == first[2]
    assert tried(WORKING, 2, 4, 8) != first[2]
    assert all(abs(trial.error_rel) < 0.02 for trial in first if trial.measured)


@pytest.mark.slow
def test_several_processes_give_the_same_trials():
    assert run(WORKING, count=4, seed=7, jobs=2) == run(WORKING, count=4, seed=7)


@pytest.mark.parametrize("wrong", [{"count": 0}, {"seed": -1}, {"jobs": 0}])
def test_runs_that_make_no_sense(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        run(WORKING, **({"count": 1, "seed": 0} | wrong))


def test_an_unstated_tone_of_the_photo_stays_unstated():
    like = replace(character_of(photo(), rng=np.random.default_rng(0)), tone_stated=False)
    stated = replace(like, tone_stated=True)
    unsaid, said = (
        tried(replace(WORKING, like=character), 1, 3, 1) for character in (like, stated)
    )
    assert unsaid.mean_mm == said.mean_mm
    assert unsaid.U_mm > said.U_mm


# -- what is told -------------------------------------------------------------------------------


def trials(errors, U_rel=0.002, refused=()):
    """Trials spread over the range with these relative errors, then refusals."""
    n = len(errors) + len(refused)
    where = [2.6 + 0.8 * (i + 0.5) / n for i in range(n)]
    found = [
        Trial(i, "ring", "ground", where[i], "measured", where[i] * (1 + e), where[i] * U_rel)
        for i, e in enumerate(errors)
    ]
    return found + [
        Trial(i, "ring", "ground", where[i], code) for i, code in enumerate(refused, len(errors))
    ]


def outcomes(found):
    return {check.code: check.outcome for check in found.checks}


def normal_errors(n=400, sd=0.001, bias=0.0):
    """Quantiles of a normal distribution in mixed order."""
    z = stats.norm.ppf((np.arange(n) + 0.5) / n)
    return list(bias + sd * np.random.default_rng(1).permutation(z))


def test_honest_trials_pass():
    found = summarised(WORKING, trials(normal_errors()))
    whole = found.whole
    assert set(outcomes(found).values()) == {"pass"}
    assert not found.failed
    assert whole.bias_rel == pytest.approx(0.0, abs=1e-6)
    assert whole.scatter_rel == pytest.approx(0.001, rel=0.02)
    assert whole.u_bias_rel == pytest.approx(0.001 / 20, rel=0.02)
    assert whole.error_95_rel == pytest.approx(1.96e-3, rel=0.02)
    assert whole.U_rel == pytest.approx(0.002)
    assert whole.coverage == pytest.approx(0.954, abs=0.003)
    assert sum(cell.photos for cell in found.cells) == 400
    assert [cell.low_mm for cell in found.cells] == pytest.approx([2.6, 2.8, 3.0, 3.2])


def test_interval_of_the_coverage_is_clopper_and_pearsons():
    found = summarised(WORKING, trials([0.0] * 45 + [0.01] * 5)).whole
    exact = stats.binomtest(45, 50).proportion_ci(0.95, method="exact")
    assert (found.coverage_low, found.coverage_high) == pytest.approx((exact.low, exact.high))
    every = summarised(WORKING, trials([0.0] * 50)).whole
    exact = stats.binomtest(50, 50).proportion_ci(0.95, method="exact")
    assert (every.coverage_low, every.coverage_high) == pytest.approx((exact.low, exact.high))
    none = summarised(WORKING, trials([0.01] * 50)).whole
    assert (none.coverage, none.coverage_low) == (0.0, 0.0)


def test_a_u_half_as_large_fails():
    found = summarised(WORKING, trials(normal_errors(), U_rel=0.001))
    assert found.failed
    assert outcomes(found)["coverage"] == "fail"


def test_one_bad_cell_fails_though_the_whole_passes():
    errors = [0.0] * 380 + [0.003] * 20
    found = summarised(WORKING, trials(errors, U_rel=0.002), cells=20)
    assert outcomes(found)["coverage"] == "pass"
    assert outcomes(found)["cell-coverage"] == "fail"


def test_one_gross_error_fails():
    found = summarised(WORKING, trials([0.0] * 399 + [0.006]))
    assert outcomes(found)["gross"] == "fail"
    assert outcomes(found)["coverage"] == outcomes(found)["error"] == "pass"
    within_twice = summarised(WORKING, trials([0.0] * 399 + [0.006], U_rel=0.0031))
    assert outcomes(within_twice)["gross"] == "pass"


def test_the_worst_gross_error_is_named_not_a_larger_one_that_u_covers():
    found = trials([0.0] * 397 + [0.02, 0.0, 0.0], U_rel=0.004)
    found[10] = replace(found[10], mean_mm=found[10].true_mm * 1.05, U_mm=0.06 * found[10].true_mm)
    (gross,) = (c for c in summarised(WORKING, found).checks if c.code == "gross")
    assert "in photo 397" in gross.message


def test_errors_are_held_against_the_limit_given():
    some = trials(normal_errors(sd=0.001))
    assert outcomes(summarised(WORKING, some, limits=Limits(error_rel=0.0021)))["error"] == "pass"
    assert outcomes(summarised(WORKING, some, limits=Limits(error_rel=0.0019)))["error"] == "fail"


def test_refusals_are_counted_and_named():
    refused = ["rim-unclear"] * 30 + ["out-of-focus"] * 10
    some = trials([0.0] * 160, refused=refused)
    found = summarised(WORKING, some)
    assert found.whole.refused_share == pytest.approx(0.2)
    assert Counter(found.whole.refused) == Counter(refused)
    assert outcomes(found)["refusals"] == "pass"
    strict = summarised(WORKING, some, limits=Limits(refused=0.19))
    assert outcomes(strict)["refusals"] == "fail"
    assert "rim-unclear 30" in strict.checks[4].message


def test_nothing_measured_is_a_failure_without_figures():
    found = summarised(WORKING, trials([], refused=["no-indent"] * 5))
    assert found.failed
    assert found.whole.bias_rel is found.whole.coverage is None
    assert draw(found, Limits())


def test_few_photos_are_a_warning():
    assert outcomes(summarised(WORKING, trials([0.0] * 99)))["count"] == "warn"
    assert outcomes(summarised(WORKING, trials([0.0] * 100)))["count"] == "pass"


@pytest.mark.parametrize(
    "wrong", [{"refused": 1.1}, {"coverage": -0.1}, {"error_rel": 0.0}, {"error_rel": math.nan}]
)
def test_limits_that_make_no_sense(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Limits(**wrong)


def test_figure_shows_every_photo_and_every_cell(tmp_path):
    found = summarised(WORKING, trials([0.0] * 50 + [0.003] * 2, refused=["no-indent"] * 8))
    figure = draw(found, Limits())
    above, below = figure.axes
    labels = [text.get_text() for text in above.get_legend().get_texts()]
    assert labels == ["true value within U (50)", "true value beyond U (2)"]
    assert len(below.patches) == len(found.cells)
    heights = [bar.get_height() for bar in below.patches]
    assert heights == pytest.approx([100 * cell.refused_share for cell in found.cells])
    for name in ("v.png", "v.svg"):
        plot.save(draw(found, Limits()), tmp_path / name, dpi=50)
        assert (tmp_path / name).stat().st_size > 1000
    assert not above.texts
    far = summarised(WORKING, trials([0.0] * 50 + [0.003, -0.2]))
    assert [text.get_text() for text in draw(far, Limits()).axes[0].texts] == ["-20.0"]
    again = tmp_path / "again.svg"
    plot.save(draw(found, Limits()), again, dpi=50)
    assert again.read_bytes() == (tmp_path / "v.svg").read_bytes()
