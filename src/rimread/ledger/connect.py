"""The database behind a ledger: SQLite in a file, or PostgreSQL."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

__all__ = ["LedgerError", "engine_of", "told", "write_ahead"]

_URL = sa.URL.create("sqlite+pysqlite")
_BUSY_S = 60  # how long a writer waits for another
_AGAIN_S = 0.02  # after which what SQLite does not wait for is tried again


class LedgerError(ValueError):
    """The database cannot be used or refuses; the message is what it said."""


def engine_of(where: str | Path, *, create: bool) -> tuple[sa.Engine, str]:
    """Engine of a ledger's database, and what to call it in messages: the password never shows.

    Raises
    ------
    LedgerError
        If there is no such file or folder, or the URL leads nowhere.
    """
    text = str(where)
    if "://" not in text:
        path = Path(where)
        if not path.exists() and not (create and path.parent.is_dir()):
            raise LedgerError(
                f"{path}: no such file" if path.parent.is_dir() else f"{path}: no such folder"
            )
        if create or not _finished(path):
            return _sqlite(_URL.set(database=str(path))), text
        as_it_is = {"immutable": "1", "mode": "ro", "uri": "true"}
        return _sqlite(_URL.set(database=path.absolute().as_uri(), query=as_it_is)), text
    try:
        url = sa.make_url(text)
    except sa.exc.ArgumentError:
        raise LedgerError("a ledger is a file or a URL like postgresql://user@host/name") from None
    if url.drivername in {"postgresql", "postgres"}:
        url = url.set(drivername="postgresql+pg8000")
    if url.get_backend_name() != "postgresql":
        raise LedgerError(f"a ledger is a file or in PostgreSQL (got {url.get_backend_name()!r})")
    try:
        return sa.create_engine(url, pool_pre_ping=True), url.render_as_string()
    except ModuleNotFoundError as error:
        raise LedgerError(
            f'{error.name} is not installed: pip install "rimread[postgresql]"'
        ) from None


def _finished(path: Path) -> bool:
    """Whether nobody may write a file, as on a disk for reading, and it holds all of its entries.

    SQLite else asks for a place beside it.
    """
    writable = os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK)
    return not writable and not path.with_name(f"{path.name}-wal").exists()


def _sqlite(url: sa.URL) -> sa.Engine:
    engine = sa.create_engine(url, connect_args={"timeout": _BUSY_S})

    @sa.event.listens_for(engine, "connect")
    def _connected(connection: Any, _record: object) -> None:  # noqa: ANN401  (DBAPI)
        connection.isolation_level = None  # transactions begin below, not by the driver's guess
        connection.execute("PRAGMA synchronous = FULL")  # on the disk when a commit returns,
        connection.execute("PRAGMA fullfsync = ON")  # not in the drive's cache (macOS)
        connection.execute("PRAGMA recursive_triggers = ON")
        connection.create_function("lower", 1, _lower, deterministic=True)  # SQLite's own: a to z

    @sa.event.listens_for(engine, "begin")
    def _begun(connection: sa.Connection) -> None:
        options = connection.get_execution_options()
        if not options.get("rimread_bare"):
            connection.exec_driver_sql(
                "BEGIN IMMEDIATE" if options.get("rimread_write") else "BEGIN"
            )

    return engine


def _lower(text: object) -> object:
    """Other than text only where somebody put it in by hand: that matches nothing, as it is."""
    return text.casefold() if isinstance(text, str) else text


@contextmanager
def told(name: str = "") -> Iterator[None]:
    """Turn what the database says into one sentence."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        said = error.orig.args[0] if error.orig is not None and error.orig.args else error
        if isinstance(said, dict):  # pg8000 hands on the server's fields; M is the message
            said = said.get("M", said)
        raise LedgerError(f"{name or 'ledger'}: {said}") from error
    except sa.exc.InterfaceError as error:
        raise LedgerError(f"{name or 'ledger'}: {error}") from error


def write_ahead(engine: sa.Engine, name: str, *, patient: bool) -> None:
    """Let readers and a writer work side by side in SQLite; the file keeps that.

    Only in a ledger: it rewrites the head of whatever file is open.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        Of the ledger.
    name : str
        What to call it in messages.
    patient : bool
        Wait for others who have it open, and raise when it cannot be done. Otherwise it is tried
        once, and left to the next when others are at work or the file may only be read.
    """
    if engine.dialect.name != "sqlite":
        return
    bare = engine.execution_options(rimread_bare=True)  # no transaction may be open
    until = time.monotonic() + (_BUSY_S if patient else 0)
    with told(name), bare.connect() as connection:
        if connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal":
            return
        connection.exec_driver_sql("PRAGMA busy_timeout = 0")  # SQLite waits for readers alone
        try:
            while not _switched(connection, patient=patient) and time.monotonic() < until:
                time.sleep(_AGAIN_S)
        finally:
            connection.exec_driver_sql(f"PRAGMA busy_timeout = {_BUSY_S * 1000}")


def _switched(connection: sa.Connection, *, patient: bool) -> bool:
    """Whether it is done; others who are at work with it keep it from that for a while."""
    try:
        connection.exec_driver_sql("PRAGMA journal_mode = WAL")
    except sa.exc.OperationalError as error:
        code = getattr(error.orig, "sqlite_errorcode", sqlite3.SQLITE_BUSY)
        if patient and code & 0xFF != sqlite3.SQLITE_BUSY:  # the low byte: the rest says which kind
            raise
        return False
    return True
