"""Results as the page shows them: plain values, numbers already in the digits that count."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rimread.bench.blocks import expired, verified
from rimread.bench.correction import Correction
from rimread.bench.folder import Folder
from rimread.bench.pending import Pending
from rimread.bench.series import Line, indents_of
from rimread.budget import Budget, combine, in_step
from rimread.check import Check, checks_json
from rimread.diameters import Diameters
from rimread.hardness import (
    Series,
    TestCondition,
    from_parts,
    reading_components,
    rounded,
    series_checks,
    series_from_indents,
)
from rimread.reading import Reading
from rimread.reading.checks import taken_twice
from rimread.refusal import Refusal
from rimread.scale import Scale

__all__ = ["blocks", "correction", "pending", "scale", "scales", "series", "verification"]

_SEEN_AT = ("centre_x_px", "centre_y_px", "mean_mm")


def pending(waiting: Pending) -> dict[str, Any]:
    """A picture that waits for a decision; without numbers while own readings are due."""
    shown = {
        "id": waiting.id,
        "label": waiting.shot.label,
        "path": waiting.shot.path,
        "sha256": waiting.shot.photo.sha256,
        "width_px": waiting.shot.photo.width_px,
        "height_px": waiting.shot.photo.height_px,
        "blind_due": waiting.blind_due,
        "note": waiting.note,
    }
    if waiting.blind_due:
        return shown
    if isinstance(waiting.result, Refusal):
        code, message = waiting.result.code, waiting.result.message
        return {**shown, "status": "refused", "code": code, "message": message}
    return {
        **shown,
        "status": "measured",
        **_reading(waiting.result, waiting.use.scale, waiting.blind),
    }


def _reading(reading: Reading, scale: Scale, blind: Mapping[str, Any] | None) -> dict[str, Any]:
    found, rim = reading.diameters, reading.rim
    a, b = rim.semi_axes_px
    return {
        **_numbers(found, found.budget, reading.hbw, reading.U_hbw),
        "designation": reading.designation,
        "covers": reading.hardness.covers,
        "failed": reading.failed,
        "checks": checks(reading.checks),
        "budget": _budget(found.budget, found.mean_mm),
        "outline_px": _points(found.outline_px),
        "used_px": _points(rim.points_px[rim.used]),
        "left_out_px": _points(rim.points_px[~rim.used]),
        "d1_px": _ends(found, scale, 0.0, found.d1_mm),
        "d2_px": _ends(found, scale, 90.0, found.d2_mm),
        "ellipse": {
            "x_px": rim.centre_px[0],
            "y_px": rim.centre_px[1],
            "long_px": 2 * a,
            "short_px": 2 * b,
            "angle_deg": rim.angle_deg,
        },
        "eye": None if blind is None else _against_eye(reading, blind),
    }


def _numbers(
    found: Diameters | Correction, budget: Budget, hbw: float, U_hbw: float
) -> dict[str, Any]:
    mean, U = in_step(found.mean_mm, budget.U)
    return {
        "hbw": rounded(hbw),
        "U_hbw": in_step(hbw, U_hbw)[1],
        "d1_mm": in_step(found.d1_mm, budget.U)[0],
        "d2_mm": in_step(found.d2_mm, budget.U)[0],
        "mean_mm": mean,
        "U_mm": U,
        "U_rel": f"{budget.U / found.mean_mm:.2%}",
        "k": f"{budget.k:.2f}",
    }


def _against_eye(reading: Reading, blind: Mapping[str, Any]) -> dict[str, Any]:
    """A person's two diameters beside the image's at the angles the person read at."""
    angle = blind["angle_deg"]
    rows = []
    for word, key, turn in (("first", "d1_mm", 0.0), ("second", "d2_mm", 90.0)):
        image = reading.diameters.at_angle(angle + turn)
        rows.append(
            {
                "which": f"{word}, at {angle + turn:g}°",
                "eye_mm": f"{blind[key]:.3f}",
                "image_mm": f"{image:.4f}",
                "difference_mm": f"{blind[key] - image:+.3f}",
                "difference_rel": f"{blind[key] / image - 1:+.2%}",
            }
        )
    return {
        "rows": rows,
        "hbw": rounded(blind["hbw"]),
        "difference_hbw": f"{blind['hbw'] - reading.hbw:+.1f}",
    }


def correction(found: Correction | Refusal) -> dict[str, Any]:
    """A person's rim as the page shows it before it is written."""
    if isinstance(found, Refusal):
        return {"status": "refused", "code": found.code, "message": found.message}
    return {
        "status": "measured",
        **_numbers(found, found.budget, found.hardness.hbw, found.hardness.budget.U),
        "designation": found.hardness.designation,
        "checks": checks(found.checks),
        "budget": _budget(found.budget, found.mean_mm),
        "outline_px": _points(found.outline_px),
    }


def checks(found: Iterable[Check]) -> list[dict[str, str]]:
    """Checks, those that did not pass first."""
    order = {"fail": 0, "warn": 1, "pass": 2}
    return checks_json(sorted(found, key=lambda check: order[check.outcome]))


def _budget(budget: Budget, mean_mm: float) -> dict[str, Any]:
    rows = [
        {
            "name": part.name,
            "u_um": f"{1000 * part.u:.2f}",
            "share": f"{(part.u / budget.u) ** 2:.0%}",
            "how": part.how,
        }
        for part in budget.components
    ]
    dof = "many" if math.isinf(budget.dof) else f"{budget.dof:.0f}"
    total = (
        f"combined u {1000 * budget.u:.2f} µm with {dof} degrees of freedom; "
        f"U = {budget.k:.2f} × u = {1000 * budget.U:.2f} µm = {budget.U / mean_mm:.2%} of d"
    )
    return {"rows": rows, "total": total}


def _points(points: NDArray[np.floating]) -> list[list[float]]:
    return [[round(float(x), 2), round(float(y), 2)] for x, y in points]


def _ends(found: Diameters, scale: Scale, turn_deg: float, length_mm: float) -> list[list[float]]:
    """End points of a diameter in the photo."""
    t = math.radians(found.angle_deg + turn_deg)
    half = 0.5 * length_mm * np.array([math.cos(t), math.sin(t)])
    centre = np.asarray(found.centre_mm)
    return _points(scale.px_from_mm(np.stack([centre - half, centre + half])))


# -- series and blocks ----------------------------------------------------------------------------


def series(
    about: Mapping[str, Any], lines: Sequence[Line], test: TestCondition | None, rules: str
) -> dict[str, Any]:
    """A series with its running mean and spread; no test where none is known yet."""
    shown: dict[str, Any] = {
        **about,
        "test": "test not known" if test is None else test.name,
        "lines": [_line(number, line) for number, line in enumerate(lines, start=1)],
        "mean": None,
    }
    indents = indents_of(lines)
    if test is None or not indents:
        return shown
    whole = series_from_indents(indents, test)
    sd = whole.sd_hbw
    return shown | {
        "mean": rounded(whole.mean_hbw),
        **_of_the_mean(whole, rules),
        "designation": whole.designation,
        "n": len(indents),
        "sd": None if sd is None else f"{sd:.1f}",
        "range": f"{whole.range_hbw:.1f}",
        "range_rel": f"{whole.range_rel_hbw:.1%}",
        "mean_mm": f"{whole.mean_mm:.4f}",
        "checks": checks((*series_checks(whole, rules=rules), *taken_twice(_seen_at(lines)))),
    }


def _of_the_mean(whole: Series, rules: str) -> dict[str, Any]:
    """U beside the mean and what is in it: of one indent its reading's, of more the report's."""
    if len(whole.hbw) == 1:
        budget, covers = combine(reading_components(whole)), "reading of the diameters only"
    else:
        statement = from_parts(whole, rules=rules)
        budget, covers = statement.budget, statement.covers
    return {
        "U_mean": in_step(whole.mean_hbw, budget.U)[1],
        "k_mean": f"{budget.k:.2f}",
        "covers": covers,
    }


def _seen_at(lines: Sequence[Line]) -> dict[int, tuple[float, float, float]]:
    """Centre and size of those that count, by their numbers."""
    seen = {}
    for number, line in enumerate(lines, start=1):
        if line.counts:
            x, y, mean_mm = (line.record[key] for key in _SEEN_AT)
            seen[number] = (x, y, mean_mm)
    return seen


def _line(number: int, line: Line) -> dict[str, Any]:
    record = line.record
    shown = {
        "number": number,
        "entry": line.entry,
        "decision": line.decision,
        "counts": line.counts,
        "reason": line.reason,
        "photo": record.get("photo", ""),
        "warned": [c["code"] for c in record.get("checks", ()) if c["outcome"] != "pass"],
    }
    if record.get("status") != "measured":
        why = (record.get("reasons") or [{"message": ""}])[0]["message"]
        return {**shown, "reason": why}
    U = record["U_mean_mm"]
    return {
        **shown,
        "d1_mm": in_step(record["d1_mm"], U)[0],
        "d2_mm": in_step(record["d2_mm"], U)[0],
        "hbw": rounded(record["hbw"]),
        "U_hbw": in_step(record["hbw"], record["U_hbw"])[1],
    }


def verification(
    lines: Sequence[Line], folder: Folder, serial: str, *, rules: str, today: date
) -> dict[str, Any]:
    """A check on a reference block so far; says why where its certificate judges nothing."""
    try:
        block = folder.block(serial)
        found = verified(lines, block, rules)
    except ValueError as error:
        return {"serial": serial, "status": "unknown", "why": str(error)}
    shown: dict[str, Any] = {
        "serial": block.serial,
        "certified": f"{block.certified_hbw:g} HBW {block.test.name}, U = {block.U_hbw:g}",
        "status": "begun",
        "warning": expired(block, today),
    }
    if found is None:
        return shown
    return shown | {
        "status": "passed" if found.passed else "failed",
        "warning": "",  # the check of its date says it
        "mean": f"{found.series.mean_hbw:.1f}",
        "error": f"{found.error_hbw:+z.1f} HBW ({found.error_rel:+z.2%})",
        "repeatability": f"{found.repeatability_rel:.2%}",
        "checks": checks(found.checks),
    }


def blocks(folder: Folder, today: date) -> list[dict[str, Any]]:
    """Reference blocks, the newest certificate of each."""
    newest = {block.serial: block for block in folder.blocks()}
    return [
        {
            "serial": block.serial,
            "certified": f"{block.certified_hbw:g} HBW {block.test.name}",
            "U": f"{block.U_hbw:g} (k = {block.k:g})",
            "valid_until": None if block.valid_until is None else block.valid_until.isoformat(),
            "warning": expired(block, today),
        }
        for block in newest.values()
    ]


def scales(folder: Folder, today: date) -> list[dict[str, Any]]:
    """Scale files."""
    return [{"file": name, **scale(found, today)} for name, found in folder.scales()]


def scale(found: Scale, today: date) -> dict[str, Any]:
    """A scale in short."""
    u = math.sqrt(found.covariance[0][0])
    per_mm, U = in_step(found.px_per_mm_x, 2 * u)
    return {
        "sha256": found.sha256,
        "label": found.label,
        "px_per_mm": per_mm,
        "U_px_per_mm": U,
        "width_px": found.width_px,
        "height_px": found.height_px,
        "valid_until": found.valid_until.isoformat(),
        "in_date": found.calibrated_on <= today <= found.valid_until,
        "certified": found.certificate is not None,
        "lines": sum(photo.lines_used for photo in found.photos),
        "notes": list(found.notes),
    }
