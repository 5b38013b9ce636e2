"""The work on one photo, done in any process on any computer that sees the files."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
from PIL import ExifTags, Image

from rimread.archive.fresh import while_unchanged
from rimread.archive.items import Item
from rimread.archive.scales import choose_scale
from rimread.hardness import TestCondition, parse_test
from rimread.hardness.rules import rules_from
from rimread.ledger.record import image_record
from rimread.photo import DAMAGED, Photo, PhotoError, Tone, read_photo
from rimread.reading import Reading, measure_photo, printable
from rimread.refusal import Refusal
from rimread.scale.model import Scale

__all__ = ["NOT_SETTLED", "Settings", "measure_item", "refused", "state_of", "why"]

NOT_SETTLED = frozenset(
    {
        "unreadable",
        "photo-changed",
        "photo-size",
        "scale-missing",
        "scale-ambiguous",
        "scale-unreadable",
        "test-missing",
        "test-unclear",
        "process-ended",
        "program-fault",
    }
)
"""Refusals that do not lie in the picture: such a photo is tried again at the next start."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What holds for all photos of an archive; small, it goes along with each photo.

    Parameters
    ----------
    test, scale : str
        For photos whose own is not said.
    root, shelf : str
        Folder the search for scale files ends at, and folder of scale files; "" for none.
    rules : str
        Name or file of the rule set.
    tone : {"srgb", "linear"} or None
        Of the camera.
    taken_on : datetime.date or None
        For photos whose day neither manifest nor photo says.
    begun_ns : int
        When this run began; processes of a cluster that worked for another list folders anew.
    """

    test: str = ""
    scale: str = ""
    root: str = ""
    shelf: str = ""
    rules: str = "iso"
    tone: Tone | None = None
    taken_on: date | None = None
    begun_ns: int = field(default_factory=time.time_ns)


def measure_item(item: Item, settings: Settings) -> dict[str, Any]:
    """Measure one photo and give its record; all that can be wrong with it is a refusal in it."""
    cv2.setNumThreads(1)  # one process a core does more than threads that wait for each other
    state = state_of(item.path)
    try:
        photo = read_photo(Path(item.path), tone=settings.tone)
    except PhotoError as error:
        return refused(item, settings, Refusal("unreadable", str(error)))
    size_px = [photo.width_px, photo.height_px]
    return _measured(item, photo, settings) | {"file": state, "size_px": size_px}


def _measured(item: Item, photo: Photo, settings: Settings) -> dict[str, Any]:
    if item.sha256 and photo.sha256 != item.sha256:
        return _record(item, photo, _changed(item, photo), None, None, "")
    test = _test(item.test or settings.test)
    if isinstance(test, Refusal):
        return _record(item, photo, test, None, None, "")
    path = Path(item.path)
    taken_on = item.taken_on or _exif_day(path) or settings.taken_on
    chosen = choose_scale(
        photo,
        path,
        named=item.scale or settings.scale,
        label=item.label,
        taken_on=taken_on,
        root=Path(settings.root) if settings.root else None,
        shelf=Path(settings.shelf) if settings.shelf else None,
        since=settings.begun_ns,
    )
    if isinstance(chosen, Refusal):
        return _record(item, photo, chosen, test, None, "")
    scale_file, scale = chosen
    result = measure_photo(photo, scale, test, rules=_rules(settings.rules), on=taken_on)
    record = _record(item, photo, result, test, scale, scale_file)
    record["taken_on"] = None if taken_on is None else taken_on.isoformat()
    return record


def state_of(path: str) -> dict[str, int] | None:
    """Size and time of change of a file, by which it is known again; None where there is none."""
    try:
        found = Path(path).stat()
    except (OSError, ValueError):
        return None
    return {"bytes": found.st_size, "changed_us": found.st_mtime_ns // 1000}


def why(record: Mapping[str, Any]) -> tuple[str, str]:
    """Code and sentence of a refusal, empty when it is none."""
    reasons = record.get("reasons") or [{"code": "", "message": ""}]
    return reasons[0]["code"], reasons[0]["message"]


def refused(item: Item, settings: Settings, why: Refusal) -> dict[str, Any]:
    """Record of a photo that could not be read."""
    test = _test(item.test or settings.test)
    return _record(item, None, why, None if isinstance(test, Refusal) else test, None, "")


def _record(  # noqa: PLR0917  (all that a record holds)
    item: Item,
    photo: Photo | None,
    result: Reading | Refusal,
    test: TestCondition | None,
    scale: Scale | None,
    scale_file: str,
) -> dict[str, Any]:
    sha256 = None if photo is None else photo.sha256
    record = image_record(item.photo, sha256, result, test=test, scale=scale, scale_file=scale_file)
    earlier = {k: v for k, v in dataclasses.asdict(item.earlier).items() if v is not None}
    return record | {
        "path": printable(item.path),
        "earlier": earlier or None,
        "own": dict(item.own) or None,
    }


def _changed(item: Item, photo: Photo) -> Refusal:
    return Refusal(
        "photo-changed",
        f"The file has the hash {photo.sha256[:12]}… and the manifest names {item.sha256[:12]}…: "
        "find the photo that was meant, or correct the manifest.",
    )


@lru_cache(maxsize=100)
def _test(text: str) -> TestCondition | Refusal:
    if not text.strip():
        return Refusal("test-missing", "No test is said; name ball and force, like 10/3000.")
    try:
        return parse_test(text)
    except ValueError as error:
        return Refusal("test-unclear", f"{error}.")


_rules = while_unchanged(8)(rules_from)


def _exif_day(path: Path) -> date | None:
    """Day the camera says the photo was taken, None when it does not."""
    try:
        with Image.open(path) as image:
            tags = image.getexif()
            told = tags.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.DateTimeOriginal)
        return datetime.strptime(str(told)[:10], "%Y:%m:%d").date()  # noqa: DTZ007  (a day, no time)
    except DAMAGED:
        return None
