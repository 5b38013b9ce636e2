"""What happens at the bench, without a word about HTTP: pictures, decisions, series, scales."""

from __future__ import annotations

import hashlib
import secrets
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from typing import Any

from rimread.bench import blocks, correction, told
from rimread.bench import record as records
from rimread.bench.ask import Ask
from rimread.bench.correction import Correction
from rimread.bench.eye import Eye
from rimread.bench.folder import Folder, Shot
from rimread.bench.job import Job
from rimread.bench.paper import write_report
from rimread.bench.pending import Pending, UndecidedError, Use
from rimread.bench.rest import frames_at_rest, scatter_beyond
from rimread.bench.series import Decision, Line, Series, eyes_of, judge_new, lines_of, placed
from rimread.bench.stage import Stage
from rimread.budget import Component
from rimread.capture.feed import Feed
from rimread.capture.frame import Frame
from rimread.hardness import TestCondition, parse_test
from rimread.ledger import Ledger
from rimread.reading import measure_photo
from rimread.refusal import Refusal

__all__ = ["Desk"]

_TEST_STAYS = "the test of a series stays: begin a new series first"
_OF_A_BLOCK = "a block check is under way: end it first, then write the report of the part"


@dataclass(slots=True, eq=False)
class Desk:
    """The bench of one person; every call is safe from any thread.

    Parameters
    ----------
    folder : Folder
        Where everything is kept.
    ledger : Ledger
        Where readings are written.
    feed : Feed or None
        The camera; None when pictures come as files only.
    camera : str
        Its name, for people.
    clock : callable
        Gives the time, with its zone.
    """

    folder: Folder
    ledger: Ledger
    feed: Feed | None = None
    camera: str = ""
    clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    job: Job = field(default_factory=Job)
    pending: Pending | None = None
    series: Series = field(init=False)
    _stage: Stage = field(default_factory=Stage)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def __post_init__(self) -> None:
        remembered = self.folder.remembered()
        self.job = Job.remembered(remembered.get("job"))
        scales = [scale for _, scale in self.folder.scales()]
        if not self.job.scale and len(scales) == 1:
            self.job = replace(self.job, scale=scales[0].sha256)
        kept = Series.remembered(remembered.get("series"))
        self.series = self._fresh() if kept is None else placed(kept, self.ledger)
        if kept not in {None, self.series}:
            self._remember()

    # -- what the page shows ----------------------------------------------------------------------

    def told(self) -> dict[str, Any]:
        """All of it, as plain values."""
        with self._lock:
            lines, about, today = self._lines(), self.series.told(), self._today()
            test = self._test_shown(lines)
            return {
                "camera": self.camera,
                "job": self.job.told(),
                "scales": told.scales(self.folder, today),
                "blocks": told.blocks(self.folder, today),
                "stage": self._stage.labels(),
                "series": told.series(about, lines, test, self.job.rules),
                "verification": self._verification_told(lines),
                "check_failed": blocks.failed_last(self.folder.daily_log, test, today),
                "pending": None if self.pending is None else told.pending(self.pending),
            }

    def set_job(self, ask: Ask) -> None:
        """Take over the fields of the job that are given."""
        with self._lock:
            job = self.job.changed(ask)
            if job.scale:
                self.folder.scale(job.scale)
            test_or_rules = (job.test, job.rules) != (self.job.test, self.job.rules)
            if test_or_rules and (self.pending is not None or self._lines()):
                raise UndecidedError(_TEST_STAYS)
            self.job = job
            self._remember()

    # -- pictures of indents ----------------------------------------------------------------------

    def snap(self) -> None:
        """Take a picture from the camera and measure it."""
        with self._lock:
            use = self._ready()
            frames = self._frames(self.job.frames)
            burst, (beyond, note) = frames_at_rest(frames), scatter_beyond(frames)
            words = {"Source": self.camera, "Frames averaged": str(burst.frames)}
            shot = self.folder.keep_frames(burst, words)
            self._measure(shot, use, beyond=beyond, note=note)

    def upload(self, data: bytes, label: str) -> None:
        """Measure a picture that came in as a file and does not count in this series yet."""
        with self._lock:
            use = self._ready()
            judge_new(hashlib.sha256(data).hexdigest(), self._lines())
            self._measure(self.folder.keep_upload(data, label, self.clock()), use)

    def read_blind(self, name: str, ask: Ask) -> None:
        """Take over two diameters read by eye before the program's are shown."""
        with self._lock:
            pending = self._pending(name)
            if not pending.blind_due:
                raise UndecidedError("the program's readings have been shown already")
            test = pending.use.test
            blind = records.blind_record(
                pending.shot.path,
                pending.shot.photo.sha256,
                Eye.asked(ask, test),
                test=test,
                series=self._series_told(),
            )
            self.pending = replace(pending, blind_due=False, blind=blind)

    def skip_blind(self, name: str) -> None:
        """Show the program's readings although none by eye were entered."""
        with self._lock:
            self.pending = replace(self._pending(name), blind_due=False)

    # -- decisions --------------------------------------------------------------------------------

    def accept(self, name: str) -> None:
        """Write the reading to the ledger; once this returns no power cut can undo it."""
        with self._lock:
            if self._done_with(name, "accepted"):
                return
            self._pending(name).shown_reading()
            self._write_image(self._pending(name), "accepted")
            self.pending = None

    def reject(self, name: str, ask: Ask) -> None:
        """Write the reading and that it does not count, and why."""
        with self._lock:
            reason = ask.text("reason", least=3, most=500)
            if self._done_with(name, "rejected", reason):
                return
            self._pending(name).shown_result()
            number = self._write_image(self._pending(name), "rejected")
            records.withdraw(self.ledger, number, operator=self.job.operator, reason=reason)
            self.pending = None

    def dismiss(self, name: str) -> None:
        """Put a refused picture aside; it is in the ledger as refused."""
        with self._lock:
            if self._done_with(name, "refused"):
                return
            if not isinstance(self._pending(name).result, Refusal):
                raise UndecidedError("accept, correct or reject this picture")
            self.pending = None

    def try_correction(self, name: str, ask: Ask) -> dict[str, Any]:
        """Measure a person's rim without writing anything."""
        with self._lock:
            return told.correction(self._corrected(name, ask))

    def correct(self, name: str, ask: Ask) -> None:
        """Write the reading and the person's rim that replaces it."""
        with self._lock:
            reason = ask.text("reason", least=3, most=500)
            if self._done_with(name, "corrected", reason):
                return
            pending = self._pending(name)
            found = self._corrected(name, ask)
            if isinstance(found, Refusal):
                raise ValueError(found.message)  # noqa: TRY004  (what a person drew, not a type)
            number = self._write_image(pending, "corrected")
            records.write_correction(
                self.ledger,
                name,
                number,
                found,
                test=pending.use.test,
                operator=self.job.operator,
                reason=reason,
            )
            self.pending = None

    def withdraw(self, ask: Ask) -> None:
        """Say of an entry of this series that it does not count, and why."""
        with self._lock:
            number = ask.whole("entry", 1, 2**62)
            reason = ask.text("reason", least=3, most=500)
            line = next((line for line in self._lines() if line.entry == number), None)
            if line is None or not line.counts:
                raise ValueError(f"entry {number} is none that counts in this series")
            self._operator()
            records.withdraw(self.ledger, number, operator=self.job.operator, reason=reason)

    # -- series -----------------------------------------------------------------------------------

    def new_series(self, ask: Ask) -> dict[str, Any]:
        """End the series and begin another; tells what became of a check that ends with it."""
        with self._lock:
            self._undecided()
            purpose = ask.choice("purpose", ("part", "block"))
            serial = ask.text("block", least=1, most=80) if purpose == "block" else ""
            warning = blocks.expired(self.folder.block(serial), self._today()) if serial else ""
            fresh, said = self._fresh(purpose, serial), {"note": "", "warning": ""}
            if (ended := self.series).purpose == "block":
                said = blocks.logged(self._lines(), self.folder, ended.block, self.job.rules)
            self.series = fresh
            self._remember()
            return {**said, "warning": f"{said['warning']} {warning}".strip()}

    def report(self) -> dict[str, Any]:
        """Write the test report of this series."""
        with self._lock:
            self._undecided()
            if self.series.purpose == "block":
                raise UndecidedError(_OF_A_BLOCK)
            eyes = eyes_of(self.ledger, self.series)
            return write_report(
                self.folder, self.series, self._lines(), self.job, eyes=eyes, on=self._today()
            )

    def add_block(self, ask: Ask) -> dict[str, Any]:
        """Keep the certificate of a reference block; ``warning`` says when it has run out."""
        block = blocks.asked(ask)
        with self._lock:
            self.folder.add_block(block)
            return {"warning": blocks.expired(block, self._today())}

    # -- scale ------------------------------------------------------------------------------------

    def snap_stage(self, slot: str) -> None:
        """Take a picture of the stage micrometer from the camera."""
        with self._lock:
            burst = frames_at_rest(self._frames(1))
            shot = self.folder.keep_frames(burst, {"Source": self.camera, "Of": "stage micrometer"})
            self._stage.put(slot, shot)

    def upload_stage(self, slot: str, data: bytes, label: str) -> None:
        """Take a picture of the stage micrometer that came in as a file."""
        with self._lock:
            self._stage.put(slot, self.folder.keep_upload(data, label, self.clock()))

    def drop_stage(self) -> None:
        """Forget the pictures of the stage micrometer; the files stay."""
        with self._lock:
            self._stage.clear()

    def make_scale(self, ask: Ask) -> dict[str, Any]:
        """Make a scale from the pictures of the stage micrometer and use it from now on."""
        with self._lock:
            result = self._stage.scale(ask, self._today())
            if isinstance(result, Refusal):
                return {"status": "refused", "code": result.code, "message": result.message}
            scale = self.folder.add_scale(result)
            self._stage.clear()
            self.job = replace(self.job, scale=scale.sha256)
            self._remember()
            return {"status": "calibrated", **told.scale(scale, self._today())}

    # -- pictures for the page --------------------------------------------------------------------

    def shot(self, name: str) -> Shot | None:
        """A picture the page may show: the pending one or one of the stage micrometer."""
        with self._lock:
            shots = self._stage.shown()
            if self.pending is not None:
                shots[self.pending.id] = self.pending.shown_shot()
            return shots.get(name)

    # -- within -----------------------------------------------------------------------------------

    def _today(self) -> date:
        return self.clock().astimezone().date()

    def _series_told(self) -> dict[str, Any]:
        return {**self.series.told(), **self.job.piece()}

    def _remember(self) -> None:
        self.folder.remember({"job": self.job.told(), "series": self.series.kept()})

    def _fresh(self, purpose: str = "part", block: str = "") -> Series:
        return Series.fresh(self.clock(), purpose, block, after=self.ledger.head()[0])

    def _lines(self) -> list[Line]:
        return lines_of(self.ledger, self.series)

    def _test(self) -> TestCondition:
        """Test of the series: the block's own, or that of the job."""
        if self.series.purpose == "block":
            return self.folder.block(self.series.block).test
        return parse_test(self.job.test)

    def _test_shown(self, lines: Sequence[Line]) -> TestCondition | None:
        """Test of the lines, or of those to come: None where the block's file is lost."""
        if lines:
            return lines[-1].test
        try:
            return self._test()
        except ValueError:
            return None

    def _operator(self) -> str:
        if not self.job.operator:
            raise ValueError("say under Job who tests: the record needs a name")
        return self.job.operator

    def _ready(self) -> Use:
        self._undecided()
        self._operator()
        name, scale = self.folder.scale(self.job.scale)
        test, lines = self._test(), self._lines()
        # a newer certificate of the block may say another
        if lines and lines[-1].test.name != test.name:
            raise UndecidedError(_TEST_STAYS)
        return Use(test, scale, f"scales/{name}")

    def _undecided(self) -> None:
        if self.pending is not None:
            raise UndecidedError("first decide on the picture: accept, correct or reject it")

    def _frames(self, count: int) -> list[Frame]:
        if self.feed is None:
            raise ValueError("there is no camera: open a picture file instead")
        frames = self.feed.next(count)
        if len(frames) < count:
            raise ValueError(self.feed.trouble or "the camera gives no pictures")
        return frames

    def _measure(
        self,
        shot: Shot,
        use: Use,
        *,
        beyond: Sequence[Component] = (),
        note: str = "",
    ) -> None:
        day = shot.taken_at.astimezone().date()
        result = measure_photo(
            shot.photo, use.scale, use.test, rules=self.job.rules, on=day, beyond=beyond
        )
        blind_due = self.job.blind and not isinstance(result, Refusal)
        name = secrets.token_hex(8)
        pending = Pending(name, shot, result, use, blind_due, note=note)
        if isinstance(result, Refusal):  # there is nothing to decide; the record keeps it
            self._write_image(pending, "refused")
        self.pending = pending

    def _pending(self, name: str) -> Pending:
        if self.pending is None or self.pending.id != name:
            raise UndecidedError("that picture is no longer on the table")
        return self.pending

    def _done_with(self, name: str, decision: Decision, reason: str = "") -> bool:
        """Whether a request came twice: its answer was lost, its entry was not."""
        if self.pending is not None and self.pending.id == name:
            return False
        return records.is_done(self.ledger, name, decision, reason)

    def _write_image(self, pending: Pending, decision: Decision) -> int:
        series, operator = self._series_told(), self._operator()
        return records.write_image(self.ledger, pending, decision, series=series, operator=operator)

    def _corrected(self, name: str, ask: Ask) -> Correction | Refusal:
        pending = self._pending(name)
        reading, scale = pending.shown_reading(), pending.use.scale
        return correction.asked(ask, reading, scale, rules=self.job.rules)

    def _verification_told(self, lines: Sequence[Line]) -> dict[str, Any] | None:
        if self.series.purpose != "block":
            return None
        return told.verification(
            lines, self.folder, self.series.block, rules=self.job.rules, today=self._today()
        )
