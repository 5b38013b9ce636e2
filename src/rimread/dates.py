"""Dates as people write them in tables: one understanding of them for every table that is read.

Slashes are not taken: 11/12/2026 is a day in November to some and one in December to others.
"""

from __future__ import annotations

import re
from datetime import datetime

__all__ = ["TAKEN", "moment"]

TAKEN = "2026-11-27 or 27.11.2026, and with a time 27.11.2026 9:10 or 9:10:30"
"""The forms, for what is said to people."""

_DAY = (
    r"(?:(?P<y>\d{4})-(?P<m>\d{1,2})-(?P<d>\d{1,2})"
    r"|(?P<d2>\d{1,2})\.(?P<m2>\d{1,2})\.(?P<y2>\d{4}))"
)
_CLOCK = r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:[.,]\d+)?)?"
_FORM = re.compile(rf"{_DAY}(?:[ T]\s*{_CLOCK})?", re.ASCII)


def moment(text: str) -> datetime | None:
    """Date, at midnight where no time is written; None in a form that is not understood.

    Parameters
    ----------
    text : str
        Any ISO form, year-month-day or day.month.year, and hours and minutes after it. The zone of
        an ISO time is left out: a lab's table is in its own.

    Examples
    --------
    >>> moment("27.11.2026 9:10") == moment("2026-11-27 9:10") == datetime(2026, 11, 27, 9, 10)
    True
    >>> moment("27/11/2026") is None
    True
    """
    plain = text.strip()
    found = _FORM.fullmatch(plain)
    try:
        if found is None:
            return datetime.fromisoformat(plain).replace(tzinfo=None)
        year, month, day = (int(found[key] or found[f"{key}2"]) for key in "ymd")
        hour, minute, second = (int(found[key] or 0) for key in ("hour", "minute", "second"))
        return datetime(year, month, day, hour, minute, second)  # noqa: DTZ001  (the lab's own)
    except ValueError:
        return None
