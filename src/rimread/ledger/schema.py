"""Tables, triggers and migrations, for SQLite and PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import sqlalchemy as sa

from rimread.ledger.chain import GENESIS, Entry

__all__ = ["ENTRIES", "HEAD", "TRIGGERS", "columns_of", "migrate", "version_of"]

_METADATA = sa.MetaData()
_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

ENTRIES = sa.Table(
    "ledger_entries",
    _METADATA,
    sa.Column("number", _NUMBER, primary_key=True, autoincrement=False),
    sa.Column("hash", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),  # the truth; what follows is for looking things up
    sa.Column("written_at", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("operator", sa.Text, nullable=False),
    sa.Column("replaces", _NUMBER, index=True),
    sa.Column("task", sa.Text),
    sa.Column("attempt", sa.Integer),
    sa.Column("photo", sa.Text, index=True),
    sa.Column("sha256", sa.Text, index=True),
    sa.Column("status", sa.Text),
    sa.Column("test", sa.Text),
    sa.Column("scale_label", sa.Text),
    sa.Column("scale_sha256", sa.Text),
    sa.Column("mean_mm", sa.Double),
    sa.Column("hbw", sa.Double),
    sa.UniqueConstraint("task", "attempt", name="ledger_entries_task"),
)

HEAD = sa.Table(
    "ledger_head",
    _METADATA,
    sa.Column("one", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("number", _NUMBER, nullable=False),
    sa.Column("hash", sa.Text, nullable=False),
    sa.CheckConstraint("one = 1"),
)
"""One row: the last entry. Writers lock it, and entries cut off at the end are missed by it."""

_SCHEMA = sa.Table(
    "ledger_schema",
    sa.MetaData(),
    sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
)
"""One row for each version the tables have had."""

_NO_CHANGE = "the ledger is append-only; write a correction that names the entry it replaces"
_NO_GAP = "entries are numbered 1, 2, 3 without gaps and never written over"

_SQLITE = """
CREATE TRIGGER entries_update BEFORE UPDATE ON ledger_entries
BEGIN SELECT RAISE(ABORT, '{no_change}'); END

CREATE TRIGGER entries_delete BEFORE DELETE ON ledger_entries
BEGIN SELECT RAISE(ABORT, '{no_change}'); END

CREATE TRIGGER entries_insert BEFORE INSERT ON ledger_entries
WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM ledger_entries)
OR EXISTS (SELECT 1 FROM ledger_entries WHERE task = NEW.task AND attempt = NEW.attempt)
BEGIN SELECT RAISE(ABORT, '{no_gap}'); END

CREATE TRIGGER head_update BEFORE UPDATE ON ledger_head WHEN NEW.number <= OLD.number
BEGIN SELECT RAISE(ABORT, '{no_change}'); END

CREATE TRIGGER head_delete BEFORE DELETE ON ledger_head
BEGIN SELECT RAISE(ABORT, '{no_change}'); END

CREATE TRIGGER head_insert BEFORE INSERT ON ledger_head
BEGIN SELECT RAISE(ABORT, '{no_change}'); END
"""
"""INSERT OR REPLACE deletes without asking the other triggers, hence those on INSERT."""

_POSTGRESQL = """
CREATE FUNCTION ledger_no_change() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '{no_change}'; END $$

CREATE FUNCTION ledger_no_gap() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN
IF NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM ledger_entries)
THEN RAISE EXCEPTION '{no_gap}'; END IF;
RETURN NEW; END $$

CREATE TRIGGER entries_change BEFORE UPDATE OR DELETE ON ledger_entries
FOR EACH ROW EXECUTE FUNCTION ledger_no_change()

CREATE TRIGGER entries_empty BEFORE TRUNCATE ON ledger_entries
FOR EACH STATEMENT EXECUTE FUNCTION ledger_no_change()

CREATE TRIGGER entries_insert BEFORE INSERT ON ledger_entries
FOR EACH ROW EXECUTE FUNCTION ledger_no_gap()

CREATE TRIGGER head_change BEFORE UPDATE ON ledger_head
FOR EACH ROW WHEN (NEW.number <= OLD.number) EXECUTE FUNCTION ledger_no_change()

CREATE TRIGGER head_keep BEFORE INSERT OR DELETE OR TRUNCATE ON ledger_head
FOR EACH STATEMENT EXECUTE FUNCTION ledger_no_change()
"""

_GUARDS = {
    name: tuple(script.format(no_change=_NO_CHANGE, no_gap=_NO_GAP).strip().split("\n\n"))
    for name, script in (("sqlite", _SQLITE), ("postgresql", _POSTGRESQL))
}

TRIGGERS: Mapping[str, tuple[str, ...]] = {
    name: tuple(words[2] for words in map(str.split, script) if words[1] == "TRIGGER")
    for name, script in _GUARDS.items()
}
"""Names of the triggers that must be there, by database."""


def _first(connection: sa.Connection) -> None:
    """Version 1: entries, head and their triggers."""
    _METADATA.create_all(connection, checkfirst=False)
    connection.execute(HEAD.insert().values(one=1, number=0, hash=GENESIS))
    for statement in _GUARDS[connection.dialect.name]:
        connection.exec_driver_sql(statement)


STEPS: tuple[Callable[[sa.Connection], None], ...] = (_first,)
"""What makes version 1 from nothing, 2 from 1 and so on; a step that has been released stays."""


def version_of(connection: sa.Connection) -> int:
    """Version of the tables, 0 when there are none."""
    if not sa.inspect(connection).has_table(_SCHEMA.name):
        return 0
    return int(connection.scalar(sa.select(sa.func.max(_SCHEMA.c.version))) or 0)


def migrate(connection: sa.Connection) -> None:
    """Bring the tables to the newest version, in the transaction of the connection.

    Raises
    ------
    ValueError
        If a later program has written the ledger.
    """
    version = version_of(connection)
    if version > len(STEPS):
        raise ValueError(
            f"this ledger has tables of version {version} and this program knows them up to "
            f"{len(STEPS)}: use a later rimread"
        )
    if version == 0:
        _SCHEMA.create(connection, checkfirst=True)
    for number, step in enumerate(STEPS[version:], start=version + 1):
        step(connection)
        connection.execute(_SCHEMA.insert().values(version=number))


def columns_of(entry: Entry, body: str) -> dict[str, Any]:
    """Row of an entry: the columns for looking things up all follow from its text."""
    draft, record = entry.draft, entry.record
    looked_up = ("photo", "sha256", "status", "test", "scale_label", "scale_sha256")
    return {
        "number": entry.number,
        "hash": entry.hash,
        "body": body,
        "written_at": entry.written_at.isoformat(timespec="microseconds"),
        "kind": draft.kind,
        "operator": draft.operator,
        "replaces": draft.replaces,
        "task": draft.task or None,
        "attempt": draft.attempt or None,
        **{key: record.get(key) for key in looked_up},
        **{key: record.get(key) for key in ("mean_mm", "hbw")},
    }
