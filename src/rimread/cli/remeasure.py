"""``rimread remeasure``: an archive of photos measured again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from rimread import plot as plots
from rimread.cli import _remeasure_options as own
from rimread.cli._indents import rules_from
from rimread.cli._io import MISUSE, REFUSED, apart, print_json, say, speaking, telling
from rimread.cli._options import Tone, date_of
from rimread.cli._progress import Progress

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.archive.items import Item
    from rimread.archive.pool import Pool
    from rimread.archive.results import Comparison
    from rimread.archive.run import Archive, Tally
    from rimread.archive.work import Settings
    from rimread.ledger import Ledger
    from rimread.table import Problem

__all__ = ["remeasure"]

_STOPPED = 130  # what shells take for "stopped by Ctrl-C"


def remeasure(
    source: own.Source,
    ledger: own.Ledger,
    out: own.Out,
    test: own.Test = "",
    scale: own.Scale = None,
    scales: own.Scales = None,
    run: own.Run = "",
    search: own.Search = None,
    pull: own.Pull = None,
    plot: own.Plot = None,
    old_step: own.OldStep = 0.01,
    on: own.On = None,
    tone: Tone = None,
    rules: own.Rules = "iso",
    workers: own.Workers = None,
    scheduler: own.Scheduler = None,
    as_json: own.Json = False,
) -> None:
    """Measure an archive of photos again, on all cores, and compare with what was read before.

    \b
      rimread remeasure archive/ --test 10/3000 --ledger book.db --out results.csv
      rimread remeasure photos.csv --scales scopes/ --ledger book.db --out new.csv --pull pull.csv

    It can be stopped at any moment, by Ctrl-C or by a power cut. Start the same command again: what
    is in the ledger stays and is not repeated. A photo that was refused for what does not lie in
    the picture (no scale file, not readable) is tried again, and one whose file is another picture
    now is measured anew; what a person withdrew or corrected stays so. An earlier table of results,
    or list of --pull, is written over; any other file of that name stays, and is told before the
    work.

    Columns a manifest may have: photo, scale, test, label (of the scale), sha256, date; d1, d2,
    mean, hbw and U as read before. Its other columns are kept. The scale file of a photo is the one
    named, else the one in its folder or above that has its size and label, else such a one from
    --scales. None or several that fit are a refusal.

    Exit codes: 0 all measured and all checks passed or warned; 1 a photo was refused or failed a
    check; 2 wrong use, or photos or lines that could not be read; 130 stopped. The rest is done.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking(), _stoppable():
        from rimread.archive.results import write_results  # noqa: PLC0415
        from rimread.archive.run import Archive  # noqa: PLC0415
        from rimread.archive.work import Settings  # noqa: PLC0415
        from rimread.hardness import RESOLUTION_MM  # noqa: PLC0415
        from rimread.ledger import open_ledger  # noqa: PLC0415

        assert RESOLUTION_MM == 0.01  # noqa: S101  (the default above)
        settings = Settings(
            test=test,
            scale="" if scale is None else str(scale),
            root=str(source) if source.is_dir() else str(source.parent),
            shelf="" if scales is None else str(scales),
            rules=rules,
            tone=tone,
            taken_on=date_of(on),
        )
        _judge(settings, source, out, pull, plot)
        items, columns = _source(source)
        name = run or source.resolve().as_posix()
        roots = tuple(search or [Path(settings.root)])
        with (
            open_ledger(ledger) as book,
            Archive(items, settings, run=name, roots=roots) as archive,
        ):
            count = _counted(archive, source)
            tally = _run(archive, book, _pool(workers, scheduler), count)
            compared = write_results(
                archive, book, out, own=columns, pull=pull, resolution_mm=old_step, tell=say
            )
            head = book.head()
        if plot is not None:
            _plot(compared, plot)
        with telling():
            if as_json:
                print_json(_record(tally, compared, head))
            else:
                _print(tally, compared, head, out, pull)
    raise typer.Exit(_exit_code(tally, compared))


@contextmanager
def _stoppable() -> Iterator[None]:
    """Say how to go on when a person stops the run, at whatever point."""
    try:
        yield
    except KeyboardInterrupt:
        say(
            "stopped; what was counted is in the ledger. Start the same command again to go on; "
            "it writes the table of results when all is done"
        )
        raise typer.Exit(_STOPPED) from None


def _plot(compared: Comparison, plot: Path) -> None:
    from rimread.archive.results import draw  # noqa: PLC0415

    if compared.error:
        plots.save(draw(compared), plot, dpi=150)
        return
    older = "; the file there is an older one" if plot.exists() else ""
    say(
        f"{plot}: not drawn, as no photo has both an earlier result and a new one: give d1, d2, "
        f"mean or hbw as read before in a CSV file{older}"
    )


def _judge(
    settings: Settings, source: Path, out: Path, pull: Path | None, plot: Path | None
) -> None:
    """Say now, not after a night's work, what cannot work."""
    from rimread.archive.results import judge_results  # noqa: PLC0415
    from rimread.hardness import parse_test  # noqa: PLC0415
    from rimread.ledger.export import judge_table  # noqa: PLC0415
    from rimread.scale import read_scale  # noqa: PLC0415

    rules_from(settings.rules)
    if settings.test:
        parse_test(settings.test)
    elif source.is_dir():
        raise ValueError(f"{source}: a folder of photos needs --test, like 10/3000")
    if settings.scale:
        read_scale(Path(settings.scale))
    if settings.shelf and not Path(settings.shelf).is_dir():
        raise ValueError(f"{settings.shelf}: no such folder")
    apart("--out", out, source, pull)
    apart("--pull", pull, source)
    for path in filter(None, (out, pull)):
        judge_table(path)
        judge_results(path)
    if plot is not None:
        plots.judge(plot)


def _source(path: Path) -> tuple[Callable[[], Iterable[Item | Problem]], tuple[str, ...]]:
    """What gives the items, and the lab's own columns."""
    from rimread.archive.items import from_folder, from_manifest, own_columns  # noqa: PLC0415

    if path.is_dir():
        return lambda: from_folder(path), ()
    return lambda: from_manifest(path), own_columns(path)


def _pool(workers: int | None, scheduler: str | None) -> Pool:
    from rimread.archive.pool import Cluster, Cores, cores  # noqa: PLC0415

    return Cores(workers or cores()) if scheduler is None else Cluster(scheduler)


def _run(archive: Archive, book: Ledger, pool: Pool, count: int) -> Tally:
    from rimread.archive.run import remeasure as measure_again  # noqa: PLC0415

    progress = Progress(count)
    try:
        tally = measure_again(archive, book, pool, progress=progress)
    finally:
        pool.close()
    progress.end(tally)
    return tally


def _counted(archive: Archive, source: Path) -> int:
    """How many photos and lines there are; what is wrong with lines is told before the work."""
    from rimread.archive.run import REPEATED  # noqa: PLC0415
    from rimread.complaints import Complaints  # noqa: PLC0415
    from rimread.table import Problem  # noqa: PLC0415

    count, complaints = 0, Complaints()
    for count, item in enumerate(archive.items(), start=1):  # noqa: B007  (the count is told)
        if isinstance(item, Problem):
            complaints.add(item, kind=REPEATED if item.code == REPEATED else "")
    for sentence in complaints.sentences():
        say(sentence)
    if not count:
        raise ValueError(f"{source}: no photo in it")
    return count


def _exit_code(tally: Tally, compared: Comparison) -> int:
    if compared.unreadable or tally.unreadable:  # one that went away in the meantime has no row
        return MISUSE
    return REFUSED if compared.refused or compared.failed else 0


def _record(tally: Tally, compared: Comparison, head: tuple[int, str]) -> dict[str, Any]:
    several = len(compared.error) > 1
    return {
        "status": "done" if compared.not_yet == 0 else "incomplete",
        "rows": compared.rows,
        "measured_now": tally.measured,
        "refused_now": tally.refused,
        "unreadable_now": tally.unreadable,
        "done_before": tally.before,
        "refused": compared.refused,
        "unreadable": compared.unreadable,
        "failed_checks": compared.failed,
        "other_pictures": tally.others,
        "bad_lines": tally.bad_lines,
        "repeated_lines": tally.duplicates,
        "reasons": dict(tally.reasons),
        "compared": len(compared.error),
        "new_minus_old_mean_mm": compared.mean_mm if compared.error else None,
        "new_minus_old_sd_mm": compared.sd_mm if several else None,
        "too_far_apart": compared.too_far_apart,
        "single_diameters": compared.single,
        "disagreeing": compared.disagreeing,
        "worth_pulling": len(compared.pulled),
        "ledger_entries": head[0],
        "ledger_hash": head[1],
    }


def _print(
    tally: Tally, compared: Comparison, head: tuple[int, str], out: Path, pull: Path | None
) -> None:
    from rimread.report.text import CAUTION  # noqa: PLC0415

    rows = "1 row" if compared.rows == 1 else f"{compared.rows} rows"
    print(
        f"{rows} in {out}: {compared.measured} measured ({tally.measured} of them now), "
        f"{compared.refused} refused, {compared.unreadable} not read"
    )
    for code, count in tally.reasons.most_common():
        print(f"  {count:7} without a number now: {code}")
    if tally.others:
        print(f"  {tally.others:7} are other pictures than were measured under their names before")
    if compared.failed:
        print(f"  {compared.failed:7} measured with a check that failed; the table says which")
    if tally.duplicates:
        print(f"  {tally.duplicates:7} lines name a photo again")
    if len(compared.error) > 1:
        print(
            f"{len(compared.error)} compared with earlier results: new less old is "
            f"{compared.mean_mm:+.4f} mm on average, s = {compared.sd_mm:.4f} mm; "
            f"{compared.disagreeing} differ by more than both uncertainties together"
        )
    if compared.too_far_apart:
        print(
            f"{compared.too_far_apart} not compared: the earlier result is of another indent, in "
            "another unit or a slip of the pen"
        )
    if compared.single:
        print(
            f"{compared.single} not compared: one diameter of two is no mean; where people read "
            "one alone, name its column 'mean'"
        )
    if compared.pulled:
        where = f", listed in {pull}" if pull else "; --pull FILE lists them"
        print(f"{len(compared.pulled)} worth pulling from the drawer{where}")
    if head[0]:
        print(f"The ledger's last entry is {head[0]}:{head[1]}; note it.")
    print(CAUTION)
