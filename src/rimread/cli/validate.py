"""``rimread validate``: a lab's working conditions, simulated and measured."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import typer

from rimread import plot as plots
from rimread import whole
from rimread.check import checks_json
from rimread.cli import _validate_options as own
from rimread.cli._indents import print_checks
from rimread.cli._io import REFUSED, print_json, say, speaking, telling
from rimread.cli._options import Json, ScaleFile, Test, ToneCurve
from rimread.cli._progress import Line

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.hardness import TestCondition
    from rimread.scale.model import Scale
    from rimread.simulate.scene import Finish, LightKind
    from rimread.validate import Cell, Character, Limits, Trial, Validation, Working


def validate(
    scale: ScaleFile,
    test: Test,
    diameter: own.Diameter = None,
    hardness: own.Hardness = None,
    like: own.Like = None,
    tone: own.Tone = None,
    light: own.Light = None,
    finish: own.Finish = None,
    conditions: own.Conditions = "shop",
    count: own.Count = 300,
    cells: own.Cells = 4,
    most_error: own.MostError = None,
    most_refused: own.MostRefused = None,
    plot: own.Plot = None,
    show: own.Show = None,
    seed: own.Seed = 1,
    jobs: own.Jobs = 0,
    as_json: Json = False,
) -> None:
    """Simulate your working conditions and say how well they are measured.

    \b
      rimread validate --scale scope.toml --test 10/3000 --like indent.jpg
      rimread validate --scale scope.toml --test 10/3000 --hardness 180-320 --plot can.png

    Photos of indents with known diameters are made for your scope and measured as yours would be.
    The table gives, by diameter: bias, scatter, the error 95 % of the photos keep, how often U
    holds the true diameter, and how many photos were refused.

    It fails when, with 95 % confidence, U holds the true diameter in less than 93 % of the photos,
    or in less than 85 % in a line of the table; when more than 5 % of the errors exceed
    --most-error; when an error exceeds it and twice U; or when too many photos were refused.

    Simulated light, metal and noise show what the program makes of such photos. They prove nothing
    about your metal, ball, machine and people: that takes reference blocks and rimread compare.

    Exit codes: 0 within all limits; 1 not; 2 wrong use.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        from rimread.archive.pool import cores  # noqa: PLC0415
        from rimread.hardness import parse_test  # noqa: PLC0415
        from rimread.scale import read_scale  # noqa: PLC0415
        from rimread.validate import Working, run, summarised  # noqa: PLC0415

        begun, scope, condition = time.monotonic(), read_scale(scale), parse_test(test)
        limits = _limits(most_error, most_refused)
        low_mm, high_mm = _range(diameter, hardness, scope, condition)
        character = None if like is None else _character(like, scope, tone, seed)
        working = Working(
            scope,
            condition,
            low_mm,
            high_mm,
            lights=cast("tuple[LightKind, ...]", tuple(light or ())),  # judged by Working
            finishes=cast("tuple[Finish, ...]", tuple(finish or ())),
            tier=conditions,
            like=character,
        )
        _judge(plot, show)
        trials = run(
            working, count=count, seed=seed, jobs=jobs or cores(), told=_progress(count, begun)
        )
        found = summarised(working, trials, limits=limits, cells=cells)
        with telling():
            if as_json:
                print_json(_record(found, limits, seed))
            else:
                _print(found)
        if plot is not None:
            _plot(found, limits, plot, as_json=as_json)
        if show is not None:
            _shown(found, show, count, seed)
    if found.failed:
        raise typer.Exit(REFUSED)


def _limits(most_error: float | None, most_refused: float | None) -> Limits:
    from rimread.validate import Limits  # noqa: PLC0415

    if most_error is not None and not 0.0 < most_error < 100.0:
        raise ValueError(f"--most-error is a percentage above 0 (got {most_error:g})")
    if most_refused is not None and not 0.0 <= most_refused <= 100.0:
        raise ValueError(f"--most-refused is a percentage from 0 to 100 (got {most_refused:g})")
    given = {"error_rel": most_error, "refused": most_refused}
    return Limits(**{name: value / 100.0 for name, value in given.items() if value is not None})


def _range(
    diameter: str | None, hardness: str | None, scale: Scale, test: TestCondition
) -> tuple[float, float]:
    from rimread.hardness import diameter_for  # noqa: PLC0415
    from rimread.validate import test_range_mm  # noqa: PLC0415

    if diameter is not None and hardness is not None:
        raise ValueError("give either --diameter or --hardness, not both")
    if diameter is not None:
        return _pair("--diameter", diameter, "2.5-4.0")
    if hardness is not None:
        soft, hard = _pair("--hardness", hardness, "180-320")
        return diameter_for(hard, test), diameter_for(soft, test)
    return test_range_mm(scale, test)


def _pair(option: str, text: str, like: str) -> tuple[float, float]:
    try:
        low, high = (float(part) for part in re.split("[-:]", text))
    except ValueError:
        raise ValueError(f"{option} takes LOW-HIGH, like {like} (got {text!r})") from None
    if not 0.0 < low < high < float("inf"):
        raise ValueError(f"{option} takes LOW-HIGH with 0 < LOW < HIGH (got {text!r})")
    return low, high


def _character(path: Path, scale: Scale, tone: ToneCurve | None, seed: int) -> Character:
    import numpy as np  # noqa: PLC0415

    from rimread.photo import read_photo  # noqa: PLC0415
    from rimread.validate import character_of  # noqa: PLC0415

    photo = read_photo(path, tone=tone)
    if (photo.width_px, photo.height_px) != (scale.width_px, scale.height_px):
        raise ValueError(
            f"--like {path} has {photo.width_px} × {photo.height_px} pixels and the scale holds "
            f"for {scale.width_px} × {scale.height_px}: take a photo as the camera gives it"
        )
    found = character_of(photo, rng=np.random.default_rng([seed, 0]))
    if found.refused:
        say(
            f"{path}: no rim to tell blur and contrast from ({found.refused}); "
            f"they are drawn as the conditions have them"
        )
    return found


def _plot(found: Validation, limits: Limits, plot: Path, *, as_json: bool) -> None:
    from rimread.validate.figure import draw  # noqa: PLC0415

    plots.save(draw(found, limits), plot, dpi=160)
    if not as_json:
        with telling():
            print(f"plot: {plot}")


def _judge(plot: Path | None, show: Path | None) -> None:
    """Say what is missing before the work and not after it."""
    if plot is not None:
        plots.judge(plot)
    if show is not None and show.exists() and not show.is_dir():
        raise ValueError(f"--show takes a folder (got the file {show})")


def _progress(total: int, begun: float) -> Callable[[Trial], None]:
    """What tells on standard error how far the work is."""
    line = Line()
    done = refused = 0

    def tell(trial: Trial) -> None:
        nonlocal done, refused
        done += 1
        refused += not trial.measured
        if line.due() or done == total:
            left = (time.monotonic() - begun) / done * (total - done)
            told = f"{done} of {total} photos, {refused} refused, about {left:.0f} s left"
            line.write(told, last=done == total)

    return tell


def _shown(found: Validation, folder: Path, count: int, seed: int) -> None:
    """Make the photos that did not come out well once more and write them."""
    from PIL import Image  # noqa: PLC0415

    from rimread.validate import shot_of  # noqa: PLC0415

    folder.mkdir(parents=True, exist_ok=True)
    for trial in found.trials:
        if trial.measured and trial.covered:
            continue
        what = "beyond-U" if trial.measured else trial.code
        picture = shot_of(found.working, trial.index, count, seed).picture
        data = io.BytesIO()
        Image.fromarray(picture).save(data, "PNG")
        whole.write(folder / f"simulated-{trial.index}-{what}.png", data.getvalue())


def _record(found: Validation, limits: Limits, seed: int) -> dict[str, Any]:
    working = found.working
    return {
        "status": "failed" if found.failed else "passed",
        "photos": found.whole.photos,
        "seed": seed,
        "conditions": _conditions_json(working),
        "limits": asdict(limits),
        "whole": _cell_json(found.whole, working.test),
        "cells": [_cell_json(cell, working.test) for cell in found.cells],
        "checks": checks_json(found.checks),
        "trials": [asdict(trial) for trial in found.trials],
    }


def _conditions_json(working: Working) -> dict[str, Any]:
    return {
        "scale_label": working.scale.label,
        "scale_sha256": working.scale.sha256,
        "test": working.test.name,
        "low_mm": working.low_mm,
        "high_mm": working.high_mm,
        "lights": list(working.lights),
        "finishes": list(working.finishes),
        "tier": working.tier,
        "like": None if working.like is None else asdict(working.like),
    }


def _cell_json(cell: Cell, test: TestCondition) -> dict[str, Any]:
    hard, soft = _hbw(cell, test)
    return {**asdict(cell), "low_hbw": soft, "high_hbw": hard, "refused_share": cell.refused_share}


def _hbw(cell: Cell, test: TestCondition) -> tuple[float, float]:
    from rimread.hardness import brinell  # noqa: PLC0415

    return brinell(cell.low_mm, test), brinell(cell.high_mm, test)


def _print(found: Validation) -> None:
    from rimread.validate import CAUTION  # noqa: PLC0415

    for line in _heading(found.working):
        print(line)
    print(
        f"\n{'d mm':>13}  {'HBW':>9}  {'photos':>6}  {'refused':>7}  {'bias':>15}  {'scatter':>7}  "
        f"{'95 % within':>11}  {'median U':>8}  {'U holds':>7}"
    )
    for cell in found.cells:
        print(_row(cell, found.working.test))
    print(f"{_row(found.whole, found.working.test)}  all")
    print("Bias, scatter, errors and U in % of d; ± is the standard uncertainty of the bias.\n")
    print_checks(found.checks)
    print(f"\n{CAUTION}")


def _heading(working: Working) -> list[str]:
    lights, finishes = (", ".join(n) or "all" for n in (working.lights, working.finishes))
    first = (
        f"Simulated: {working.scale.label or '(no label)'}, HBW {working.test.name}, "
        f"light {lights}, finish {finishes}, {working.tier} conditions"
    )
    like = working.like
    if like is None:
        return [first, "noise, blur and light as the conditions have them (--like takes a photo)"]
    blur = "?" if like.blur_px is None else f"{like.blur_px:.2f} px"
    contrast = "?" if like.contrast is None else f"{like.contrast:.0%}"
    file = "lossless" if like.jpeg_quality is None else f"JPEG {like.jpeg_quality}"
    stated = "" if like.tone_stated else ", assumed"
    second = (
        f"like the photo: noise {like.noise.at(like.exposure):.2%} of full scale at its median "
        f"light of {like.exposure:.0%}, blur {blur}, contrast at the rim {contrast}, "
        f"{like.bits} bit {file}, tone {like.tone}{stated}"
    )
    return [first, second]


def _row(cell: Cell, test: TestCondition) -> str:
    hard, soft = _hbw(cell, test)
    bias = "-" if cell.bias_rel is None else f"{100 * cell.bias_rel:+.3f}"
    if cell.u_bias_rel is not None:
        bias += f" ± {100 * cell.u_bias_rel:.3f}"
    scatter, within, U = (
        "-" if value is None else f"{100 * value:.3f}"
        for value in (cell.scatter_rel, cell.error_95_rel, cell.U_rel)
    )
    holds = "-" if cell.coverage is None else f"{cell.coverage:.1%}"
    return (
        f"{cell.low_mm:6.3f}-{cell.high_mm:6.3f}  {soft:4.0f}-{hard:4.0f}  {cell.photos:6d}  "
        f"{cell.refused_share:7.1%}  {bias:>15}  {scatter:>7}  {within:>11}  {U:>8}  {holds:>7}"
    )
