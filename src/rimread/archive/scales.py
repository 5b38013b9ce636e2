"""The scale file that belongs to a photo, or a refusal: never a guess."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Protocol

from rimread.archive.fresh import while_unchanged
from rimread.refusal import Refusal
from rimread.scale import read_scale
from rimread.scale.model import Scale

__all__ = ["ScaleFile", "choose_scale", "scales_in"]

_HEAD = b'format = "rimread scale"'  # every scale file has this line

ScaleFile = tuple[str, Scale]
"""Path and content."""


class Sized(Protocol):
    """A photo, or its size alone."""

    @property
    def width_px(self) -> int: ...

    @property
    def height_px(self) -> int: ...


def choose_scale(
    photo: Sized,
    path: Path,
    *,
    named: str = "",
    label: str = "",
    taken_on: date | None = None,
    root: Path | None = None,
    shelf: Path | None = None,
    since: int = 0,
) -> ScaleFile | Refusal:
    """Scale file of a photo.

    The first of these that leads to one: the file that was named; the photo's own folder and, where
    it lies below `root`, the nearest above it up to there with a scale file that fits; the scale
    files in and below `shelf` that fit. A scale fits when it was made with photos of this size and,
    if a label is given, carries it or is the file of that name. Where several fit and the day of
    the photo is known, those count that held on that day.

    Parameters
    ----------
    photo : Sized
        Its size counts.
    path : Path
        Where it lies.
    named, label : str
        Scale file, and camera and objective, "" when not said.
    taken_on : datetime.date, optional
        Day of the photo.
    root, shelf : Path, optional
        Where to stop looking upwards, and where scale files are kept.
    since : int
        Any number that is another for each run: a folder is listed once for each.

    Returns
    -------
    tuple of str and Scale, or Refusal
        Codes: ``scale-missing``, ``scale-ambiguous``, ``scale-unreadable``.
    """
    if named:
        try:
            return named, _read(named)
        except OSError as error:
            return Refusal("scale-missing", f"{named}: {error.strerror}; name a scale file.")
        except ValueError as error:
            return Refusal("scale-unreadable", f"{error}; calibrate again or mend it.")
    seen: list[ScaleFile] = []
    for folder, below in _places(path, root, shelf):
        there = scales_in(folder, below=below, since=since)
        if isinstance(there, Refusal):
            return there
        fitting = [s for s in there if _fits(s, photo, label)]
        if fitting:
            return _only(fitting, taken_on)
        seen += there
    return _missing(photo, label, seen)


def scales_in(folder: Path, *, below: bool, since: int = 0) -> tuple[ScaleFile, ...] | Refusal:
    """Scale files of a folder (and all below it); other TOML files are passed over.

    A scale file that is damaged is a refusal: the one it should have been is not known.
    """
    found: list[ScaleFile] = []
    for path in _listed(folder, below, since):
        try:
            there = _looked_at(path)
        except OSError as error:
            if isinstance(error, FileNotFoundError) or os.path.isdir(path):  # noqa: PTH112
                continue  # gone in the meantime, or a folder of that name; a locked one is neither
            return Refusal("scale-unreadable", f"{path}: {error.strerror}; may it be read?")
        if isinstance(there, Refusal):
            return there
        if there is not None:
            found.append((path, there))
    return tuple(found)


@lru_cache(maxsize=10_000)
def _listed(folder: Path, below: bool, _since: int) -> tuple[str, ...]:  # noqa: FBT001
    """TOML files; a folder may hold a hundred thousand photos and is listed once in a run."""
    return tuple(map(str, sorted(folder.rglob("*.toml") if below else folder.glob("*.toml"))))


@while_unchanged(10_000)
def _looked_at(path: str) -> Scale | Refusal | None:
    """Scale of a file, None when it is no scale file."""
    try:
        return read_scale(Path(path))
    except ValueError as error:
        if _HEAD not in Path(path).read_bytes():
            return None
        return Refusal("scale-unreadable", f"{error}; calibrate again or mend it.")


@while_unchanged(1000)
def _read(path: str) -> Scale:
    return read_scale(Path(path))


def _places(path: Path, root: Path | None, shelf: Path | None) -> list[tuple[Path, bool]]:
    places = []
    if root is not None:
        top = root.resolve()
        own, *above = Path(os.path.abspath(path)).parents  # noqa: PTH100  (drops .., keeps links)
        up_to_top = (folder for folder in above if folder.resolve().is_relative_to(top))
        places = [(folder, False) for folder in (own, *up_to_top)]
    return places if shelf is None else [*places, (shelf, True)]


def _fits(candidate: ScaleFile, photo: Sized, label: str) -> bool:
    path, scale = candidate
    wanted = label.strip().casefold()
    if wanted and wanted not in (scale.label.strip().casefold(), Path(path).stem.casefold()):
        return False
    return (scale.width_px, scale.height_px) == (photo.width_px, photo.height_px)


def _only(fitting: Sequence[ScaleFile], taken_on: date | None) -> ScaleFile | Refusal:
    held = list({scale.sha256: (path, scale) for path, scale in fitting}.values())  # copies are one
    if len(held) > 1 and taken_on is not None:
        held = [s for s in held if s[1].calibrated_on <= taken_on <= s[1].valid_until] or held
    if len(held) == 1:
        return held[0]
    names = ", ".join(path for path, _ in held)
    return Refusal(
        "scale-ambiguous",
        f"{len(held)} scale files fit this photo ({names}); say which by the manifest's column "
        "'scale' or 'label', or its 'date' when they differ in when they hold.",
    )


def _missing(photo: Sized, label: str, seen: Sequence[ScaleFile]) -> Refusal:
    wanted = f"{photo.width_px} × {photo.height_px} pixels" + (f" and {label!r}" if label else "")
    there = "; ".join(
        f"{path} ({scale.label}, {scale.width_px} × {scale.height_px})" for path, scale in seen[:5]
    )
    return Refusal(
        "scale-missing",
        f"No scale file for {wanted} was found; {f'seen: {there}' if there else 'none was seen'}. "
        "Put one into the photo's folder, or name it.",
    )
