"""``rimread measure``: diameters and hardness from photos of indents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from rimread.cli._book import Kept, Wishes, keeping
from rimread.cli._io import MISUSE, REFUSED, expand, print_json, say, speaking

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.hardness import RuleSet, TestCondition
    from rimread.photo import Photo
    from rimread.reading import Reading
    from rimread.refusal import Refusal
    from rimread.scale.model import Scale


def measure(
    photos: Annotated[
        list[str],
        typer.Argument(
            metavar="PHOTO", help="Photos, each of one indent; patterns like *.jpg work."
        ),
    ],
    scale: Annotated[
        Path, typer.Option(metavar="FILE.toml", help="Scale file from rimread calibrate.")
    ],
    test: Annotated[
        str, typer.Option(metavar="BALL/FORCE", help="Ball mm / force kgf [/ dwell s]: 10/3000.")
    ],
    overlay: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Write each photo with the rim drawn over it here."),
    ] = None,
    tone: Annotated[
        Literal["srgb", "linear"] | None,
        typer.Option(help="Tone curve of the camera. [default: what the file says, else srgb]"),
    ] = None,
    on: Annotated[
        datetime | None,
        typer.Option(
            metavar="YYYY-MM-DD",
            formats=["%Y-%m-%d"],
            help="Day the photos were taken, for the scale's validity. [default: today]",
        ),
    ] = None,
    rules: Annotated[
        str, typer.Option(help="Whose limits: iso, astm or a rules file (TOML).")
    ] = "iso",
    budget: Annotated[bool, typer.Option("--budget", help="Show what makes up U.")] = False,
    human: Annotated[
        list[str] | None,
        typer.Option(
            metavar="D1,D2", help="Diameters a person read in mm; repeated for further trials."
        ),
    ] = None,
    operator: Annotated[str, typer.Option(metavar="NAME", help="Who reads or measures.")] = "",
    ledger: Annotated[
        str | None,
        typer.Option(metavar="LEDGER", help="Keep it in a file or postgresql://user@host/name."),
    ] = None,
    replaces: Annotated[
        int | None, typer.Option(metavar="N", help="Entry of the ledger that this one corrects.")
    ] = None,
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why it is corrected.")] = "",
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object per photo, nothing else.")
    ] = False,
) -> None:
    """Measure the indent in each photo.

    Gives two diameters at right angles and the hardness, each with its uncertainty U.

    \b
      rimread measure indent.jpg --scale scope.toml --test 10/3000
      rimread measure job-17/*.jpg --scale scope.toml --test 5/750 --overlay seen
      rimread measure indent.jpg --scale scope.toml --test 10/3000 --ledger book.db

    The photos must come from the camera, objective and picture size the scale was made with,
    uncropped. A photo that cannot be trusted is refused with what to do at the scope, and gets no
    number.

    U covers the reading of the diameter only. Look at the overlay before a number counts: the
    fitted rim must lie on the edge of the indent.

    Exit codes: 0 all measured and all checks passed or warned; 1 a photo was refused or failed a
    check; 2 wrong use or a photo that cannot be read. The rest of the photos are still measured.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        job = _job(scale, test, rules, tone, on)
        paths = expand(photos)
        wishes = Wishes(ledger, human or (), operator, replaces, reason)
        code = 0
        with keeping(wishes, len(paths), job.test, job.scale, scale) as keeper:
            show = _json_shown if as_json else _table(paths, budget=budget)
            draw = None if overlay is None else _drawer(overlay, paths, job.scale)
            for path in paths:
                seen = _measured(path, job)
                sha256 = None if seen.photo is None else seen.photo.sha256
                show(seen, keeper.keep(path, sha256, seen.result))
                if draw is not None:
                    draw(seen)
                code = max(code, seen.exit_code)
        if not as_json:
            _closing(job.scale)
    raise typer.Exit(code)


@dataclass(frozen=True, slots=True)
class _Job:
    """What holds for all photos of a call."""

    scale: Scale
    test: TestCondition
    rules: RuleSet
    tone: Literal["srgb", "linear"] | None
    on: date | None


@dataclass(frozen=True, slots=True)
class _Seen:
    """What came of one photo; `photo` is None when it could not be read."""

    path: Path
    photo: Photo | None
    result: Reading | Refusal

    @property
    def exit_code(self) -> int:
        from rimread.refusal import Refusal  # noqa: PLC0415

        if self.photo is None:
            return MISUSE
        return REFUSED if isinstance(self.result, Refusal) or self.result.failed else 0


def _job(
    scale: Path,
    test: str,
    rules: str,
    tone: Literal["srgb", "linear"] | None,
    on: datetime | None,
) -> _Job:
    from rimread.hardness import parse_test, read_rules, rule_set  # noqa: PLC0415
    from rimread.scale import read_scale  # noqa: PLC0415

    return _Job(
        scale=read_scale(scale),
        test=parse_test(test),
        rules=read_rules(Path(rules)) if rules.endswith(".toml") else rule_set(rules),
        tone=tone,
        on=None if on is None else on.date(),
    )


def _measured(path: Path, job: _Job) -> _Seen:
    from rimread.photo import PhotoError, read_photo  # noqa: PLC0415
    from rimread.reading import measure_photo  # noqa: PLC0415
    from rimread.refusal import Refusal  # noqa: PLC0415

    try:
        photo = read_photo(path, tone=job.tone)
    except PhotoError as error:
        say(str(error))
        return _Seen(path, None, Refusal("unreadable", str(error)))
    return _Seen(path, photo, measure_photo(photo, job.scale, job.test, rules=job.rules, on=job.on))


def _json_shown(seen: _Seen, kept: Kept) -> None:
    from rimread.reading import reading_json  # noqa: PLC0415

    sha256 = None if seen.photo is None else seen.photo.sha256
    print_json(reading_json(str(seen.path), sha256, seen.result) | kept.json())


def _table(paths: list[Path], *, budget: bool) -> Callable[[_Seen, Kept], None]:
    """Print the head of the table and return what prints a row."""
    from rimread.refusal import Refusal  # noqa: PLC0415
    from rimread.report import text  # noqa: PLC0415

    wide = max(len(str(path)) for path in paths)
    print(f"{'photo':{wide}}  {'d1 mm':>8}  {'d2 mm':>8}  {'mean mm ± U':>18}  hardness ± U")

    def row(seen: _Seen, kept: Kept) -> None:
        if isinstance(seen.result, Refusal):
            word = "unreadable" if seen.photo is None else f"refused ({seen.result.code})"
            why = "" if seen.photo is None else f": {seen.result.message}"
            print(f"{seen.path!s:{wide}}  {word}{why}", flush=True)
            for line in kept.lines():
                print(f"    {line}", flush=True)
            return
        found = seen.result.diameters
        U = found.budget.U
        d1, d2 = (text.in_step(d, U)[0] for d in (found.d1_mm, found.d2_mm))
        mean = " ± ".join(text.in_step(found.mean_mm, U))
        print(
            f"{seen.path!s:{wide}}  {d1:>8}  {d2:>8}  {mean:>18}  {text.result(seen.result)}",
            flush=True,
        )
        extra = text.budget_lines(found.budget, found.mean_mm) if budget else ()
        for line in (*text.check_lines(seen.result), *extra, *kept.lines()):
            print(f"    {line}", flush=True)

    return row


def _drawer(folder: Path, paths: list[Path], scale: Scale) -> Callable[[_Seen], None]:
    """Return what writes the overlay of a photo."""
    from rimread.refusal import Refusal  # noqa: PLC0415
    from rimread.report import overlay, save_overlay, text  # noqa: PLC0415

    taken = {path.resolve() for path in paths}  # never write over a photo

    def draw(seen: _Seen) -> None:
        if seen.photo is None:
            return
        if isinstance(seen.result, Refusal):
            same_size = seen.result.code != "photo-size"
            lines = text.refusal_lines(seen.photo.name, seen.result)
            picture = overlay(seen.photo, None, None, scale if same_size else None, lines)
        else:
            reading = seen.result
            picture = overlay(
                seen.photo, reading.rim, reading.diameters, scale, text.lines(reading)
            )
        save_overlay(picture, folder, seen.path, taken)

    return draw


def _closing(scale: Scale) -> None:
    """What every table ends with: what the numbers rest on, and who decides."""
    from rimread.report.text import CAUTION  # noqa: PLC0415

    print(f"\nScale: {scale.label}, counts until {scale.valid_until}.")
    print(
        "U is expanded with k = 2, or more where few observations stand behind it. It covers the "
        "reading of\nthe diameter only, not force, ball, machine or material."
    )
    print(CAUTION)
