"""The machine behind a measurement, as its reference block shows it."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from rimread.cli._indents import Given, held_against, indents_from
from rimread.cli._io import REFUSED, expand, say
from rimread.cli._job import Job, Seen, measured, taken_twice, told_once
from rimread.cli._options import Way
from rimread.cli._series import statement_of, way_by

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from collections.abc import Iterable

    from rimread.check import Check
    from rimread.hardness import Indent, RuleSet, Statement, TestCondition, Verification

__all__ = ["Machine", "machine_of"]


@dataclass(frozen=True, slots=True)
class Machine:
    """How force and ball get into the uncertainty.

    `code` is the exit code by the block, `pictures` the hashes of the photos on it.
    """

    test: TestCondition
    rules: RuleSet
    way: Way
    verification: Verification | None
    code: int
    pictures: frozenset[str] = frozenset()

    def code_by(self, all_seen: Iterable[Seen]) -> int:
        """Exit code by photos of the piece that are also on the block; people are told of them."""
        both = {seen.path for seen in all_seen if seen.sha256 in self.pictures}
        for path in sorted(both):
            say(f"{path}: the same picture is on the block; it is of the block or of the piece")
        return REFUSED if both else 0

    def statement(self, indent: Indent) -> Statement | None:
        """Of one indent by itself."""
        from rimread.hardness import series_from_indents  # noqa: PLC0415

        series = series_from_indents([indent], self.test)
        return statement_of(series, self.way, self.rules, self.verification)


def machine_of(
    block: Path | None, on_block: list[str] | None, way: Way | None, job: Job
) -> Machine:
    """What the block says of the machine, its photos measured first."""
    from rimread.hardness import read_block  # noqa: PLC0415

    if (block is None) != (not on_block):
        raise ValueError("--block and --on-block belong together: a block file and its indents")
    if block is None:
        if way not in (None, "parts"):
            raise ValueError(f"--way {way} goes through a block: give --block and --on-block")
        return Machine(job.test, job.rules, "parts", None, 0)
    certificate = read_block(block)
    given, code = _indents_on_block(on_block or [], job)
    if len(given.indents) < 2:
        raise ValueError(
            f"block {certificate.serial}: at least two indents on it are needed to tell its "
            f"scatter (measured {len(given.indents)})"
        )
    day = job.on or date.today()  # noqa: DTZ011  (the lab's own calendar)
    verification = held_against(certificate, given, job.test, day=day, rules=job.rules)
    return Machine(
        job.test,
        job.rules,
        way_by(way, block=True),
        verification,
        max(code, 0 if verification.passed else REFUSED),
        given.pictures,
    )


def _indents_on_block(words: list[str], job: Job) -> tuple[Given, int]:
    """Indents from photos, pairs and results, and the exit code by them."""
    plain = replace(job, piece=None, lay_deg=None)
    indents: list[Indent] = []
    checks: list[Check] = []
    photos: list[Seen] = []
    pictures: set[str] = set()
    code = 0
    for path in expand(words):
        word = str(path)
        typed = "," in word and not os.path.exists(path)
        if typed or word == "-" or path.suffix.lower() in (".json", ".jsonl"):
            given = indents_from([word], job.test)
            indents += given.indents
            checks += given.checks
            pictures |= given.pictures
            code = max(code, REFUSED if given.refused else 0)
            continue
        seen = measured(path, plain)
        if seen.indent is None:
            code = max(code, seen.exit_code)
            if seen.photo is not None:
                say(f"{path}: on the block, refused and left out ({seen.code})")
        else:
            photos.append(seen)
    once, _ = told_once(photos)
    indents += (seen.indent for seen in once if seen.indent is not None)
    checks += (replace(c, message=f"on the block, {c.message}") for c in taken_twice(once))
    pictures |= {seen.sha256 for seen in photos if seen.sha256}
    return Given(tuple(indents), 0, tuple(checks), frozenset(pictures)), code
