"""Errors of measured diameters against truth over a folder of renderings, by tier.

    python tests/accuracy/renderings.py [FOLDER] [--each]

FOLDER holds ``indents`` and ``stage``, a JSON file with the truth beside each picture. Without it
the repository's own ``sample_images`` and ``calibration`` are measured. The scale of each scope
comes from its horizontal and vertical stage picture with the certified length, U = 1e-4 of it,
k = 2; the true px/mm is not looked at.
"""

from __future__ import annotations

import argparse
import csv
import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import cv2
from errors import FOOT, HEAD, Outcome, each, figures, line, ordered, refusals

from rimread.hardness import TestCondition
from rimread.photo import read_photo
from rimread.reading import measure_photo
from rimread.refusal import Refusal
from rimread.scale import Certificate, Scale, calibrate

ROOT = Path(__file__).parents[2]
DAY = date(2026, 1, 1)
ALL = "all readable"


@dataclass(frozen=True)
class Stage:
    """One stage-micrometer picture."""

    path: Path
    division_mm: float
    nominal_mm: float
    certified_mm: float


@dataclass(frozen=True)
class Picture:
    """One indent picture with its truth; nan for one that must be refused."""

    path: Path
    scope: str
    group: str
    readable: bool
    test: TestCondition
    true_mm: float


def stages(folder: Path | None) -> dict[str, list[Stage]]:
    """Horizontal and vertical stage picture of each scope."""
    found: dict[str, list[Stage]] = {}
    rows: list[tuple[Path, str, dict[str, object]]]
    if folder is None:
        with (ROOT / "calibration" / "truth.csv").open(encoding="utf-8", newline="") as file:
            rows = [
                (ROOT / "calibration" / row["photo"], row["photo"].split("-")[0], dict(row))
                for row in csv.DictReader(file)
            ]
        certified = "certified_mm"
    else:
        told = [
            json.loads(path.read_text(encoding="utf-8"))
            for path in sorted((folder / "stage").glob("*.json"))
        ]
        rows = [(folder / "stage" / row["file"], row["scope"], row) for row in told]
        certified = "certified_length_mm"
    for path, scope, row in rows:
        if path.stem.endswith(("horizontal", "vertical")):
            lengths = (float(str(row[k])) for k in ("division_mm", "length_mm", certified))
            found.setdefault(scope, []).append(Stage(path, *lengths))
    return found


def scale_of(pictures: list[Stage]) -> Scale:
    """The scale of one scope."""
    first = pictures[0]
    result = calibrate(
        [read_photo(p.path) for p in pictures],
        division_mm=first.division_mm,
        certificate=Certificate(
            nominal_mm=first.nominal_mm,
            certified_mm=first.certified_mm,
            U_mm=1e-4 * first.certified_mm,
        ),
        calibrated_on=DAY,
    )
    if isinstance(result, Refusal):
        names = ", ".join(p.path.name for p in pictures)
        raise SystemExit(f"no scale from {names}: {result.message}")
    return result


def indents(folder: Path | None) -> list[Picture]:
    """Indent pictures of a folder, or of the repository."""
    if folder is not None:
        paths = sorted((folder / "indents").glob("*.json"))
        return [_from_json(path) for path in paths]
    with (ROOT / "sample_images" / "truth.csv").open(encoding="utf-8", newline="") as file:
        return [_from_row(row) for row in csv.DictReader(file)]


def _from_json(path: Path) -> Picture:
    told = json.loads(path.read_text(encoding="utf-8"))
    readable = told["tier"] != "refuse"
    truth = told["truth"][0] if readable else {"d1_mm": float("nan"), "d2_mm": float("nan")}
    return Picture(
        path=path.with_name(told["file"]),
        scope=told["scope"],
        group=told["tier"],
        readable=readable,
        test=TestCondition(told["ball_mm"], told["force_kgf"]),
        true_mm=(truth["d1_mm"] + truth["d2_mm"]) / 2,
    )


def _from_row(row: dict[str, str]) -> Picture:
    readable = row["expect"] == "measured"
    ball, force = row["test"].split("/")[:2]
    return Picture(
        path=ROOT / "sample_images" / row["photo"],
        scope=row["photo"].split("-")[0],
        group="sample" if readable else "refuse",
        readable=readable,
        test=TestCondition(float(ball), float(force)),
        true_mm=(float(row["d1_mm"]) + float(row["d2_mm"])) / 2 if readable else float("nan"),
    )


def measured(picture: Picture, scale: Scale) -> Outcome:
    """One picture through the whole chain."""
    result = measure_photo(read_photo(picture.path), scale, picture.test, on=DAY)
    told = (picture.path.stem, picture.group, picture.readable, picture.true_mm)
    if isinstance(result, Refusal):
        return Outcome(*told, code=result.code)
    found = result.diameters
    return Outcome(*told, code="measured", mean_mm=found.mean_mm, U_mm=found.budget.U)


def outcomes(folder: Path | None = None) -> list[Outcome]:
    """Every indent picture of a folder, measured with the scales of its scopes."""
    scales = {scope: scale_of(pictures) for scope, pictures in stages(folder).items()}
    return [measured(picture, scales[picture.scope]) for picture in indents(folder)]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, metavar="FOLDER")
    parser.add_argument("--each", action="store_true", help="one line a picture as well")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    found = outcomes(asked.folder)
    if asked.each:
        print("\n".join(each(found)), end="\n\n")
    print(HEAD)
    for group in ordered(o.group for o in found if o.readable):
        print(line(group, figures(o for o in found if o.group == group)))
    print(line(ALL, figures(found)))
    print("\n".join(["", *refusals(found), "", FOOT]))


if __name__ == "__main__":
    main()
