"""The photos of an archive, one at a time: from a folder tree or from a manifest."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from rimread.dates import TAKEN, moment
from rimread.ledger.chain import canonical, sha256_of
from rimread.photo import ENDINGS
from rimread.reading import printable
from rimread.table import Problem, Row, Table, open_table

__all__ = ["Earlier", "Item", "from_folder", "from_manifest", "own_columns", "task_of"]

_TEXTS = ("scale", "test", "label", "sha256", "date")
_MOST = 100_000.0
"""What no figure read before reaches, in mm or HBW: a slip of the pen."""
_EARLIER = {"d1": "mm", "d2": "mm", "mean": "mm", "hbw": "HBW", "U": "mm"}


@dataclass(frozen=True, slots=True)
class Earlier:
    """What was read before, from the manifest; `U_mm` is expanded, of the mean diameter."""

    d1_mm: float | None = None
    d2_mm: float | None = None
    mean_mm: float | None = None
    hbw: float | None = None
    U_mm: float | None = None

    @property
    def diameter_mm(self) -> float | None:
        """Mean diameter, None when only the hardness was kept, or one diameter of the two."""
        if self.d1_mm is not None and self.d2_mm is not None:
            return (self.d1_mm + self.d2_mm) / 2.0
        return self.mean_mm

    @property
    def single(self) -> bool:
        """Whether one diameter is all that was kept: of an oval indent it is no mean."""
        one = (self.d1_mm is None) != (self.d2_mm is None)
        return one and self.mean_mm is None and self.hbw is None


@dataclass(frozen=True, slots=True)
class Item:
    """One photo to be measured, and what is known of it before.

    Parameters
    ----------
    photo : str
        As the manifest names it, or its path below the folder, with forward slashes.
    path : str
        Where it lies.
    line : int
        Of the manifest, 0 in a folder tree.
    scale, test, label, sha256 : str
        Of this photo, "" when not said.
    taken_on : datetime.date or None
        For the validity of the scale.
    earlier : Earlier
        What was read before.
    own : mapping of str to str
        The lab's own columns.
    """

    photo: str
    path: str
    line: int = 0
    scale: str = ""
    test: str = ""
    label: str = ""
    sha256: str = ""
    taken_on: date | None = None
    earlier: Earlier = Earlier()
    own: Mapping[str, str] = field(default_factory=dict)


def task_of(photo: str, *, run: str) -> str:
    """What makes a photo the same when an archive is measured again: its name, and the run's."""
    return sha256_of(canonical({"photo": photo, "run": run}))


def from_folder(root: Path) -> Iterator[Item | Problem]:
    """Photos of a folder and all below it, folder by folder in the order of their names.

    A folder that cannot be looked into is a problem: its photos are missing. Links to folders are
    followed last, where they lead to folders that were not come by without them.
    """
    locked: list[OSError] = []
    seen: set[str] = set()
    tops = [str(root)]
    for top in tops:
        if os.path.realpath(top) in seen:
            continue
        for folder, folders, names in os.walk(top, onerror=locked.append):
            yield from _locked(locked)
            seen.add(os.path.realpath(folder))
            below = [Path(folder, name) for name in sorted(folders) if not name.startswith(".")]
            tops += (str(path) for path in below if path.is_symlink())
            folders[:] = [path.name for path in below if os.path.realpath(path) not in seen]
            for name in sorted(names):
                if name.lower().endswith(ENDINGS) and not name.startswith("."):
                    path = Path(folder, name)
                    yield Item(printable(path.relative_to(root).as_posix()), str(path))
        yield from _locked(locked)


def _locked(errors: list[OSError]) -> Iterator[Problem]:
    """The folders that were passed over since, each told once."""
    while errors:
        error = errors.pop(0)
        folder = printable(str(error.filename))
        why = f"{folder}: cannot be looked into ({error.strerror}); may it be read?"
        yield Problem(0, why, code="locked-folder")


def from_manifest(path: Path) -> Iterator[Item | Problem]:
    """Photos of a CSV file in its order.

    Columns: ``photo``, and if there are any ``scale``, ``test``, ``label`` (of the scale),
    ``sha256``, ``date`` (taken, in a form of `rimread.dates`), ``d1``, ``d2``, ``mean``,
    ``hbw`` and ``U`` (read before; U expanded, of the mean diameter). All others are the lab's own.
    Paths that are not absolute start at the manifest's folder; backslashes count as slashes where
    there is no such file.

    Raises
    ------
    ValueError
        If the header cannot be used.
    OSError
        If the file cannot be opened.
    """
    for row in _table(path).rows():
        yield row if isinstance(row, Problem) else _item(row, path.parent)


def own_columns(path: Path) -> tuple[str, ...]:
    """Headers of a manifest's columns that are the lab's own."""
    return _table(path).others


def _table(path: Path) -> Table:
    return open_table(path, required=("photo",), optional=(*_TEXTS, *_EARLIER), numeric=_EARLIER)


def _item(row: Row, folder: Path) -> Item | Problem:
    texts, numbers = row.texts, row.numbers
    when = moment(texts["date"])
    if texts["date"] and when is None:
        return _problem(row, f"'date' must be like {TAKEN} (got {texts['date']!r})")
    if any("\0" in texts[key] for key in ("photo", "scale")):
        return _problem(row, f"no file has such a name ({texts['photo']!r})")
    for key, unit in _EARLIER.items():
        value = numbers[key]
        if value is not None and not 0.0 < value < _MOST:
            limits = f"above 0 and below {_MOST:.0f} {unit}"
            return _problem(row, f"{key!r} must be {limits} (got {texts[key]!r})")
    return Item(
        photo=printable(texts["photo"]),
        path=str(_found(folder, texts["photo"])),
        line=row.line,
        scale=str(_found(folder, texts["scale"])) if texts["scale"] else "",
        test=texts["test"],
        label=texts["label"],
        sha256=texts["sha256"].lower(),
        taken_on=None if when is None else when.date(),
        earlier=Earlier(*(numbers[key] for key in _EARLIER)),
        own=dict(row.others),
    )


def _problem(row: Row, message: str) -> Problem:
    return Problem(row.line, message, row.texts, row.others)


def _found(folder: Path, name: str) -> Path:
    """Path of a name written on any system."""
    path = folder / name
    if "\\" in name and not os.path.exists(path):
        return folder / name.replace("\\", "/")
    return path
