"""What an entry holds: the record of an image's or a person's reading."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from rimread import __version__
from rimread.hardness import TestCondition, brinell, designation, too_unequal
from rimread.reading import Reading, printable, reading_json
from rimread.refusal import Refusal
from rimread.scale.model import Scale

__all__ = ["hand_record", "image_record", "series_of"]


def image_record(
    photo: str,
    sha256: str | None,
    result: Reading | Refusal,
    *,
    test: TestCondition | None,
    scale: Scale | None,
    scale_file: str,
) -> dict[str, Any]:
    """Record of one photo, with test, scale and version also where it was refused.

    Parameters
    ----------
    photo, sha256 : str, str or None
        As in `rimread.reading.reading_json`.
    result : Reading or Refusal
        What came of it.
    test, scale : TestCondition or None, Scale or None
        What it was measured with, None when there was none.
    scale_file : str
        Path of the scale file, "" when there was none.
    """
    record = reading_json(photo, sha256, result)
    record["scale_file"] = printable(scale_file) or None
    if test is not None:
        record["test"] = test.name
    if scale is not None:
        record |= {"scale_label": scale.label, "scale_sha256": scale.sha256}
    record["version"] = __version__
    return record


def hand_record(
    photo: str,
    sha256: str | None,
    d1_mm: float,
    d2_mm: float,
    *,
    test: TestCondition,
    trial: int = 1,
    image_entry: int | None = None,
) -> dict[str, Any]:
    """Record of two diameters read by a person; their uncertainty is not known, so none is given.

    Raises
    ------
    ValueError
        If the diameters are no lengths, far from equal, or larger than the ball.
    """
    pair = f"(got {d1_mm:g} and {d2_mm:g} mm)"
    if not (math.isfinite(d1_mm) and math.isfinite(d2_mm) and min(d1_mm, d2_mm) > 0.0):
        raise ValueError(f"diameters read by a person are lengths above 0 mm {pair}")
    if too_unequal(d1_mm, d2_mm):
        raise ValueError(f"the two diameters of an indent are nearly equal and both in mm {pair}")
    mean_mm = (d1_mm + d2_mm) / 2.0
    hbw = brinell(mean_mm, test)
    return {
        "photo": printable(photo),
        "sha256": sha256,
        "status": "measured",
        "d1_mm": d1_mm,
        "d2_mm": d2_mm,
        "mean_mm": mean_mm,
        "hbw": hbw,
        "designation": designation(hbw, test),
        "test": test.name,
        "trial": trial,
        "image_entry": image_entry,
        "version": __version__,
    }


def series_of(record: Mapping[str, Any]) -> object:
    """Id of the bench's series a record belongs to, None where it belongs to none."""
    told = record.get("series")
    return told.get("id") if isinstance(told, dict) else None
