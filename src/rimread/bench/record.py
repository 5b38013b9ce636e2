"""Readings of the bench as ledger entries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rimread.bench.correction import Correction
from rimread.bench.eye import Eye
from rimread.bench.folder import Shot
from rimread.bench.pending import Use
from rimread.bench.series import Decision
from rimread.budget import budget_json
from rimread.check import checks_json
from rimread.hardness import TestCondition
from rimread.ledger import Draft
from rimread.ledger import record as ledger_record
from rimread.reading import Reading
from rimread.refusal import Refusal

__all__ = ["blind_record", "corrected_record", "drafts_of", "image_record"]


def image_record(
    shot: Shot,
    result: Reading | Refusal,
    use: Use,
    *,
    series: Mapping[str, Any],
    decision: Decision,
) -> dict[str, Any]:
    """What the ledger keeps of a picture, and where it belongs."""
    sha256 = shot.photo.sha256
    return {
        **ledger_record.image_record(
            shot.path,
            sha256,
            result,
            test=use.test,
            scale=use.scale,
            scale_file=use.scale_file,
        ),
        "taken_at": shot.taken_at.isoformat(),
        "series": dict(series),
        "decision": decision,
    }


def corrected_record(
    image: Mapping[str, Any], found: Correction, test: TestCondition
) -> dict[str, Any]:
    """What the ledger keeps of a person's rim: the same keys, with the image's values."""
    kept = (
        *("photo", "sha256", "taken_at", "series"),
        *("scale_label", "scale_sha256", "scale_file", "version"),
    )
    values = ("d1_mm", "d2_mm", "mean_mm", "U_mean_mm", "hbw", "U_hbw", "designation")
    x, y = found.centre_px
    return {
        **{key: image[key] for key in kept},
        "status": "measured",
        "decision": "corrected",
        "d1_mm": found.d1_mm,
        "d2_mm": found.d2_mm,
        "mean_mm": found.mean_mm,
        "U_mean_mm": found.budget.U,
        "k": found.budget.k,
        "width_mm": found.width_mm,
        "height_mm": found.height_mm,
        "centre_x_px": x,
        "centre_y_px": y,
        "angle_deg": found.angle_deg,
        "coverage": None,
        "hbw": found.hardness.hbw,
        "U_hbw": found.hardness.budget.U,
        "k_hbw": found.hardness.budget.k,
        "designation": found.hardness.designation,
        "U_hbw_covers": found.hardness.covers,
        "test": test.name,
        "budget_mm": budget_json(found.budget, "mm"),
        "checks": checks_json(found.checks),
        "reasons": [],
        "correction": {
            "how": found.how,
            "marks_px": [list(mark) for mark in found.marks_px],
            "image": {key: image[key] for key in values},
        },
    }


def blind_record(
    path: str, sha256: str, eye: Eye, *, test: TestCondition, series: Mapping[str, Any]
) -> dict[str, Any]:
    """What the ledger keeps of two diameters read by eye before the image's were shown."""
    first, second = eye.first_mm, eye.second_mm
    return {
        **ledger_record.hand_record(path, sha256, first, second, test=test),
        "angle_deg": eye.angle_deg,
        "blind": True,
        "series": dict(series),
    }


def drafts_of(
    record: Mapping[str, Any], task: str, operator: str, blind: Sequence[Mapping[str, Any]] = ()
) -> list[Draft]:
    """Drafts of a decided picture; the task makes a repeated request write nothing twice."""
    drafts = [Draft("image", record, operator=operator, task=task, attempt=1)]
    for number, reading in enumerate(blind, start=1):
        drafts.append(
            Draft("hand", reading, operator=operator, task=f"{task} blind", attempt=number)
        )
    return drafts
