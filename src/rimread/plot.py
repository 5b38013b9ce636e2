"""Figures as files, drawn with matplotlib (extra ``rimread[figures]``)."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimread import whole

if TYPE_CHECKING:  # an extra: imported when something is drawn
    from matplotlib.figure import Figure

__all__ = ["STYLE", "judge", "needed", "save"]

ENDINGS = (".png", ".svg", ".pdf")
_DRAWN_BY = b"atplotlib"
"""What matplotlib writes of itself into each kind of file."""

STYLE: Any = {  # matplotlib types the keys one by one
    "svg.fonttype": "none",  # text stays text: small, searchable, in the reader's font
    "svg.hashsalt": "rimread",  # the same figures give the same bytes
    "font.size": 10.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
}
"""What figures look like; holds while they are drawn and while they are written."""


def needed() -> None:
    """Raise ValueError where matplotlib is not installed."""
    try:
        import matplotlib  # noqa: F401, ICN001, PLC0415  (an extra)
    except ModuleNotFoundError:
        raise ValueError('figures need matplotlib: pip install "rimread[figures]"') from None


def judge(path: Path) -> None:
    """Say before the work whether a figure of this name can be written.

    Raises
    ------
    ValueError
        If its ending is unknown, matplotlib is not installed, or another picture lies there.
    OSError
        If no such file can be made.
    """
    needed()
    _ending(path)
    if path.is_file() and path.stat().st_size and _DRAWN_BY not in path.read_bytes():
        raise ValueError(
            f"{path}: this file is there already and is no plot; it stays as it is. Give another "
            "name, or move it away"
        )
    whole.judge(path)


def save(figure: Figure, path: Path, *, dpi: int) -> None:
    """Write a figure; the ending of the name says how.

    Raises
    ------
    ValueError
        If the ending is none of those.
    OSError
        If the file cannot be written.
    """
    from matplotlib import rc_context  # noqa: PLC0415  (an extra)

    kind = _ending(path)
    data = io.BytesIO()
    told = {"Date": None} if kind == ".svg" else {}
    with rc_context(STYLE):
        figure.savefig(data, format=kind[1:], dpi=dpi, facecolor="white", metadata=told)
    whole.write(path, data.getvalue())


def _ending(path: Path) -> str:
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise ValueError(f"a plot ends in .png, .svg or .pdf (got {path.name!r})")
    return ending
