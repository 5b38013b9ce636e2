"""Whether what the ledger has of a photo still stands: the same picture, the same scale."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

from rimread.archive.fresh import while_unchanged
from rimread.archive.items import Item
from rimread.archive.scales import choose_scale
from rimread.archive.work import NOT_SETTLED, Settings, state_of, why
from rimread.refusal import Refusal

__all__ = ["another_picture", "file_hash", "stands"]


class _Size(NamedTuple):
    width_px: int
    height_px: int


def stands(item: Item, record: Mapping[str, Any], *, how: str, settings: Settings) -> bool:
    """Whether a new try could come to nothing else.

    Parameters
    ----------
    item : Item
        The photo as it is named now.
    record : mapping
        What the ledger has of it.
    how : str
        Hash of all that is said about how to measure it.
    settings : Settings
        Of this run.
    """
    return (
        record.get("how") == how
        and why(record)[0] not in NOT_SETTLED
        and not another_picture(item, record)
        and _same_scale(item, record, settings)
    )


def another_picture(item: Item, record: Mapping[str, Any]) -> bool:
    """Whether the file of this name is another one than was measured.

    One whose size and time of change are the same is not read again. Where there is none now, or it
    cannot be read, nothing speaks against what was measured.
    """
    sha256, state = record.get("sha256"), state_of(item.path)
    if sha256 is None or state is None or state == record.get("file"):
        return False
    return file_hash(item.path) not in (sha256, item.path)


def _same_scale(item: Item, record: Mapping[str, Any], settings: Settings) -> bool:
    """Whether the scale is the one that would be chosen now, be it calibrated again or joined.

    One that is said is part of how a photo is measured. Where none is found now, or several fit,
    the one there was stands, unless it is there and another: a folder of scale files may not be
    there today, and a number is not given up for a file that came later. A photo that moved is
    asked for where it was measured.
    """
    before = record.get("scale_sha256")
    if before is None or item.scale or settings.scale:
        return True
    told = record.get("taken_on")
    chosen = choose_scale(
        _Size(*record.get("size_px", (0, 0))),
        Path(item.path if os.path.exists(item.path) else record.get("path") or item.path),
        label=item.label,
        taken_on=None if told is None else date.fromisoformat(told),
        root=Path(settings.root) if settings.root else None,
        shelf=Path(settings.shelf) if settings.shelf else None,
        since=settings.begun_ns,
    )
    if not isinstance(chosen, Refusal):
        return bool(chosen[1].sha256 == before)
    kept = record.get("scale_file") or ""
    return file_hash(kept) in (before, kept)


@while_unchanged(10_000)
def file_hash(name: str) -> str:
    """Hash of a file's bytes, the name itself when it is none that can be read."""
    try:
        with Path(name).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return name
