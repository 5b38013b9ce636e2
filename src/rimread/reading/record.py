"""A reading as plain values, for other programs and for the ledger."""

from __future__ import annotations

import math
from dataclasses import astuple
from typing import Any

from rimread.budget import budget_json
from rimread.check import checks_json
from rimread.reading.model import Reading
from rimread.refusal import Refusal

__all__ = ["printable", "reading_json"]


def printable(name: str) -> str:
    r"""A file name that every file format, database and console takes.

    On Linux a name may be bytes that are no UTF-8; those show as ``\udcfc``.
    """
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


def reading_json(name: str, sha256: str | None, result: Reading | Refusal) -> dict[str, Any]:
    """Record of one photo as plain values; the keys are the same for a refusal, absent ones None.

    Parameters
    ----------
    name : str
        The photo as the user named it.
    sha256 : str or None
        Hash of its bytes, None when it could not be read.
    result : Reading or Refusal
        What came of it.
    """
    record: dict[str, Any] = {"photo": printable(name), "sha256": sha256}
    if isinstance(result, Refusal):
        record |= dict.fromkeys(_KEYS) | {
            "status": "refused",
            "checks": [],
            "reasons": [
                {
                    "code": result.code,
                    "message": result.message,
                    "evidence": {key: _plain(value) for key, value in result.evidence.items()},
                }
            ],
            "indent": result.evidence.get("indent"),
            "indents": result.evidence.get("indents"),
        }
        return record
    return record | _measured(result)


def _measured(reading: Reading) -> dict[str, Any]:
    found, hardness = reading.diameters, reading.hardness
    x_px, y_px = found.centre_px
    values: tuple[object, ...] = (
        *("measured", found.d1_mm, found.d2_mm, found.mean_mm, found.budget.U, found.budget.k),
        *(found.width_mm, found.height_mm, x_px, y_px, found.angle_deg, reading.rim.coverage),
        *(hardness.hbw, hardness.budget.U, hardness.designation),
        checks_json(reading.checks),
        [],
        *(found.U_d1_mm, found.U_d2_mm, hardness.budget.k, hardness.covers),
        *(reading.test.name, budget_json(found.budget, "mm")),
        *(reading.scale_label, reading.scale_sha256, reading.version, reading.tone),
        *((None,) * 4 if reading.place is None else astuple(reading.place)),
    )
    return dict(zip(_KEYS, map(_plain, values), strict=True))


_KEYS = (
    *("status", "d1_mm", "d2_mm", "mean_mm", "U_mean_mm", "k"),
    *("width_mm", "height_mm", "centre_x_px", "centre_y_px", "angle_deg", "coverage"),
    *("hbw", "U_hbw", "designation", "checks", "reasons"),
    *("U_d1_mm", "U_d2_mm", "k_hbw", "U_hbw_covers", "test", "budget_mm"),
    *("scale_label", "scale_sha256", "version", "tone"),
    *("indent", "indents", "spacing_mm", "rim_to_rim_mm"),
)


def _plain(value: object) -> object:
    """Numbers as JSON has them: numpy scalars made plain, what is not finite made None."""
    if isinstance(value, int | str | list | dict) or value is None:
        return value
    number = float(value)  # type: ignore[arg-type]  # every other field is a number
    return number if math.isfinite(number) else None
