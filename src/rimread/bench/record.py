"""Readings of the bench as ledger entries, and series read back from them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from rimread.bench.correction import Correction
from rimread.bench.eye import Eye
from rimread.bench.folder import Shot
from rimread.budget import Component, combine
from rimread.hardness import Indent, TestCondition
from rimread.ledger import Draft, Entry, Filter, Ledger
from rimread.ledger import record as ledger_record
from rimread.reading import Reading
from rimread.refusal import Refusal
from rimread.report.certificate import ByEye
from rimread.scale import Scale

__all__ = ["Decision", "Line", "blind_record", "corrected_record", "image_record", "lines_of"]

Decision = Literal["accepted", "rejected", "corrected", "refused"]

_COMMON = frozenset({"pixel scale", "aspect", "distortion", "tilt", "edge width"})
"""Components whose error is the same in every indent of a series."""


@dataclass(frozen=True, slots=True)
class Use:
    """What a picture is measured with: test, scale, and the scale's file in the folder."""

    test: TestCondition
    scale: Scale
    scale_file: str


@dataclass(frozen=True, slots=True)
class Line:
    """One indent of a series as the page lists it.

    Parameters
    ----------
    entry : int
        Its number in the ledger.
    decision : {"accepted", "rejected", "corrected", "refused"}
        What became of it.
    record : mapping
        What the ledger holds.
    counts : bool
        Whether it goes into the mean.
    reason : str
        Of a rejection or correction.
    """

    entry: int
    decision: Decision
    record: Mapping[str, Any]
    counts: bool
    reason: str = ""


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
        "budget_mm": [
            {
                "name": part.name,
                "u_mm": part.u,
                "dof": part.dof if math.isfinite(part.dof) else None,
                "how": part.how,
            }
            for part in found.budget.components
        ],
        "checks": [
            {"code": c.code, "outcome": c.outcome, "message": c.message, "source": c.source}
            for c in found.checks
        ],
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


def lines_of(ledger: Ledger, series: str, since: date) -> list[Line]:
    """Lines of a series in the order of its pictures, corrections in the place of what they mend.

    Parameters
    ----------
    ledger : Ledger
        Where it is kept.
    series : str
        Its name.
    since : datetime.date
        Day (UTC) it was begun, so that not all of the ledger is read.
    """
    lines: dict[int, Line] = {}
    for entry in ledger.entries(Filter(since=since)):
        draft, record = entry.draft, entry.record
        if draft.kind == "withdrawal" and draft.replaces in lines:
            old = lines[draft.replaces]
            lines[draft.replaces] = Line(
                old.entry, "rejected", old.record, counts=False, reason=draft.reason
            )
        elif _of(record) == series and not record.get("blind"):
            place = draft.replaces if draft.replaces in lines else entry.number
            lines[place] = _line(entry)  # a dict keeps the place of the first
    return list(lines.values())


def eyes_of(ledger: Ledger, series: str, since: date) -> list[ByEye]:
    """Readings by eye of a series."""
    which = Filter(kind="hand", since=since, current=True)
    return [
        ByEye(r["photo"], entry.draft.operator, r["d1_mm"], r["d2_mm"])
        for entry in ledger.entries(which)
        if _of(r := entry.record) == series and r.get("blind")
    ]


def _line(entry: Entry) -> Line:
    record = entry.record
    decision: Decision = record.get("decision", "accepted")
    hand = entry.draft.kind == "hand"
    counts = decision == "accepted" or (decision == "corrected" and hand)
    return Line(entry.number, decision, record, counts=counts, reason=entry.draft.reason)


def _of(record: Mapping[str, Any]) -> object:
    told = record.get("series")
    return told.get("id") if isinstance(told, dict) else None


def indents_of(lines: Iterable[Line]) -> list[Indent]:
    """Indents of the lines that count, with budgets that know what is common to all."""
    found = []
    for line in lines:
        if not line.counts:
            continue
        record = line.record
        budget = combine(
            Component(
                part["name"],
                part["u_mm"],
                math.inf if part["dof"] is None else part["dof"],
                part["how"],
                common=part["name"] in _COMMON,
            )
            for part in record["budget_mm"]
        )
        found.append(Indent(record["d1_mm"], record["d2_mm"], budget, record["photo"]))
    return found


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
