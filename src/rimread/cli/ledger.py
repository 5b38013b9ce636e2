"""``rimread ledger``: look into the record of readings, prove it, export it."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from rimread.cli._io import REFUSED, print_json, printing, say, shown, speaking, telling
from rimread.cli._options import Json, date_of, day
from rimread.cli._verb import Verbs

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.ledger import Entry, Filter, Ledger

__all__ = ["ledger"]

ledger = typer.Typer(
    name="ledger",
    cls=Verbs,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Look into the record of readings, prove it, export it.",
)

_Where = Annotated[
    str,
    typer.Argument(
        metavar="LEDGER",
        help="A file, or postgresql://user@host/database.",
        show_default=False,
    ),
]
_Day = Annotated[datetime | None, day("Written (UTC).")]
_Kind = Annotated[
    Literal["image", "hand", "withdrawal"] | None,
    typer.Option(help="Read by the program, by a person, or withdrawn."),
]
_Status = Annotated[Literal["measured", "refused"] | None, typer.Option()]
_Photo = Annotated[str | None, typer.Option(metavar="PART", help="Part of the photo's path.")]
_Sha = Annotated[str | None, typer.Option(metavar="HASH", help="SHA-256 of the photo.")]
_Operator = Annotated[str | None, typer.Option(metavar="NAME")]
_Test = Annotated[str | None, typer.Option(metavar="BALL/FORCE")]
_Scale = Annotated[str | None, typer.Option(metavar="LABEL|HASH", help="Of the scale.")]
_Number = Annotated[int, typer.Argument(min=1)]
_Known = Annotated[
    str | None,
    typer.Option(
        metavar="NUMBER:HASH",
        help="An entry noted earlier, when it was the last; 12 digits of the hash do.",
    ),
]
_Newest = Annotated[int | None, typer.Option(metavar="N", min=1, help="Only the last so many.")]
_Out = Annotated[Path, typer.Argument(metavar="FILE", help="Ends in .csv, .jsonl or .parquet.")]
_Reason = Annotated[str, typer.Option(metavar="TEXT", help="Why it does not count.")]
_Who = Annotated[str, typer.Option(metavar="NAME", help="Who says so.")]
_All = Annotated[
    bool, typer.Option("--all", help="Also what does not count: replaced, withdrawn, not accepted.")
]


@ledger.command()
def check(
    where: _Where,
    known: _Known = None,
    as_json: Json = False,
) -> None:
    """Prove that no entry was changed, removed or put in.

    Who may write to the database could also make all of it anew, hashes included. So write down
    the last entry's number and hash now and then, on paper or in a report, and give it as --known.

    Exit codes: 0 as it was written; 1 not so; 2 wrong use or no ledger.
    """
    with speaking():
        from rimread.ledger import audit, open_ledger  # noqa: PLC0415

        noted = _noted(known)
        with open_ledger(where, create=False) as book:
            found = audit(book, known=noted)
        faults, number, sha256 = found.faults, found.number, found.sha256
        with telling():
            if as_json:
                told = [{"code": f.code, "entry": f.number, "message": f.message} for f in faults]
                status = "failed" if faults else "passed"
                print_json({"status": status, "entries": number, "hash": sha256, "faults": told})
            else:
                for fault in faults:
                    at = "the ledger" if fault.number is None else f"entry {fault.number}"
                    print(f"{at}: {fault.message} ({fault.code})")
                said = _count(len(faults), "fault", "faults") if faults else "as it was written"
                print(
                    f"{_count(number, 'entry', 'entries')}, {said}; the last is {number}:{sha256}"
                )
    if faults:
        raise typer.Exit(REFUSED)


@ledger.command(name="list")
def list_(
    where: _Where,
    kind: _Kind = None,
    status: _Status = None,
    photo: _Photo = None,
    sha256: _Sha = None,
    operator: _Operator = None,
    test: _Test = None,
    scale: _Scale = None,
    since: _Day = None,
    until: _Day = None,
    newest: _Newest = None,
    every: _All = False,
    as_json: Json = False,
) -> None:
    """List entries, oldest first, a line each."""
    with speaking():
        from rimread.ledger import open_ledger  # noqa: PLC0415
        from rimread.ledger.export import full  # noqa: PLC0415

        asked = _filter(
            kind, status, photo, sha256, operator, test, scale, since, until, every=every
        )
        with open_ledger(where, create=False) as book:
            for entry in book.entries(asked, newest=newest):
                with printing():
                    if as_json:
                        print_json(full(entry))
                    else:
                        print(_line(entry))


@ledger.command()
def show(where: _Where, number: _Number, as_json: Json = False) -> None:
    """Show all of one entry."""
    with speaking():
        from rimread.ledger import open_ledger  # noqa: PLC0415
        from rimread.ledger.export import full  # noqa: PLC0415

        with open_ledger(where, create=False) as book:
            entry = book.entry(number)
            later = book.replaced_by(number)
        told = {**full(entry), "replaced_by": later}
        with telling():
            if as_json:
                print_json(told)
                return
            record = told.pop("record")
            if not told["task"]:
                del told["attempt"]
            _print_pairs(told)
            _print_pairs(record)


@ledger.command()
def export(
    where: _Where,
    out: _Out,
    kind: _Kind = None,
    status: _Status = None,
    photo: _Photo = None,
    sha256: _Sha = None,
    operator: _Operator = None,
    test: _Test = None,
    scale: _Scale = None,
    since: _Day = None,
    until: _Day = None,
    every: _All = False,
) -> None:
    """Write entries to a table; JSON Lines hold every figure of each.

    An earlier export is written over; any other file of that name is left alone.
    """
    with speaking():
        from rimread.ledger import open_ledger  # noqa: PLC0415
        from rimread.ledger.export import export as write  # noqa: PLC0415

        asked = _filter(
            kind, status, photo, sha256, operator, test, scale, since, until, every=every
        )
        with open_ledger(where, create=False) as book:
            count = write(book.entries(asked), out)
    say(f"{_count(count, 'entry', 'entries')} written to {out}")


@ledger.command()
def withdraw(
    where: _Where,
    number: _Number,
    reason: _Reason,
    operator: _Who,
) -> None:
    """Say that an entry does not count; it stays, and a new entry names it."""
    with speaking():
        from rimread.ledger import Draft, open_ledger  # noqa: PLC0415

        with open_ledger(where, create=False) as book:
            entry = book.entry(number)
            record = entry.record
            _not_withdrawn(book, number)
            if entry.draft.kind == "withdrawal":
                raise ValueError(
                    f"entry {number} is a withdrawal, which stays: measure the photo again with "
                    "rimread measure to have it count; nothing was written"
                )
            told = {key: record[key] for key in ("photo", "indent") if key in record}
            draft = Draft("withdrawal", told, operator=operator, replaces=number, reason=reason)
            (entry,) = book.append([draft])
        with telling():
            print(f"entry {entry.number} withdraws entry {number}")


def _not_withdrawn(book: Ledger, number: int) -> None:
    later = book.replaced_by(number)
    if later is None:
        return
    draft = book.entry(later).draft
    if draft.kind == "withdrawal":
        raise ValueError(
            f"entry {number} was withdrawn already, by entry {later}: {draft.reason}; nothing was "
            "written"
        )


def _count(number: int, one: str, several: str) -> str:
    return f"{number} {one if number == 1 else several}"


def _noted(known: str | None) -> tuple[int, str] | None:
    if known is None:
        return None
    number, _, digits = known.partition(":")
    if not number.isdecimal() or len(digits) < 12 or set(digits) - set("0123456789abcdef"):
        raise ValueError(
            "a noted entry is its number and at least 12 digits of its hash, like "
            f"1041:9f2c01aa73be (got {known!r})"
        )
    return int(number), digits


def _filter(
    kind: Literal["image", "hand", "withdrawal"] | None,
    status: str | None,
    photo: str | None,
    sha256: str | None,
    operator: str | None,
    test: str | None,
    scale: str | None,
    since: datetime | None,
    until: datetime | None,
    *,
    every: bool,
) -> Filter:
    from rimread.hardness import parse_test  # noqa: PLC0415
    from rimread.ledger import Filter  # noqa: PLC0415

    return Filter(
        kind=kind,
        status=status,
        photo=photo,
        sha256=sha256,
        operator=operator,
        test=None if test is None else parse_test(test).name,
        scale=scale,
        since=date_of(since),
        until=date_of(until),
        current=not every,
    )


def _line(entry: Entry) -> str:
    record, draft = entry.record, entry.draft
    when = entry.written_at.isoformat(sep=" ", timespec="seconds")[:19]
    mean = record.get("mean_mm")
    if draft.kind == "withdrawal":
        says = f"withdraws {draft.replaces}: {draft.reason}"
    elif mean is None:
        says = f"refused ({(record.get('reasons') or [{'code': '?'}])[0]['code']})"
    else:
        says = f"{mean:.3f} mm  {record.get('designation') or ''}"
    if draft.kind == "image" and record.get("decision") in ("rejected", "corrected"):
        says += f"  ({record['decision']}: this value does not count)"
    if draft.kind != "withdrawal" and draft.replaces is not None:
        says += f"  (replaces {draft.replaces}: {draft.reason})"
    who = f"  by {draft.operator}" if draft.operator else ""
    what = record.get("photo") or ""
    if record.get("indent") is not None:
        what += f" #{record['indent']}"
    return shown(f"{entry.number:>7}  {when}  {draft.kind:5}  {what}  {says}{who}")


def _print_pairs(values: dict[str, Any], indent: str = "") -> None:
    for key, value in values.items():
        if isinstance(value, list) and value:
            print(f"{indent}{key}:")
            for part in value:
                told = "; ".join(f"{k} {v}" for k, v in part.items() if v not in ("", None))
                print(shown(f"{indent}  {told}"))
        elif isinstance(value, dict) and value:
            print(f"{indent}{key}:")
            _print_pairs(value, indent + "  ")
        elif value not in (None, "", [], {}):
            print(shown(f"{indent}{key}: {value}"))
