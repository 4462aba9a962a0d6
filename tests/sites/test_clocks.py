"""The clock of a site whose time zone was changed: every moment as it was shown then."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.plans.calendar import instant
from shared.time_text import on_clock
from sites.clocks import clock_of

ZONES = ("Europe/London", "Pacific/Auckland", "America/New_York", "UTC", "Asia/Kathmandu")
START = datetime(2026, 1, 1, tzinfo=UTC)
HOURS = 24 * 365
moments = st.integers(0, 60 * HOURS).map(lambda minutes: START + timedelta(minutes=minutes))


def clock(before: str, after: str, until: datetime):
    return clock_of(after, ((before, until.isoformat()),))


@given(st.sampled_from(ZONES), st.sampled_from(ZONES), moments, moments)
def test_a_moment_is_shown_as_on_the_clock_of_its_time_and_read_back(before, after, until, moment):
    shown = moment.astimezone(clock(before, after, until))
    plain = moment.astimezone(ZoneInfo(before if moment < until else after))
    assert shown.replace(tzinfo=None, fold=0) == plain.replace(tzinfo=None, fold=0)
    assert (shown.utcoffset(), shown.tzname()) == (plain.utcoffset(), plain.tzname())
    assert shown.astimezone(UTC) == moment


@given(st.sampled_from(ZONES), st.sampled_from(ZONES), moments, st.integers(0, 364), st.integers(0, 23))
def test_a_time_that_the_change_skips_or_shows_twice_is_a_moment_all_the_same(before, after, until, day, hour):
    at = datetime(2026, 1, 1, hour) + timedelta(days=day)
    zone = clock(before, after, until)
    found = instant(at.date(), at.time(), zone)
    shown = found.astimezone(zone).replace(tzinfo=None, fold=0)
    assert shown == at or (shown > at and found.astimezone(zone).date() >= at.date())


def test_one_hour_that_is_shown_twice_is_told_apart():
    until = datetime(2026, 1, 14, 12, tzinfo=UTC)
    zone = clock("Europe/Paris", "Europe/London", until)
    first, second = (until + timedelta(minutes=minutes) for minutes in (-30, 30))
    assert [m.astimezone(zone).strftime("%H:%M %Z") for m in (first, second)] == ["12:30 CET", "12:30 GMT"]
    assert [m.astimezone(zone).fold for m in (first, second)] == [0, 1]


@pytest.mark.parametrize("former", [(), (("Europe/London", START.isoformat()),)])
def test_where_nothing_was_changed_it_is_the_plain_zone(former):
    assert clock_of("Europe/London", former) is ZoneInfo("Europe/London")


def test_it_remembers_several_zones():
    turns = tuple((zone, (START + timedelta(days=30 * n)).isoformat()) for n, zone in enumerate(ZONES[:3], start=1))
    zone = clock_of("UTC", turns)
    names = [(START + timedelta(days=30 * n + 15)).astimezone(zone).tzname() for n in range(4)]
    assert names == ["GMT", "NZDT", "EDT", "UTC"]


@pytest.mark.parametrize("edge", [datetime.min, datetime.max])
@pytest.mark.parametrize("zones", [("Pacific/Auckland", "America/New_York"), ("America/New_York", "Pacific/Auckland")])
def test_the_edges_of_the_calendar_are_shown(edge, zones):
    zone = clock(*zones, START)
    assert on_clock(edge.replace(tzinfo=UTC), zone) and edge.replace(tzinfo=zone).utcoffset() is not None
