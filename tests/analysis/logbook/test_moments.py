from __future__ import annotations

from datetime import datetime

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.record import moments


@pytest.mark.parametrize(
    ("text", "zone", "expected"),
    [
        ("2026-11-25T08:15:02+01:00", None, "2026-11-25T07:15:02Z"),
        ("2026-11-25T07:15:02Z", None, "2026-11-25T07:15:02Z"),
        ("2026-07-01T09:00", "Europe/Vienna", "2026-07-01T07:00:00Z"),  # summer time: UTC+2
        ("2026-12-01T09:00", "Europe/Vienna", "2026-12-01T08:00:00Z"),  # winter: UTC+1
        ("2026-10-25T01:59", "Europe/Vienna", "2026-10-24T23:59:00Z"),  # before the repeated hour, UTC+2
        ("2026-10-25T03:00", "Europe/Vienna", "2026-10-25T02:00:00Z"),  # behind it, UTC+1
    ],
)
def test_what_a_person_types_becomes_utc(text: str, zone: str | None, expected: str) -> None:
    assert moments.read_moment(text, zone=zone) == expected


@pytest.mark.parametrize(
    ("text", "zone", "word"),
    [
        ("2026-11-25T08:15", None, "no time zone"),
        ("yesterday", None, "no date and time"),
        ("2026-03-29T02:30", "Europe/Vienna", "does not exist"),  # set forward from 02:00 to 03:00
        ("2026-11-25T08:15", "Europe/Nowhere", "no time zone that this computer knows"),
    ],
)
def test_a_doubtful_time_is_refused(text: str, zone: str | None, word: str) -> None:
    with pytest.raises(LogBookError, match=word):
        moments.read_moment(text, zone=zone)


def test_a_moment_without_a_zone_is_not_written() -> None:
    with pytest.raises(LogBookError, match="without a time zone"):
        moments.utc_text(datetime(2026, 11, 25))


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        ("2024-02-29", 12, "2025-02-28"),
        ("2024-02-29", 48, "2028-02-29"),
        ("2026-08-31", 6, "2027-02-28"),
        ("2026-12-15", 1, "2027-01-15"),
        ("2026-03-31", -1, "2026-02-28"),
    ],
)
def test_months_keep_the_day_where_there_is_one(day: str, months: int, expected: str) -> None:
    assert moments.add_months(day, months) == expected


@pytest.mark.parametrize(
    ("earlier", "later", "days"),
    [
        ("2024-02-28", "2024-03-01", 2),  # 2024 is a leap year
        ("2026-02-28", "2026-03-01", 1),
        ("2100-02-28", "2100-03-01", 1),  # 2100 is none
        ("2026-03-28", "2026-03-30", 2),  # over the change to summer time
    ],
)
def test_days_count_leap_days_and_not_summer_time(earlier: str, later: str, days: int) -> None:
    assert moments.days_between(earlier, later) == days


def test_hours_across_the_change_of_summer_time_are_those_of_a_clock_that_is_never_set() -> None:
    night = [moments.read_moment(text, zone="Europe/Vienna") for text in ("2026-10-24T20:00", "2026-10-25T08:00")]
    assert moments.seconds_between(*night) == 13 * 3600  # the hour from 02:00 to 03:00 was lived twice
    night = [moments.read_moment(text, zone="Europe/Vienna") for text in ("2026-03-28T20:00", "2026-03-29T08:00")]
    assert moments.seconds_between(*night) == 11 * 3600


def test_a_local_day_is_that_of_the_zone() -> None:
    assert moments.local_day("2026-11-25T23:30:00Z", "Europe/Vienna") == "2026-11-26"
    assert moments.local_day("2026-11-25T04:30:00Z", "America/New_York") == "2026-11-24"
    assert moments.local_day("2026-11-25T23:30:00Z", None) == "2026-11-25"


def test_a_day_alone_stands_for_its_end() -> None:
    assert moments.moment_of("2026-11-25") == "2026-11-25T23:59:59Z"
    assert moments.moment_of("2026-11-25T08:15:02.500+01:00") == "2026-11-25T07:15:02Z"
    assert moments.later("2026-02-28T23:59:59Z", 1) == "2026-03-01T00:00:00Z"
    assert moments.read_day(" 2026-11-25 ") == "2026-11-25"
    with pytest.raises(LogBookError, match="is no day"):
        moments.read_day("25.11.2026")


def test_an_hour_that_is_there_twice_is_asked() -> None:
    # Vienna's clocks went back from 03:00 (+02:00) to 02:00 (+01:00) on 2026-10-25.
    with pytest.raises(LogBookError, match=r"2026-10-25T02:30:00\+02:00 or 2026-10-25T02:30:00\+01:00"):
        moments.read_moment("2026-10-25T02:30", zone="Europe/Vienna")
    assert moments.read_moment("2026-10-25T02:30+01:00", zone="Europe/Vienna") == "2026-10-25T01:30:00Z"
