"""Time and memory of a measurement, on one thread.

    python tests/benchmarks/speed.py [FOLDER] [--rounds N]

Simulated photos of about 1.3, 3 and 12 megapixels, saved as JPEG, and every photo of FOLDER are
measured (file to hardness) in turn with ``cv2.imread`` of the same file and with what one would
write first from a general-purpose library: imread, GaussianBlur, HoughCircles (on the picture at
full size and on one reduced to 640 px), Canny, fitEllipse through the edges near the circle; of
FOLDER every sixth photo at full size, as texture keeps HoughCircles busy for minutes. Times are the
shortest of the rounds, in processor time, so that a busy machine does not decide. In turn in one
process they share memory that the others have already been given; a program that only reads
pictures is not, and pays for new pages each time, which on some machines takes as long as the
reading: so imread and rimread are timed once more in a process of their own. Then: peak memory of
``rimread measure`` at 12 megapixels, start-up, and where the time goes.
"""

from __future__ import annotations

import argparse
import cProfile
import json
import math
import os
import pstats
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path

import cv2
import numpy as np

import rimread
from rimread.hardness import TestCondition
from rimread.photo import read_photo
from rimread.reading import measure_photo
from rimread.scale import Scale, ScalePhoto, write_scale
from rimread.simulate import Camera, random_scene, simulate
from rimread.simulate.relief import scale_of

SIZES = ((1280, 1024), (2048, 1536), (4000, 3000))
EACH = 4
TEST = TestCondition(10.0, 3000.0)
DAY = date(2026, 1, 1)
SOURCE = Path(rimread.__file__).parent
NEAR = 0.05
"""Edges within 5 % of the circle's radius go into the general-purpose ellipse."""
SMALL_PX = 640
SLOW_S = 2.0
"""What takes longer is timed once."""
FULL_EACH = 6
"""HoughCircles at full size runs on every sixth photo of FOLDER."""
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
"""Read once, when the libraries are loaded."""
LAUNCH = """
import resource, subprocess, sys
done = subprocess.run(sys.argv[1:], capture_output=True, text=True)
if done.returncode > 1:
    sys.exit(done.stderr)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""
"""A small process between this one and the measured one: a child starts with its parent's peak."""
_SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp")


@dataclass(frozen=True)
class Timed:
    """Shortest times of one photo in seconds; `full` is not a number where it was not taken."""

    path: Path
    megapixels: float
    status: str
    circle: bool
    imread: float
    ours: float
    full: float
    small: float


def simulated(folder: Path) -> list[Path]:
    """JPEG photos of each size."""
    paths = []
    for width, height in SIZES:
        for i in range(EACH):
            rng = np.random.default_rng([width, i])
            tier = ("clean", "shop")[i % 2]
            scene = random_scene(rng, tier=tier, width_px=width, height_px=height)  # type: ignore[arg-type]
            shot = simulate(scene, rng=rng, oversample=1)
            grey = shot.picture if shot.picture.dtype == np.uint8 else shot.picture >> 8
            path = folder / f"{tier}-{width}x{height}-{i}.jpg"
            colour = cv2.cvtColor(
                np.asarray(grey, np.uint8), cv2.COLOR_GRAY2BGR
            )  # as cameras write
            cv2.imwrite(str(path), colour, [cv2.IMWRITE_JPEG_QUALITY, 92])
            paths.append(path)
    return paths


def any_scale(width_px: int, height_px: int) -> Scale:
    """A scale of the photo's size on which no indent is larger than the ball."""
    camera = Camera(
        width_px=width_px, height_px=height_px, px_per_mm=max(width_px, height_px) / 9.0
    )
    stage = ScalePhoto("none.jpg", "0" * 64, angle_deg=0.0, lines_used=50, residual_rms_px=0.05)
    return replace(scale_of(camera), photos=(stage,))


def ours(path: Path) -> str:
    """File to hardness; the status."""
    photo = read_photo(path)
    result = measure_photo(photo, any_scale(photo.width_px, photo.height_px), TEST, on=DAY)
    return "measured" if result else result.code  # type: ignore[union-attr]


def general(path: Path, *, hough_px: float) -> bool:
    """Circle, edges near it, ellipse, with the picture for HoughCircles reduced to `hough_px`."""
    picture = cv2.imread(str(path))
    grey = cv2.GaussianBlur(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), (5, 5), 1.5)
    high, _ = cv2.threshold(grey, 0, 255, cv2.THRESH_OTSU)
    k = min(1.0, hough_px / max(grey.shape))
    small = cv2.resize(grey, None, fx=k, fy=k, interpolation=cv2.INTER_AREA) if k < 1 else grey
    side = min(small.shape)
    circles = cv2.HoughCircles(
        *(small, cv2.HOUGH_GRADIENT, 1.5, side / 2),
        param1=max(high, 2.0),
        param2=30,
        minRadius=side // 12,
        maxRadius=side // 2,
    )
    edges = cv2.Canny(grey, high / 2, high)
    found = np.asarray(circles if circles is not None else []).reshape(-1, 3)
    if not len(found):
        return False
    x, y, r = (float(v) / k for v in found[0])
    points = np.argwhere(edges)[:, ::-1].astype(np.float32)
    near = points[np.abs(np.hypot(points[:, 0] - x, points[:, 1] - y) / r - 1) < NEAR]
    if len(near) < 5:
        return False
    cv2.fitEllipse(near)
    return True


def seconds(work: Callable[[], object]) -> float:
    """Processor time of one call."""
    start = time.process_time()
    work()
    return time.process_time() - start


def timed(path: Path, *, rounds: int, full: bool) -> Timed:
    """All of them in turn, round after round; the first round only warms up."""
    circles: list[bool] = []
    works: tuple[Callable[[], object], ...] = (
        lambda: cv2.imread(str(path)),
        lambda: ours(path),
        lambda: circles.append(general(path, hough_px=SMALL_PX)),
        *([lambda: general(path, hough_px=math.inf)] if full else []),
    )
    first = [seconds(work) for work in works]
    table = np.array(
        [
            [
                told if told > SLOW_S else seconds(work)
                for work, told in zip(works, first, strict=True)
            ]
            for _ in range(rounds)
        ]
    )
    imread, own, small, *whole = (float(v) for v in table.min(axis=0))
    height, width = cv2.imread(str(path)).shape[:2]
    return Timed(
        path=path,
        megapixels=width * height / 1e6,
        status=ours(path),
        circle=circles[0],
        imread=imread,
        ours=own,
        full=whole[0] if whole else math.nan,
        small=small,
    )


def alone(work: str, paths: Sequence[Path], *, rounds: int) -> list[float]:
    """Times of one kind of work on each photo in a process that does nothing else."""
    words = (__file__, "--alone", work, "--rounds", str(rounds), *map(str, paths))
    done = subprocess.run([sys.executable, *words], capture_output=True, text=True, check=True)
    return [float(time) for time in json.loads(done.stdout)]


def shortest(work: str, paths: Sequence[Path], *, rounds: int) -> list[float]:
    """What `alone` runs there."""
    call = ours if work == "rimread" else lambda path: cv2.imread(str(path))
    return [min(seconds(partial(call, path)) for _ in range(rounds + 1)) for path in paths]


def report_alone(paths: Sequence[Path], *, rounds: int) -> None:
    """Print ratios of the two, each in a process of its own, by size."""
    imread, own = (alone(work, paths, rounds=rounds) for work in ("imread", "rimread"))
    print("\neach in a process of its own    imread  rimread   ratio, medians")
    for size in SIZES:
        of_size = [i for i, path in enumerate(paths) if f"{size[0]}x{size[1]}" in path.name]
        read, whole = (statistics.median(times[i] for i in of_size) for times in (imread, own))
        print(f"  {size[0]}x{size[1]:<22}{1e3 * read:9.2f}{1e3 * whole:9.2f}{whole / read:8.2f}")


def ratios(rows: Sequence[Timed]) -> str:
    """Least, middle and largest ratio to the others."""
    told = []
    for other in ("imread", "full", "small"):
        all_of_it = [row.ours / getattr(row, other) for row in rows]
        some = [ratio for ratio in all_of_it if not math.isnan(ratio)] or [math.nan]
        told.append(f"{min(some):6.2f}{statistics.median(some):6.2f}{max(some):6.2f}")
    return "  ".join(told)


def by_megapixels(rows: Sequence[Timed]) -> dict[str, list[Timed]]:
    """Rows of about one size."""
    groups: dict[str, list[Timed]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: row.megapixels):
        groups[f"{row.megapixels:.1f} megapixels"].append(row)
    return dict(groups)


def command() -> str:
    """The program as installed beside this Python."""
    found = shutil.which("rimread", path=str(Path(sys.executable).parent)) or shutil.which(
        "rimread"
    )
    if found is None:
        raise SystemExit("rimread is not installed")
    return found


def peak_mb(path: Path, folder: Path) -> float | None:
    """Peak memory in MB of ``rimread measure``; None where the system does not tell."""
    if sys.platform == "win32":
        return None
    height, width = cv2.imread(str(path)).shape[:2]
    write_scale(any_scale(width, height), folder / "scale.toml")
    words = ("measure", str(path), "--scale", str(folder / "scale.toml"), "--test", "10/3000")
    launched = (sys.executable, "-c", LAUNCH, command(), *words)
    done = subprocess.run(launched, capture_output=True, text=True, check=True)
    return int(done.stdout) / (1e6 if sys.platform == "darwin" else 1e6 / 1024)


def start_up() -> float:
    """Shortest time of ``rimread --help`` in seconds, as a person waits for it."""
    times = []
    for _ in range(7):
        start = time.perf_counter()
        subprocess.run([command(), "--help"], capture_output=True, check=True)
        times.append(time.perf_counter() - start)
    return min(times)


def profile(paths: Sequence[Path]) -> tuple[dict[str, float], list[tuple[str, float]]]:
    """Shares of the time by module of this program, and its functions that take longest.

    Time inside other libraries is charged to the function of this program that called them.
    """
    for path in paths:
        ours(path)
    watch = cProfile.Profile()
    watch.enable()
    for path in paths:
        ours(path)
    watch.disable()
    stats = pstats.Stats(watch).stats  # type: ignore[attr-defined]
    total = sum(entry[2] for entry in stats.values())
    modules: dict[str, float] = defaultdict(float)
    functions: dict[str, float] = defaultdict(float)
    for key, entry in stats.items():
        for owner, share in _owners(key, stats, depth=12).items():
            modules[_module(owner)] += entry[2] * share / total
            functions[f"{_module(owner)}.{owner[2]}"] += entry[2] * share / total
    longest = sorted(functions.items(), key=lambda item: -item[1])
    return dict(sorted(modules.items(), key=lambda item: -item[1])), longest


_Key = tuple[str, int, str]


def _module(key: _Key) -> str:
    path = Path(key[0])
    if not path.is_relative_to(SOURCE):
        return "rest"
    return ".".join(path.relative_to(SOURCE).with_suffix("").parts)


def _owners(key: _Key, stats: dict[_Key, tuple], *, depth: int) -> dict[_Key, float]:  # type: ignore[type-arg]
    """Functions of this program that a function's own time belongs to, with their shares."""
    if Path(key[0]).is_relative_to(SOURCE) or not depth:
        return {key: 1.0}
    callers = stats[key][4]
    whole = sum(told[2] for told in callers.values())
    if not whole:
        return {key: 1.0}
    owners: dict[_Key, float] = defaultdict(float)
    for caller, told in callers.items():
        for owner, share in _owners(caller, stats, depth=depth - 1).items():
            owners[owner] += share * told[2] / whole
    return owners


def report(rows: Sequence[Timed]) -> None:
    """Print the times of each photo, then the ratios by size."""
    head = f"{'':24}{'imread':>9}{'rimread':>9}{'general':>9}{'reduced':>9}"
    print(f"{head}   ms, shortest; general found a circle; status")
    for row in rows:
        times = "".join(f"{1e3 * t:9.2f}" for t in (row.imread, row.ours, row.full, row.small))
        print(f"{row.path.name:24}{times}   {'circle' if row.circle else '-':8}{row.status}")
    print(f"\n{'rimread over':24}{'imread':>18}  {'general':>18}  {'reduced':>18}")
    print(f"{'':24}" + "  ".join([f"{'min':>6}{'med':>6}{'max':>6}"] * 3))
    groups = by_megapixels(rows)
    for name, some in (groups | {"all": list(rows)}).items():
        print(f"{name:20}{len(some):4}{ratios(some)}")
    measured = [row for row in rows if row.status == "measured"]
    if measured:
        print(f"{'all measured':20}{len(measured):4}{ratios(measured)}")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("given", nargs="*", type=Path, metavar="FOLDER")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--alone", choices=("imread", "rimread"), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if not ONE_THREAD.items() <= os.environ.items():
        again = subprocess.run(
            [sys.executable, *sys.argv], env=os.environ | ONE_THREAD, check=False
        )
        raise SystemExit(again.returncode)
    cv2.setNumThreads(1)
    if asked.alone:
        print(json.dumps(shortest(asked.alone, asked.given, rounds=asked.rounds)))
        return
    given = sorted(path for folder in asked.given for path in folder.iterdir())
    given = [path for path in given if path.suffix.lower() in _SUFFIXES]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        paths = simulated(folder)
        report(
            [
                *(timed(path, rounds=asked.rounds, full=True) for path in paths),
                *(
                    timed(path, rounds=asked.rounds, full=i % FULL_EACH == 0)
                    for i, path in enumerate(given)
                ),
            ]
        )
        report_alone(paths, rounds=asked.rounds)
        memory = peak_mb(paths[-1], folder)
        told = "not told by this system" if memory is None else f"{memory:.0f} MB"
        print(f"\npeak memory of rimread measure at 12 megapixels: {told} (target 400 MB)")
        print(f"rimread --help: {start_up():.2f} s (target 0.3 s)")
        for size in (paths[:EACH], paths[-EACH:]):
            modules, functions = profile(size)
            print(f"\nwhere the time goes, {size[0].name.split('-')[1]} pixels")
            print("  " + ", ".join(f"{k} {v:.0%}" for k, v in modules.items() if v > 0.01))
            for function, share in functions[:12]:
                print(f"    {share:6.1%}  {function}")


if __name__ == "__main__":
    main()
