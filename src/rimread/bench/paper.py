"""The test report of a series, as HTML and, where the library for it is there, as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from rimread import whole
from rimread.bench.folder import Folder
from rimread.bench.job import Job
from rimread.bench.series import Line, Series, last_that_counts, piece_of
from rimread.hardness import read_daily
from rimread.report import model
from rimread.report.certificate import report_from
from rimread.report.lab import Lab, read_lab
from rimread.report.layout import page_of
from rimread.report.page import html_of
from rimread.report.pictures import pictures_from_photos
from rimread.report.results import Result, result_from

__all__ = ["write_report"]


def write_report(
    folder: Folder,
    series: Series,
    lines: Sequence[Line],
    job: Job,
    *,
    eyes: Sequence[model.ByEye],
    on: date,
) -> dict[str, Any]:
    """Write the report into the folder.

    Parameters
    ----------
    folder : Folder
        Where photos and scales lie; ``lab.toml`` in it names the laboratory.
    series : Series
        Names the files.
    lines : sequence of Line
        Those that count are its results, they say what was tested, and the last of them day and
        operator of the test; refused ones are listed.
    job : Job
        Its rules, which a begun series keeps.
    eyes : sequence of ByEye
        Readings by eye.
    on : datetime.date
        Day of the report.

    Returns
    -------
    dict
        ``files``, their names, and ``note``.

    Raises
    ------
    ValueError
        If nothing counts yet, or the laboratory's file is wrong.
    """
    results = [_result(line) for line in lines if line.counts or line.decision == "refused"]
    last = last_that_counts(lines)
    if last is None:
        raise ValueError("a report needs at least one indent that counts")
    used = {result.scale_sha256 for result in results if result.indent is not None}
    scales = [scale for _, scale in folder.scales() if scale.sha256 in used]
    daily = folder.daily_log
    made = report_from(
        results,
        model.Job(operator=last.operator, on=last.day, **piece_of(lines)),
        lab=_lab(folder),
        rules=job.rules,
        scales=scales,
        daily=read_daily(daily) if daily.exists() else None,
        by_eye=eyes,
        pictures=pictures_from_photos(results, scales, folder.root),
        made_on=on,
    )
    page = page_of(made)
    stem = f"report-{series.id}"
    files = [f"{stem}.html"]
    whole.write(folder.reports / files[0], html_of(page).encode("utf-8"), make_folder=True)
    try:
        from rimread.report.pdf import pdf_of  # noqa: PLC0415
    except ModuleNotFoundError:
        note = 'The report is written; for a PDF as well: pip install "rimread[report]".'
        return {"files": files, "note": note}
    files.append(f"{stem}.pdf")
    whole.write(folder.reports / files[1], pdf_of(page, on=on)[0], make_folder=True)
    return {"files": files, "note": ""}


def _result(line: Line) -> Result:
    place = f"ledger entry {line.entry}"
    return result_from(line.record, place, entry=place, reason=line.reason)


def _lab(folder: Folder) -> Lab:
    path = folder.root / "lab.toml"
    return read_lab(path) if path.exists() else Lab()
