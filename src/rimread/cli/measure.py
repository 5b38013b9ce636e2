"""``rimread measure``: diameters and hardness from photos of indents."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from rimread.budget import in_step
from rimread.cli import _measure_options as own
from rimread.cli._book import Keeper, Kept, Wishes, keeping
from rimread.cli._indents import print_checks
from rimread.cli._io import MISUSE, REFUSED, expand, print_json, say, shown, speaking, telling, told
from rimread.cli._job import (
    Job,
    Seen,
    job_of,
    measured,
    measured_all,
    piece_of,
    taken_twice,
    told_once,
)
from rimread.cli._machine import Machine, machine_of
from rimread.cli._options import (
    Average,
    Edge,
    Json,
    Material,
    Radius,
    Rules,
    ScaleFile,
    Spacing,
    Test,
    Thickness,
    Tone,
)
from rimread.cli._series import (
    Together,
    print_series,
    print_statement,
    series_json,
    statement_json,
    taken_together,
)

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.scale.model import Scale


def measure(
    photos: own.Photos,
    scale: ScaleFile,
    test: Test,
    every: own.Every = False,
    overlay: own.Overlay = None,
    tone: Tone = None,
    on: own.On = None,
    rules: Rules = "iso",
    budget: own.Budget = False,
    material: Material = None,
    thickness: Thickness = None,
    edge: Edge = None,
    spacing: Spacing = None,
    radius: Radius = None,
    lay: own.Lay = None,
    average: own.Average = None,
    block: own.Block = None,
    on_block: own.OnBlock = None,
    way: own.Way = None,
    human: own.Human = None,
    operator: own.Operator = "",
    ledger: own.Ledger = None,
    replaces: own.Replaces = None,
    reason: own.Reason = "",
    as_json: Json = False,
) -> None:
    """Measure the indent in each photo.

    Gives two diameters at right angles and the hardness, each with its uncertainty U.

    \b
      rimread measure indent.jpg --scale scope.toml --test 10/3000
      rimread measure job-17/*.jpg --scale scope.toml --test 5/750 --overlay seen
      rimread measure indent.jpg --scale scope.toml --test 10/3000 --ledger book.db
      rimread measure part/*.jpg --scale scope.toml --test 10/3000 --average all --thickness 8
      rimread measure part/*.jpg --scale scope.toml --test 10/3000 --average all \\
        --block block.toml --on-block "block/*.jpg" --way bias
      rimread measure plate.jpg --scale scope.toml --test 5/750 --all --overlay seen

    The photos must come from the camera, objective and picture size the scale was made with,
    uncropped. A photo that cannot be trusted is refused with what to do at the scope, and gets no
    number.

    U in the table covers the reading of the diameter only. Look at the overlay before a number
    counts: the fitted rim must lie on the edge of the indent.

    With --all the indents of a photo are numbered from left to right, each with its distance to the
    next one, centre to centre and rim to rim; its spacing is judged by them. The edge of the
    picture is not the edge of the piece: that distance comes from --edge. What lies outside the
    picture is not seen: give --spacing if something nearer lies there. Photos on a block
    (--on-block) and archives (rimread remeasure) hold one indent each.

    With --average the photos make one result; its U covers force, ball, reading and scatter, what
    the photos share (scale, rim definition) not averaged away. With --block the machine's part is
    taken from the reference block: its permissible error (the block passed), or its measured bias,
    which is then taken off.

    Exit codes: 0 all measured and all checks passed or warned; 1 a photo was refused or failed a
    check; 2 wrong use or a photo that cannot be read. The rest of the photos are still measured.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        if lay is not None and not math.isfinite(lay):
            raise ValueError(f"--lay is a direction in degrees (got {lay:g})")
        job = job_of(scale, test, rules, tone, on)
        job = replace(job, piece=piece_of(material, thickness, edge, spacing, radius), lay_deg=lay)
        paths = expand(photos)
        machine = machine_of(block, on_block, way, job)
        if not every:
            _enough(average, paths)
        wishes = Wishes(ledger, human or (), operator, replaces, reason)
        alone = None if average is not None or block is None else machine
        with keeping(wishes, len(paths), job.test, job.scale, scale) as keeper:
            names = [f"{path} #9" if every else str(path) for path in paths]
            show = _json_shown(alone) if as_json else _table(names, alone, budget=budget)
            draw = None if overlay is None else _drawer(overlay, paths, job.scale)
            code, all_seen = _each(paths, job, keeper, show, draw, every=every, code=machine.code)
        code = max(code, machine.code_by(all_seen))
        if average is not None:
            code = max(code, _averaged(all_seen, average, machine, as_json=as_json, budget=budget))
        if not as_json:
            with telling():
                _closing(job.scale, machine if average is None else None, every=every)
    raise typer.Exit(code)


def _each(
    paths: Sequence[Path],
    job: Job,
    keeper: Keeper,
    show: Callable[[Seen, Kept], None],
    draw: Callable[[Sequence[Seen]], int] | None,
    *,
    every: bool,
    code: int,
) -> tuple[int, list[Seen]]:
    """Measure, keep, show and draw each photo; gives the worst exit code and all indents.

    Where nothing stays behind, the work ends with its reader.
    """
    stays = keeper.book is not None or draw is not None
    all_seen: list[Seen] = []
    for path in paths:
        indents = measured_all(path, job) if every else [measured(path, job)]
        keeper.judge(path, len(indents))
        for seen in indents:
            kept = keeper.keep(path, seen.sha256, seen.result)
            code = max(code, seen.exit_code)
            if not told(show, seen, kept) and not stays:
                raise typer.Exit(code)
        if draw is not None:
            code = max(code, draw(indents))
        all_seen += indents
    return code, all_seen


def _enough(average: Average | None, paths: list[Path]) -> None:
    if average == "drop-extremes" and len(paths) < 5:
        raise ValueError(
            f"--average drop-extremes takes five photos or more (got {len(paths)}): highest and "
            f"lowest go"
        )


def _json_shown(alone: Machine | None) -> Callable[[Seen, Kept], None]:
    """Return what prints a line; `alone` adds the uncertainty through the block."""
    from rimread.reading import reading_json  # noqa: PLC0415

    def line(seen: Seen, kept: Kept) -> None:
        record = reading_json(str(seen.path), seen.sha256, seen.result) | kept.json()
        if alone is not None:
            statement = None if seen.indent is None else alone.statement(seen.indent)
            record["statement"] = statement_json(statement)
        print_json(record)

    return line


def _table(
    names: list[str], alone: Machine | None, *, budget: bool
) -> Callable[[Seen, Kept], None]:
    """Return what prints a row, the head of the table before the first."""
    from rimread.refusal import Refusal  # noqa: PLC0415
    from rimread.report import text  # noqa: PLC0415

    wide = max(len(shown(name)) for name in names)
    head = [f"{'photo':{wide}}  {'d1 mm':>8}  {'d2 mm':>8}  {'mean mm ± U':>18}  hardness ± U"]

    def row(seen: Seen, kept: Kept) -> None:
        while head:  # with a row: whether anybody reads is told by what came of a photo
            print(head.pop())
        name = shown(seen.name)
        if isinstance(seen.result, Refusal):
            word = "unreadable" if seen.photo is None else f"refused ({seen.result.code})"
            why = "" if seen.photo is None else f": {seen.result.message}"
            print(shown(f"{name:{wide}}  {word}{why}"), flush=True)
            for line in kept.lines():
                print(f"    {line}", flush=True)
            return
        found = seen.result.diameters
        U = found.budget.U
        d1, d2 = (in_step(d, U)[0] for d in (found.d1_mm, found.d2_mm))
        mean = " ± ".join(in_step(found.mean_mm, U))
        print(
            f"{name:{wide}}  {d1:>8}  {d2:>8}  {mean:>18}  {text.result(seen.result)}",
            flush=True,
        )
        extra = text.budget_lines(found.budget, found.mean_mm) if budget else ()
        near = text.place_lines(seen.result.place)
        for line in (*near, *text.check_lines(seen.result), *extra, *kept.lines()):
            print(f"    {line}", flush=True)
        statement = alone and seen.indent and alone.statement(seen.indent)
        if statement:
            print_statement(statement, budget=budget, before="    with the block: ")

    return row


def _averaged(
    all_seen: Sequence[Seen], average: Average, machine: Machine, *, as_json: bool, budget: bool
) -> int:
    """Print the one result of all photos and return its exit code."""
    once, twice = told_once([seen for seen in all_seen if seen.indent is not None])
    found = taken_together(
        [seen.indent for seen in once if seen.indent is not None],
        [seen.name for seen in all_seen if seen.indent is None],
        machine.test,
        average=average,
        way=machine.way,
        rules=machine.rules,
        verification=machine.verification,
    )
    found = replace(found, checks=(*found.checks, *taken_twice(once)), twice=tuple(twice))
    with telling():
        if as_json:
            print_json({"series": series_json(found, average)})
        else:
            _print_together(found, average, budget=budget)
    return REFUSED if found.failed else 0


def _print_together(found: Together, average: Average, *, budget: bool) -> None:
    lists = (("not in it", found.refused), ("the same picture again", found.twice))
    left_out = "".join(f"; {what}: {', '.join(names)}" for what, names in lists if names)
    print(f"\nTogether ({average}{shown(left_out)})")
    if found.series is None:
        print(f"  no result: {found.why}")
    else:
        print_series(found.series)
        if found.statement is None:
            print(found.series.designation)
        else:
            print_statement(found.statement, budget=budget)
    print_checks(found.checks)


def _drawer(folder: Path, paths: list[Path], scale: Scale) -> Callable[[Sequence[Seen]], int]:
    """Return what writes the overlay of a photo, all its indents in one; it gives an exit code."""
    from rimread.reading import Reading  # noqa: PLC0415
    from rimread.report import text  # noqa: PLC0415
    from rimread.report.overlay import overlay, overlay_all  # noqa: PLC0415
    from rimread.report.overlay_file import name_key, save_overlay  # noqa: PLC0415

    taken = {name_key(path) for path in paths}  # never write over a photo

    def draw(indents: Sequence[Seen]) -> int:
        first = indents[0]
        if first.photo is None:
            return 0
        if first.number:
            results = [seen.result for seen in indents]
            picture = overlay_all(
                first.photo, results, scale, text.lines_of_all(first.photo.name, results)
            )
        elif isinstance(first.result, Reading):
            reading = first.result
            picture = overlay(
                first.photo, reading.rim, reading.diameters, scale, text.lines(reading)
            )
        else:
            same_size = first.code != "photo-size"
            lines = text.refusal_lines(first.photo.name, first.result)
            picture = overlay(first.photo, None, None, scale if same_size else None, lines)
        try:
            save_overlay(picture, folder, first.path, taken, sha256=first.photo.sha256)
        except OSError as error:  # the numbers stand, and so do the other photos
            say(f"{error.filename or folder}: no overlay written ({error.strerror})")
            return MISUSE
        return 0

    return draw


def _closing(scale: Scale, machine: Machine | None, *, every: bool) -> None:
    """What every table ends with: what the numbers rest on, and who decides."""
    from rimread.report.text import CAUTION  # noqa: PLC0415

    if machine is not None and machine.verification is not None:
        print(f"\nBlock {machine.verification.block.serial}:")
        print_checks(machine.verification.checks)
    print(f"\nScale: {scale.label or '(no label)'}, counts until {scale.valid_until}.")
    print(
        "U is expanded with k = 2, or more where few observations stand behind it. In the table it "
        "covers the\nreading of the diameter only, not force, ball, machine or material."
    )
    if every:
        print(
            "Distances are to the indents in the picture. Its edge is not the edge of the piece: "
            "--edge gives that.\nCount the indents on the overlay: one that the frame cuts may not "
            "be told."
        )
    print(CAUTION)
