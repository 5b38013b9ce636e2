"""An archive measured again: photos in, entries out, each exactly once however often it is started.

The ledger is the only memory. What is in it is done; what was being worked on when the power
failed is not in it and is done at the next start. The database itself holds each attempt once.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path, PurePath
from typing import Any, Final, Self

from rimread import __version__
from rimread.archive.items import Item, task_of
from rimread.archive.moved import Whereabouts
from rimread.archive.pool import Pool
from rimread.archive.standing import another_picture, file_hash, stands
from rimread.archive.work import NOT_SETTLED, Settings, measure_item, refused, why
from rimread.ledger import Draft, Entry, Ledger
from rimread.ledger.chain import canonical, sha256_of
from rimread.refusal import Refusal, program_fault
from rimread.table import Problem

__all__ = ["REPEATED", "Archive", "Tally", "remeasure"]

_PAGE = 200  # photos looked up in the ledger at once
_COMMIT_EVERY = 200  # results written together: a commit waits for the disk
_COMMIT_AFTER_S = 1.0  # or as many as there are then
_AHEAD = 4  # photos handed out for each that is worked on, so that no worker waits

REPEATED: Final = "repeated-line"  # of a problem: the line names a photo again
Work = Callable[[Item, Settings], dict[str, Any]]


@dataclass(slots=True)
class Tally:
    """Counts of a run; only what is in the ledger is counted.

    Parameters
    ----------
    before : int
        Done at an earlier start.
    measured, refused, unreadable : int
        Done now; a refusal because a file could not be read counts as unreadable only.
    bad_lines, duplicates : int
        Of the manifest; of a folder tree, folders that cannot be looked into.
    others : int
        Of those done now, pictures that are not the ones measured under their names before.
    """

    before: int = 0
    measured: int = 0
    refused: int = 0
    unreadable: int = 0
    bad_lines: int = 0
    duplicates: int = 0
    others: int = 0
    reasons: Counter[str] = field(default_factory=Counter)

    @property
    def now(self) -> int:
        """Photos done since this start."""
        return self.measured + self.refused + self.unreadable

    @property
    def passed(self) -> int:
        """All that was dealt with."""
        return self.now + self.before + self.bad_lines + self.duplicates

    def count(self, record: dict[str, Any]) -> None:
        """Count one record."""
        if record["status"] == "measured":
            self.measured += 1
            return
        code = record["reasons"][0]["code"]
        self.reasons[code] += 1
        if record["sha256"] is None:
            self.unreadable += 1
        else:
            self.refused += 1


@dataclass(frozen=True, slots=True)
class Known:
    """A photo, and what the ledger has of it.

    Parameters
    ----------
    item : Item or Problem
        Or what is wrong with its line.
    task : str
        What it is known by.
    last : Entry or None
        The last that was made of it here.
    by_hand : Entry or None
        What a person put in its place: another reading, or a withdrawal.
    """

    item: Item | Problem
    task: str
    last: Entry | None
    by_hand: Entry | None

    @property
    def now(self) -> Entry | None:
        """What the ledger says of it now."""
        return self.by_hand or self.last


class Archive:
    """Photos of one source under one name, and which line of it named each first.

    Parameters
    ----------
    source : callable
        Gives the items from the beginning, each time it is called.
    settings : Settings
        For all of them.
    run : str
        Name under which they are the same photos when started again.
    roots : tuple of Path
        Where photos that moved are looked for.
    """

    def __init__(
        self,
        source: Callable[[], Iterable[Item | Problem]],
        settings: Settings,
        *,
        run: str,
        roots: tuple[Path, ...] = (),
    ) -> None:
        self.source = source
        self.settings = settings
        self.run = run
        self.whereabouts = Whereabouts(roots)
        self._first = sqlite3.connect("")  # on disk once it is large, gone with the process
        self._first.execute("CREATE TABLE first (place TEXT PRIMARY KEY, line INTEGER)")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._first.close()

    def how(self, item: Item) -> str:
        """Hash of all that is said about how to measure an item; another makes it due again."""
        settings = self.settings
        taken_on = item.taken_on or settings.taken_on
        return sha256_of(
            canonical(
                {
                    "test": (item.test or settings.test).strip(),
                    "scale": file_hash(item.scale or settings.scale),
                    "label": item.label,
                    "sha256": item.sha256,
                    "rules": file_hash(settings.rules),
                    "tone": settings.tone,
                    "taken_on": None if taken_on is None else taken_on.isoformat(),
                    "version": __version__,
                }
            )
        )

    def first_line(self, place: str, line: int) -> int:
        """Line of the manifest that named the file at this place first, maybe this one."""
        if line == 0:  # a folder tree names no file twice
            return 0
        self._first.execute("INSERT OR IGNORE INTO first VALUES (?, ?)", (place, line))
        (first,) = self._first.execute(
            "SELECT line FROM first WHERE place = ?", (place,)
        ).fetchone()
        return int(first)

    def items(self) -> Iterator[Item | Problem]:
        """Items in their order, with the problems that `pages` gives."""
        return (self._keyed(item)[0] for item in self.source())

    def pages(self, ledger: Ledger) -> Iterator[list[Known]]:
        """Items with their tasks and what the ledger has of them, a page at a time.

        A line that names a photo again is given as a problem of the code `REPEATED`: one photo,
        one indent, one test.
        """
        items = iter(self.source())
        while page := list(islice(items, _PAGE)):
            keyed = [self._keyed(item) for item in page]
            there = ledger.latest([task for _, task in keyed if task])
            later = ledger.successors([entry.number for entry in there.values()])
            last = {task: (entry, later.get(entry.number)) for task, entry in there.items()}
            yield [Known(item, task, *last.get(task, (None, None))) for item, task in keyed]

    def _keyed(self, item: Item | Problem) -> tuple[Item | Problem, str]:
        if isinstance(item, Problem):
            return item, ""
        task = task_of(item.photo, run=self.run)
        place = os.path.normcase(os.path.abspath(item.path))  # noqa: PTH100  (as it is written)
        first = self.first_line(place, item.line)
        if first != item.line:
            said = f"names the same photo as line {first}: {item.photo}"
            return Problem(item.line, said, {"photo": item.photo}, item.own, REPEATED), ""
        return item, task


@dataclass(frozen=True, slots=True)
class _Todo:
    item: Item
    task: str
    how: str
    last: Entry | None

    def draft(self, record: dict[str, Any], ledger: Ledger, run: str) -> Draft | None:
        """Entry to be written, None when a new try came to the same."""
        record = record | {"run": run, "how": self.how}
        last = self.last
        if last is None:
            return Draft("image", record, task=self.task, attempt=1)
        same_how = last.record.get("how") == self.how
        reason = why(record)
        if same_how and reason[0] in NOT_SETTLED and reason == why(last.record):
            return None
        attempt = last.draft.attempt + 1
        if ledger.replaced_by(last.number) is not None:  # a person corrected or withdrew it
            return Draft("image", record, task=self.task, attempt=attempt)
        return Draft(
            "image",
            record,
            task=self.task,
            attempt=attempt,
            replaces=last.number,
            reason=self._reason(record),
        )

    def _reason(self, record: Mapping[str, Any]) -> str:
        """Why what there was is replaced."""
        if self.another(record):
            return _ANOTHER
        again = self.last is not None and why(self.last.record)[0] in NOT_SETTLED
        return _TRIED_AGAIN if again else _OTHERWISE

    def another(self, record: Mapping[str, Any]) -> bool:
        """Whether the picture is another one than the last of this name."""
        before = None if self.last is None else self.last.record.get("sha256")
        return before is not None and record.get("sha256") not in (None, before)


_TRIED_AGAIN = "tried again: it had been refused for what does not lie in the picture"
_ANOTHER = "measured again: the photo of this name is another picture now"
_OTHERWISE = "measured again: test, scale, rules, day, tone or the program's version is another now"


def remeasure(
    archive: Archive,
    ledger: Ledger,
    pool: Pool,
    *,
    work: Work = measure_item,
    progress: Callable[[Tally], None] = lambda _: None,
    tell: Callable[[str], None] = lambda _: None,
) -> Tally:
    """Measure the photos of an archive that the ledger does not have.

    Parameters
    ----------
    archive : Archive
        The photos.
    ledger : Ledger
        Where entries go.
    pool : Pool
        Who does the work.
    work : callable
        Item and settings to record; importable by name, as it goes to other processes.
    progress : callable
        Called with the counts after each commit.
    tell : callable
        Called with a sentence about each line of the manifest that cannot be used.

    Returns
    -------
    Tally
        What came of it.

    Raises
    ------
    LedgerError
        (A ValueError.) If the ledger cannot be written.
    ValueError
        If a cluster is lost. In both cases what was counted is in the ledger.
    """
    tally = Tally()
    todos = _todos(archive, ledger, tally, tell)
    waiting: dict[Future[dict[str, Any]], _Todo] = {}
    finished: list[tuple[_Todo, dict[str, Any]]] = []
    committed = time.monotonic()
    try:
        while True:
            room = _AHEAD * pool.at_once - len(waiting)
            for todo in islice(todos, max(room, 0)):
                waiting[pool.submit(work, todo.item, archive.settings)] = todo
            if not waiting:
                break
            done, _ = wait(waiting, timeout=_COMMIT_AFTER_S, return_when=FIRST_COMPLETED)
            finished += _outcomes(done, waiting, pool, work, archive.settings)
            if len(finished) >= _COMMIT_EVERY or time.monotonic() - committed > _COMMIT_AFTER_S:
                _commit(finished, ledger, archive.run, tally)
                committed = time.monotonic()
                progress(tally)
    finally:
        _commit(finished, ledger, archive.run, tally)
        progress(tally)
    return tally


def _todos(
    archive: Archive, ledger: Ledger, tally: Tally, tell: Callable[[str], None]
) -> Iterator[_Todo]:
    """Items to be worked on; the others are counted."""
    for page in archive.pages(ledger):
        for known in page:
            item, last = known.item, known.last
            if isinstance(item, Problem):
                tell(str(item))
                repeated = item.code == REPEATED
                tally.duplicates += repeated
                tally.bad_lines += not repeated
                continue
            how = archive.how(item)
            if _settled_by_hand(known) or (
                last is not None and stands(item, last.record, how=how, settings=archive.settings)
            ):
                tally.before += 1
            else:
                yield _Todo(_at_its_place(item, archive, ledger), known.task, how, last)


def _settled_by_hand(known: Known) -> bool:
    """Whether a person took out or corrected what was made of this picture; that stays so.

    What was refused for what does not lie in the picture may be tried again.
    """
    if known.by_hand is None or known.last is None or isinstance(known.item, Problem):
        return False
    record = known.last.record
    return why(record)[0] not in NOT_SETTLED and not another_picture(known.item, record)


def _at_its_place(item: Item, archive: Archive, ledger: Ledger) -> Item:
    """The item, with the path it moved to if its hash is known and it is found."""
    if os.path.exists(item.path):
        return item
    sha256 = item.sha256 or ledger.sha256_of_photo(item.photo, run=archive.run)
    found = sha256 and archive.whereabouts.find(PurePath(item.path).name, sha256)
    return replace(item, path=found, sha256=sha256) if found and sha256 else item


def _outcomes(
    done: Collection[Future[dict[str, Any]]],
    waiting: dict[Future[dict[str, Any]], _Todo],
    pool: Pool,
    work: Work,
    settings: Settings,
) -> Iterator[tuple[_Todo, dict[str, Any]]]:
    """Records of finished work; after a process has ended, all it may have been are done alone."""
    suspects: list[_Todo] = []
    for future in [each for each in waiting if each in done]:  # in the order they were begun
        todo = waiting.pop(future)
        record = _record_of(future, todo, settings)
        if record is None:
            suspects.append(todo)
        else:
            yield todo, record
    if not suspects:
        return
    suspects += waiting.values()
    waiting.clear()
    pool.restart()
    for todo in suspects:
        record = _record_of(pool.submit(work, todo.item, settings), todo, settings)
        if record is None:
            pool.restart()
        yield todo, record or refused(todo.item, settings, _ENDED)


_ENDED = Refusal(
    "process-ended",
    "The process that worked on this photo ended without a word, twice: most often the computer "
    "is out of memory; try it alone, or save it smaller in bytes, not in pixels.",
)


def _record_of(
    future: Future[dict[str, Any]], todo: _Todo, settings: Settings
) -> dict[str, Any] | None:
    """Record of one photo, None when the process ended."""
    try:
        fault = future.exception()
    except CancelledError:
        raise ValueError("the cluster was lost; start again to go on where it stopped") from None
    if fault is None:
        return future.result()
    if isinstance(fault, BrokenProcessPool):
        return None
    if type(fault).__name__ == "KilledWorker":  # of the cluster, after several tries of its own
        return refused(todo.item, settings, _ENDED)
    return refused(todo.item, settings, program_fault(fault))


def _commit(
    finished: list[tuple[_Todo, dict[str, Any]]], ledger: Ledger, run: str, tally: Tally
) -> None:
    drafts = [todo.draft(record, ledger, run) for todo, record in finished]
    ledger.append([draft for draft in drafts if draft is not None])
    for todo, record in finished:
        tally.count(record)
        tally.others += todo.another(record)
    finished.clear()
