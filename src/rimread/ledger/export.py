"""Entries as tables for other programs: CSV, JSON Lines, Parquet."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rimread.ledger.chain import Entry
from rimread.whole import judge, naming, unfinished

__all__ = [
    "COLUMNS",
    "Writer",
    "export",
    "flat",
    "full",
    "judge_replaced",
    "judge_table",
    "writing",
]

_TEXTS = (
    *("sha256", "status", "decision", "test", "designation"),
    *("scale_file", "scale_label", "scale_sha256", "version"),
)
_FIGURES = (
    *("d1_mm", "d2_mm", "mean_mm", "U_mean_mm", "k", "width_mm", "height_mm"),
    *("angle_deg", "coverage", "hbw", "U_hbw", "k_hbw"),
)

COLUMNS: Mapping[str, type] = {
    "entry": int,
    **dict.fromkeys(("written_at", "kind", "operator", "photo", *_TEXTS), str),
    "indent": int,
    **dict.fromkeys(_FIGURES, float),
    **dict.fromkeys(("failed", "warned", "refusal", "why"), str),
    "replaces": int,
    **dict.fromkeys(("reason", "previous", "hash"), str),
}
"""Columns of an exported table and what they hold; empty where an entry has no value. An image
whose `decision` is rejected or corrected does not count, nor does what another `replaces`."""

Writer = Callable[[Mapping[str, Any]], None]
_Opened = tuple[Callable[[Mapping[str, Any]], object], Callable[[], None]]
"""What writes a row, and what ends the table."""
_TELLING = 4  # columns at the beginning of a table that tell what it is
_LONGEST = 10_000_000  # letters of a line; a longer one is none of ours
_GROUP = 5000  # rows Parquet keeps together


def flat(entry: Entry) -> dict[str, Any]:
    """An entry as one row of `COLUMNS`."""
    record, draft = entry.record, entry.draft
    checks = record.get("checks") or ()
    refused = (record.get("reasons") or [{}])[0]
    return {
        "entry": entry.number,
        "written_at": entry.written_at.isoformat(timespec="seconds"),
        "kind": draft.kind,
        "operator": draft.operator,
        "photo": record.get("photo"),
        "indent": record.get("indent"),
        **{key: record.get(key) for key in (*_TEXTS, *_FIGURES)},
        "failed": " ".join(c["code"] for c in checks if c["outcome"] == "fail"),
        "warned": " ".join(c["code"] for c in checks if c["outcome"] == "warn"),
        "refusal": refused.get("code", ""),
        "why": refused.get("message", ""),
        "replaces": draft.replaces,
        "reason": draft.reason,
        "previous": entry.previous,
        "hash": entry.hash,
    }


def full(entry: Entry) -> dict[str, Any]:
    """An entry with its whole record, as JSON Lines hold it.

    Without ``hash`` and with ``entry`` as ``number`` it is what the hash was taken of.
    """
    draft = entry.draft
    return {
        "entry": entry.number,
        "written_at": entry.written_at.isoformat(timespec="microseconds"),
        "kind": draft.kind,
        "operator": draft.operator,
        "replaces": draft.replaces,
        "reason": draft.reason,
        "task": draft.task,
        "attempt": draft.attempt,
        "previous": entry.previous,
        "hash": entry.hash,
        "record": dict(entry.record),
    }


def export(entries: Iterable[Entry], path: Path) -> int:
    """Write entries to a table; the ending of its name says which kind.

    Returns
    -------
    int
        How many were written.

    Raises
    ------
    ValueError
        If the ending is none of .csv, .jsonl, .parquet, or the last needs a package, or the file is
        there and is no earlier export.
    OSError
        If the file cannot be written.
    """
    judge_table(Path(path))
    judge_replaced(Path(path), COLUMNS, what="export of a ledger")
    row = full if Path(path).suffix.lower() == ".jsonl" else flat
    count = 0
    with writing(path, COLUMNS) as write:
        for count, entry in enumerate(entries, start=1):  # noqa: B007  (the count is told)
            write(row(entry))
    return count


@contextmanager
def writing(path: Path, columns: Mapping[str, type]) -> Iterator[Writer]:
    """Give what writes rows to a table that appears whole, when the block ends without an error.

    Parameters
    ----------
    path : Path
        Ends in .csv, .jsonl or .parquet.
    columns : mapping of str to type
        Names and what they hold, str, int or float; JSON Lines take the rows as they are.
    """
    path = Path(path)
    judge_table(path)
    kind = {".csv": _csv, ".jsonl": _jsonl, ".parquet": _parquet}[path.suffix.lower()]
    with unfinished(path) as own:
        with naming(path, own):
            write, close = kind(own, columns)

        def named(row: Mapping[str, Any]) -> None:
            with naming(path, own):
                write(row)

        try:
            yield named
        finally:
            with naming(path, own):
                close()


def judge_table(path: Path) -> None:
    """Say whether a table of this name can be written.

    Raises
    ------
    ValueError
        If its ending is unknown, or it needs a package.
    OSError
        If no such file can be made.
    """
    if path.suffix.lower() not in (".csv", ".jsonl", ".parquet"):
        raise ValueError(f"a table ends in .csv, .jsonl or .parquet (got {path.name!r})")
    if path.suffix.lower() == ".parquet":
        _pyarrow()
    judge(path)


def judge_replaced(path: Path, columns: Iterable[str], *, what: str) -> None:
    """Say whether what lies at a path may be written over: an earlier table of the kind.

    Parameters
    ----------
    path : Path
        What is no plain file (``/dev/stdout``), or empty, cannot be lost.
    columns : iterable of str
        Of the table to be written; the first of them tell its kind.
    what : str
        The kind, for the sentence.

    Raises
    ------
    ValueError
        If it is another file.
    OSError
        If it cannot be read.
    """
    if not path.is_file() or path.stat().st_size == 0:
        return
    telling = tuple(columns)[:_TELLING]
    if _first_columns(path) != telling:
        raise ValueError(
            f"{path}: this file is there already and is no {what}; it stays as it is. Give another "
            "name, or move it away"
        )


def _first_columns(path: Path) -> tuple[str, ...]:
    """First columns of a table as this module writes it, other ones or none of any other file."""
    try:
        if path.suffix.lower() == ".parquet":
            _pyarrow()
            import pyarrow.parquet as pq  # noqa: PLC0415

            return tuple(pq.read_schema(path).names[:_TELLING])
        with path.open(encoding="utf-8-sig") as file:
            line = file.readline(_LONGEST)
        names = list(json.loads(line)) if path.suffix.lower() == ".jsonl" else line.split(",")
        return tuple(name.strip() for name in names[:_TELLING])
    except (ValueError, TypeError, AttributeError):  # other bytes, other JSON
        return ()


def _csv(path: Path, columns: Mapping[str, type]) -> _Opened:
    file = path.open("w", encoding="utf-8-sig", newline="")  # the mark tells spreadsheets
    writer = csv.DictWriter(file, list(columns), lineterminator="\n", extrasaction="raise")
    writer.writeheader()
    return writer.writerow, file.close


def _jsonl(path: Path, _columns: Mapping[str, type]) -> _Opened:
    file = path.open("w", encoding="utf-8", newline="\n")
    return lambda row: print(json.dumps(row, allow_nan=False), file=file), file.close


def _parquet(path: Path, columns: Mapping[str, type]) -> _Opened:
    arrow = _pyarrow()
    import pyarrow.parquet as pq  # noqa: PLC0415

    kinds = {str: arrow.string(), int: arrow.int64(), float: arrow.float64()}
    schema = arrow.schema([(name, kinds[kind]) for name, kind in columns.items()])
    held: list[dict[str, Any]] = []
    writer = pq.ParquetWriter(path, schema)

    def flush() -> None:
        writer.write_table(arrow.Table.from_pylist(held, schema=schema))
        held.clear()

    def write(row: Mapping[str, Any]) -> None:
        held.append(dict(row))
        if len(held) >= _GROUP:
            flush()

    def close() -> None:
        with writer:  # closes it, whatever happens
            flush()

    return write, close


def _pyarrow() -> Any:  # noqa: ANN401  (a module without types)
    try:
        import pyarrow as pa  # noqa: PLC0415
    except ModuleNotFoundError:
        raise ValueError(
            'Parquet needs a package that is not installed: pip install "rimread[parquet]"'
        ) from None
    return pa
