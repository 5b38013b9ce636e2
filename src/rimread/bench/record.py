"""Readings of the bench as ledger entries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from rimread.bench.correction import Correction
from rimread.bench.eye import Eye
from rimread.bench.folder import Shot
from rimread.bench.pending import Pending, UndecidedError, Use
from rimread.bench.series import Decision
from rimread.budget import budget_json
from rimread.check import checks_json
from rimread.hardness import TestCondition
from rimread.ledger import Draft, Entry, Ledger
from rimread.ledger import record as ledger_record
from rimread.reading import Reading
from rimread.refusal import Refusal

__all__ = [
    "blind_record",
    "corrected_record",
    "image_record",
    "is_done",
    "withdraw",
    "write_correction",
    "write_image",
]

_AGAIN: Final[Mapping[Decision, str]] = {
    "accepted": "accept it again",
    "rejected": "reject it again",
    "corrected": "correct it again",
    "refused": "put it aside",
}
"""What a person does to finish a decision that was cut short."""


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
        "tone": image.get("tone"),  # older entries do not say it
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


# -- written ------------------------------------------------------------------------------------


def is_done(ledger: Ledger, name: str, decision: Decision, reason: str = "") -> bool:
    """Whether a picture of this name has been decided on just like this.

    Raises
    ------
    UndecidedError
        If another decision was taken, or the same for another reason: what was asked for is not
        in the ledger.
    """
    image = ledger.latest([_task(name)]).get(_task(name))
    if image is None:
        return False
    followed = _followed(ledger, image)
    given = followed[1].draft.reason if len(followed) > 1 else ""
    if image.record["decision"] == decision and (not reason or reason == given):
        return True
    raise UndecidedError(_decided(followed))


def _followed(ledger: Ledger, entry: Entry) -> list[Entry]:
    """An entry and what replaced it in turn."""
    found = [entry]
    while (later := ledger.replaced_by(found[-1].number)) is not None:
        found.append(ledger.entry(later))
    return found


def _decided(followed: Sequence[Entry]) -> str:
    """What was decided on a picture, and what a person does who wants something else."""
    image, last = followed[0], followed[-1]
    stored, photo = image.record["decision"], image.record["photo"]
    already = f"this picture was already {stored} (entry {image.number})"
    anew = f"it does not count; to measure it anew open its photo, {photo}"
    if last.draft.kind == "withdrawal":
        since = "" if stored == "rejected" else " and withdrawn since"
        return f"{already}{since}, {last.draft.reason!r}: {anew}"
    if last is image and stored != "accepted":  # refused, or a decision that was cut short
        return f"{already}: {anew}"
    return (
        f"{already}: to take that back, withdraw its indent in the list of the series, or entry "
        f"{last.number} with rimread ledger withdraw; then open its photo again, {photo}"
    )


def write_image(
    ledger: Ledger,
    pending: Pending,
    decision: Decision,
    *,
    series: Mapping[str, Any],
    operator: str,
) -> int:
    """Write a decided picture, own readings with it; a repeated request writes nothing twice.

    Returns
    -------
    int
        Number of the entry.

    Raises
    ------
    UndecidedError
        If the ledger has the picture with another decision.
    """
    task = _task(pending.id)
    body = image_record(pending.shot, pending.result, pending.use, series=series, decision=decision)
    drafts = [Draft("image", body, operator=operator, task=task, attempt=1)]
    if pending.blind is not None:
        drafts.append(
            Draft("hand", pending.blind, operator=operator, task=f"{task} blind", attempt=1)
        )
    ledger.append(drafts)
    entry = ledger.latest([task])[task]
    stored = entry.record["decision"]
    if stored != decision:  # of an earlier try that was cut short
        raise UndecidedError(f"the record has this picture as {stored} already: {_AGAIN[stored]}")
    return entry.number


def write_correction(
    ledger: Ledger,
    name: str,
    number: int,
    found: Correction,
    *,
    test: TestCondition,
    operator: str,
    reason: str,
) -> None:
    """Write a person's rim that replaces the entry of a picture."""
    draft = Draft(
        "hand",
        corrected_record(ledger.entry(number).record, found, test),
        operator=operator,
        replaces=number,
        reason=reason,
        task=f"{_task(name)} correction",
        attempt=1,
    )
    ledger.append([draft])


def withdraw(ledger: Ledger, number: int, *, operator: str, reason: str) -> None:
    """Write that an entry does not count."""
    body = {"photo": ledger.entry(number).record.get("photo")}
    ledger.append([Draft("withdrawal", body, operator=operator, replaces=number, reason=reason)])


def _task(name: str) -> str:
    """Name under which a picture is written once."""
    return f"bench {name}"
