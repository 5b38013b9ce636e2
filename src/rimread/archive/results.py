"""The table of an archive: a row for each line or photo in the archive's own order."""

from __future__ import annotations

import math
from array import array
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimread import plot
from rimread.archive.differences import Difference, difference
from rimread.archive.items import Item
from rimread.archive.run import REPEATED, Archive, Known
from rimread.hardness import RESOLUTION_MM, not_of_one_indent
from rimread.ledger import Entry, Ledger
from rimread.ledger.export import COLUMNS, flat, judge_replaced, writing
from rimread.table import Problem

if TYPE_CHECKING:  # an extra
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["Comparison", "draw", "judge_results", "write_results"]

WITHDRAWN = "withdrawn"
"""Where another code says why a photo was refused: a person took its number out."""
_LEFT_OUT = {"kind", "operator", "decision", "replaces", "reason", "previous"}
_DIFFERENCE: Mapping[str, type] = {
    **{f.name: float for f in fields(Difference) if f.name != "why"},
    "pull": str,
}
_SLIPS = ("too-far-apart", "no-number")  # of what was read before; each is told
_MOST_PULLED = 100_000  # rows of the list; nobody pulls more
_DOTS = 5000  # more points than that are drawn as a density


@dataclass(slots=True)
class Comparison:
    """Old against new over the whole archive; 24 bytes for each photo compared.

    Parameters
    ----------
    old_mm, apart_mm, error : array of float
        Of the photos that have both: earlier mean diameter, new less old, normalised error.
    pulled : list of dict
        Rows worth pulling from the drawer.
    too_far_apart : int
        Photos whose earlier figures are of another indent or unit, or of none that this test can
        make; they are in none of the above but `pulled`.
    single : int
        Photos of which one diameter alone had been kept; nothing is held against them.
    rows, measured, refused, unreadable, failed : int
        Rows written; of them with a number, refused, without a photo that could be read (lines of
        the manifest that cannot be used among them), and with a check that failed.
    not_yet : int
        Photos that the ledger does not have, because the run was stopped.
    """

    old_mm: array[float] = field(default_factory=lambda: array("d"))
    apart_mm: array[float] = field(default_factory=lambda: array("d"))
    error: array[float] = field(default_factory=lambda: array("d"))
    pulled: list[dict[str, Any]] = field(default_factory=list)
    too_far_apart: int = 0
    single: int = 0
    rows: int = 0
    measured: int = 0
    refused: int = 0
    unreadable: int = 0
    failed: int = 0
    not_yet: int = 0

    def count(self, row: Mapping[str, Any]) -> None:
        """Count one row."""
        self.rows += 1
        self.measured += row["status"] == "measured"
        lost = row["status"] == "refused" and row["sha256"] is None
        self.unreadable += lost and row["refusal"] != REPEATED
        self.refused += row["status"] == "refused" and not lost
        self.failed += bool(row["failed"])

    def add(self, found: Difference, row: dict[str, Any]) -> None:
        """Take one photo in."""
        if found.why and len(self.pulled) < _MOST_PULLED:
            self.pulled.append(row)
        self.too_far_apart += found.why in _SLIPS
        if found.normalised_error is not None:
            self.old_mm.append(_number(found.old_mm))
            self.apart_mm.append(_number(found.new_minus_old_mm))
            self.error.append(found.normalised_error)

    @property
    def mean_mm(self) -> float:
        """Mean of new less old."""
        return math.fsum(self.apart_mm) / len(self.apart_mm)

    @property
    def sd_mm(self) -> float:
        """Standard deviation of new less old; two photos at least."""
        mean = self.mean_mm
        squares = math.fsum((x - mean) ** 2 for x in self.apart_mm)
        return math.sqrt(squares / (len(self.apart_mm) - 1))

    @property
    def disagreeing(self) -> int:
        """How many lie further apart than both could be wrong by."""
        return sum(abs(e) > 1.0 for e in self.error)


def write_results(
    archive: Archive,
    ledger: Ledger,
    path: Path,
    *,
    own: tuple[str, ...] = (),
    pull: Path | None = None,
    resolution_mm: float = RESOLUTION_MM,
    tell: Callable[[str], None] = lambda _: None,
) -> Comparison:
    """Write the table of results from the ledger, and the list of those worth pulling.

    Parameters
    ----------
    archive, ledger : Archive, Ledger
        What was measured and where it is kept.
    path : Path
        Ends in .csv, .jsonl or .parquet; it appears whole or not at all.
    own : tuple of str
        The lab's own columns, kept at the end under their own names.
    pull : Path, optional
        Where the list goes, the largest disagreement first; its header alone when it is empty, so
        that no list of an earlier start stays.
    resolution_mm : float
        Step of earlier readings whose U the manifest does not give.
    tell : callable
        Called with a sentence about each line whose earlier figures are of another indent or unit,
        or of none.
    """
    columns, places = _columns(own)
    comparison = Comparison()
    with writing(path, columns) as write:
        for page in archive.pages(ledger):
            for known in page:
                item, entry = known.item, known.now
                if entry is None and not isinstance(item, Problem):
                    comparison.not_yet += 1
                    continue
                row = _row(known, columns, places)
                comparison.count(row)
                comparison.single += isinstance(item, Item) and item.earlier.single
                found = _compared(item, entry, resolution_mm)
                if found is not None:
                    row |= _named(found)
                    comparison.add(found, row)
                    if found.why in _SLIPS:
                        tell(f"line {row['line']}: {row['photo']}: {_far(found, row)}")
                write(row)
        if comparison.rows == comparison.not_yet == 0:
            raise ValueError(f"the photos are not there any more; {path} stays as it was")
    if pull is not None:
        comparison.pulled.sort(key=_disagreement, reverse=True)
        with writing(pull, columns) as write:
            for row in comparison.pulled:
                write(row)
    return comparison


def judge_results(path: Path) -> None:
    """Say before the work that a file is no earlier table of results, and would be lost.

    Raises
    ------
    ValueError
        If it is there and begins with other columns than `write_results` gives.
    """
    columns, _ = _columns(())
    judge_replaced(path, columns, what="table of results of remeasure")


def _columns(own: tuple[str, ...]) -> tuple[dict[str, type], dict[str, str]]:
    """Columns of the table, and the one that each of the lab's own goes to."""
    kept = {name: kind for name, kind in COLUMNS.items() if name not in _LEFT_OUT}
    columns: dict[str, type] = {"line": int, "path": str, **kept, **_DIFFERENCE}
    places = {}
    for name in own:
        place = name
        while place in columns:
            place += " (own)"
        columns[place] = str
        places[name] = place
    return columns, places


def _compared(item: Item | Problem, entry: Entry | None, resolution_mm: float) -> Difference | None:
    """Against what the manifest says now; the record has what it said when it was measured."""
    if entry is None or entry.draft.kind == "withdrawal" or isinstance(item, Problem):
        return None
    told = {**entry.record, "earlier": asdict(item.earlier)}
    return difference(told, resolution_mm=resolution_mm)


def _far(found: Difference, row: Mapping[str, Any]) -> str:
    """What is wrong with the earlier figures of a photo."""
    if found.why == "no-number":
        figure = f"{found.old_hbw:g} HBW" if found.old_mm is None else f"{found.old_mm:.3f} mm"
        return f"no indent of {row['test']} gives an earlier {figure}"
    if found.old_mm is None:
        return f"{found.old_hbw:g} HBW cannot have come from an indent of {row['mean_mm']:.3f} mm"
    return f"an earlier {not_of_one_indent(found.old_mm, row['mean_mm'])}"


def _disagreement(row: Mapping[str, Any]) -> float:
    """How far new and old are apart, for the order of the list."""
    return math.inf if row["pull"] in _SLIPS else abs(row["normalised_error"] or 0.0)


def _named(found: Difference) -> dict[str, Any]:
    row = asdict(found)
    row["pull"] = row.pop("why")
    return row


def _row(known: Known, columns: Mapping[str, type], own: Mapping[str, str]) -> dict[str, Any]:
    item, last, entry = known.item, known.last, known.now
    row: dict[str, Any] = dict.fromkeys(columns) | {"line": item.line or None}
    if isinstance(item, Problem):
        row |= {"photo": item.texts.get("photo") or None, **_own(item.others, own)}
        return row | {"status": "refused", "refusal": item.code, "why": item.message}
    assert entry is not None and last is not None  # noqa: S101, PT018  (the caller has seen to it)
    row |= {name: value for name, value in flat(entry).items() if name in columns}
    row |= {"photo": item.photo, "sha256": last.record.get("sha256")}
    row["path"] = last.record.get("path")
    if entry.draft.kind == "withdrawal":
        said = f"entry {entry.number} withdrew entry {entry.draft.replaces}: {entry.draft.reason}"
        row |= {"status": "refused", "refusal": WITHDRAWN, "why": said}
    return row | _own(item.own, own)


def _own(cells: Mapping[str, str], places: Mapping[str, str]) -> dict[str, str]:
    return {places[name]: value for name, value in cells.items()}


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def draw(comparison: Comparison) -> Figure:
    """Old against new: the difference over the diameter, and how the normalised errors lie.

    Raises
    ------
    ValueError
        If matplotlib is not installed, or nothing was compared.
    """
    if not comparison.error:
        raise ValueError("nothing to draw: no photo has an earlier result and a new one")
    plot.needed()
    from matplotlib import rc_context  # noqa: PLC0415  (an extra)
    from matplotlib.figure import Figure  # noqa: PLC0415  (an extra)

    with rc_context(plot.STYLE):
        figure = Figure(figsize=(9.0, 4.0), layout="constrained")
        left, right = figure.subplots(1, 2)
        _apart(left, comparison)
        _errors(right, comparison)
    return figure


def _apart(axes: Axes, comparison: Comparison) -> None:
    if len(comparison.error) > _DOTS:
        axes.hexbin(comparison.old_mm, comparison.apart_mm, gridsize=60, bins="log", cmap="Blues")
    else:
        for far, colour, sign in ((False, "#0072B2", "o"), (True, "#D55E00", "x")):
            chosen = [i for i, e in enumerate(comparison.error) if (abs(e) > 1.0) == far]
            axes.plot(
                [comparison.old_mm[i] for i in chosen],
                [comparison.apart_mm[i] for i in chosen],
                sign,
                color=colour,
                markersize=4,
                label="beyond both uncertainties" if far else "within both uncertainties",
            )
        axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), frameon=False)
    axes.axhline(0.0, color="#808080", linewidth=0.8)
    axes.set(xlabel="earlier mean diameter in mm", ylabel="new less old in mm")


def _errors(axes: Axes, comparison: Comparison) -> None:
    axes.hist([max(-5.0, min(5.0, e)) for e in comparison.error], bins=40, color="#0072B2")
    for limit in (-1.0, 1.0):
        axes.axvline(limit, color="#D55E00", linewidth=1.0)
    axes.locator_params(axis="y", integer=True)
    axes.set(xlabel="normalised error (±5: and beyond)", ylabel="photos")
