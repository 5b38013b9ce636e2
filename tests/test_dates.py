"""Dates as people write them: every form gives the same moment, and none is guessed."""

from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.dates import moment

MOMENTS = st.datetimes(datetime(1000, 1, 1), datetime(9999, 12, 31)).map(  # noqa: DTZ001
    lambda when: when.replace(microsecond=0)
)
DAYS = ["{0.year:04}-{0.month:02}-{0.day:02}", "{0.year}-{0.month}-{0.day}"]
DAYS += ["{0.day:02}.{0.month:02}.{0.year:04}", "{0.day}.{0.month}.{0.year}"]
CLOCKS = [" {0.hour}:{0.minute:02}", " {0.hour:02}:{0.minute:02}", "T{0.hour:02}:{0.minute:02}"]


@given(MOMENTS, st.sampled_from(DAYS), st.sampled_from(["", " "]))
def test_a_day_in_any_form_is_its_midnight(when, day, around):
    written = around + day.format(when) + around
    assert moment(written) == datetime(when.year, when.month, when.day)  # noqa: DTZ001


@given(MOMENTS, st.sampled_from(DAYS), st.sampled_from(CLOCKS))
def test_a_time_after_a_day_is_kept_to_the_minute_or_second(when, day, clock):
    written = (day + clock).format(when)
    assert moment(written) == when.replace(second=0)
    assert moment(f"{written}:{when.second:02}") == when
    for fraction in (".25", ",25"):
        assert moment(f"{written}:{when.second:02}{fraction}") == when


@given(MOMENTS, st.integers(-12 * 60, 14 * 60))
def test_the_zone_of_an_iso_time_is_left_out(when, minutes):
    zone = timezone(timedelta(minutes=minutes))
    assert moment(when.replace(tzinfo=zone).isoformat()) == when
    assert moment(f"{when.isoformat()}Z") == when


@pytest.mark.parametrize(
    "written",
    [
        *("", "yesterday", "27/11/2026", "11-27-2026", "27.11.26", "26-11-27", "27.11.", "2026"),
        *("31.4.2026", "29.2.2026", "0.1.2026", "1.13.2026", "2026-13-01"),
        *("27.11.2026 24:00", "27.11.2026 9:60", "27.11.2026 9:1", "27.11.2026 9"),
        *("27.11.2026 9:10:61", "27.11.2026 9:10 h", "٢٧.١١.٢٠٢٦"),
    ],
)
def test_what_is_no_date_is_not_guessed(written):
    assert moment(written) is None
