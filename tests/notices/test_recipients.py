"""Who is told what, when: the rule alone."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.notices import timing
from compliance.notices.recipients import MANAGER, SUPERVISOR, Kind, Wish, recipients
from compliance.notices.timing import Quiet
from sites.models import Role

LONDON, NEW_YORK = ZoneInfo("Europe/London"), ZoneInfo("America/New_York")


def at(*parts):
    return datetime(*parts, tzinfo=UTC)


def told(kind, roles, **chosen):
    held = {person: role if isinstance(role, set) else {role} for person, role in roles.items()}
    return {each.person: each.wish for each in recipients(kind, held, chosen.get("chosen", {}))}


def test_the_roles_are_those_of_the_book():
    assert (MANAGER, SUPERVISOR) == (Role.MANAGER, Role.SUPERVISOR)


@pytest.mark.parametrize(
    "kind, people",
    [
        (Kind.DUE, {1}),
        (Kind.OVERDUE, {1}),
        (Kind.UNANSWERED, {2}),
        (Kind.FAILED, {1, 2}),
        (Kind.DIGEST, {2}),
        (Kind.READING, {1}),
        (Kind.NO_READING, {2}),
    ],
)
def test_each_kind_goes_to_the_roles_it_is_for(kind, people):
    assert set(told(kind, {1: MANAGER, 2: SUPERVISOR})) == people


def test_where_there_is_no_manager_the_supervisors_are_told_in_their_stead():
    assert set(told(Kind.DUE, {2: SUPERVISOR})) == {2}
    assert set(told(Kind.READING, {2: SUPERVISOR})) == {2}
    assert set(told(Kind.DIGEST, {1: MANAGER})) == set()


def test_who_manages_a_site_of_their_own_area_is_told_as_both():
    roles = {1: MANAGER, 2: {MANAGER, SUPERVISOR}}
    assert set(told(Kind.DUE, roles)) == {1, 2}
    assert set(told(Kind.UNANSWERED, roles)) == {2}


def test_nobody_refuses_what_the_role_requires():
    nothing = {
        (1, Kind.FAILED): Wish(False, False),
        (1, Kind.OVERDUE): Wish(False, False),
        (1, Kind.DUE): Wish(False, False),
    }
    assert told(Kind.FAILED, {1: MANAGER}, chosen=nothing) == {1: Wish(True, True)}
    assert told(Kind.OVERDUE, {1: MANAGER}, chosen=nothing) == {1: Wish(False, True)}
    assert told(Kind.DUE, {1: MANAGER}, chosen=nothing) == {}


NIGHT = Quiet(time(21), time(6))


@pytest.mark.parametrize(
    "now, zone, until",
    [
        (at(2026, 1, 10, 20, 59), LONDON, None),
        (at(2026, 1, 10, 21, 0), LONDON, at(2026, 1, 11, 6)),
        (at(2026, 1, 11, 5, 59), LONDON, at(2026, 1, 11, 6)),
        (at(2026, 1, 11, 6, 0), LONDON, None),
        (at(2026, 3, 28, 23, 0), LONDON, at(2026, 3, 29, 5)),  # the clocks go forward in that night
        (at(2026, 10, 24, 22, 0), LONDON, at(2026, 10, 25, 6)),  # and back in this one
        (at(2026, 10, 25, 0, 59), LONDON, at(2026, 10, 25, 6)),
        (at(2026, 1, 11, 3, 0), NEW_YORK, at(2026, 1, 11, 11)),
    ],
)
def test_quiet_hours_end_on_the_clock_of_the_site(now, zone, until):
    assert timing.quiet_until(now, zone, NIGHT) == until


@pytest.mark.parametrize("now, until", [((0, 15), (0, 30)), ((0, 45), None), ((1, 15), (1, 30)), ((1, 30), None)])
def test_quiet_hours_that_end_in_the_hour_that_comes_twice_end_twice(now, until):
    """On 25 October 2026 the clocks of London show 01:00 to 02:00 twice."""
    day = (2026, 10, 25)
    found = timing.quiet_until(at(*day, *now), LONDON, Quiet(time(21), time(1, 30)))
    assert found == (until and at(*day, *until))


def test_quiet_hours_within_a_day_and_none():
    noon = at(2026, 1, 10, 12)
    assert timing.quiet_until(noon, LONDON, Quiet(time(11), time(14))) == at(2026, 1, 10, 14)
    assert timing.quiet_until(noon, LONDON, Quiet(time(14), time(16))) is None
    assert timing.quiet_until(noon, LONDON, Quiet(time(12), time(12))) is None


def test_only_a_failed_check_or_a_probe_that_is_gone_breaks_quiet_hours():
    night = at(2026, 1, 10, 23)
    free = {kind for kind in Kind if timing.not_before(kind, night, [LONDON], NIGHT) is None}
    assert free == {Kind.FAILED, Kind.GONE}


moments = st.datetimes(datetime(2020, 1, 1), datetime(2035, 1, 1), timezones=st.just(UTC))
zones = st.sampled_from([LONDON, NEW_YORK, ZoneInfo("Australia/Lord_Howe"), ZoneInfo("Pacific/Apia"), UTC])
times = st.times().map(lambda t: t.replace(second=0, microsecond=0))


@given(moments, zones, times, times)
def test_quiet_hours_never_hold_longer_than_a_day_nor_into_the_past(now, zone, starts, ends):
    until = timing.quiet_until(now, zone, Quiet(starts, ends))
    assert until is None or now < until <= now + timedelta(hours=25)


@given(moments, st.sampled_from([LONDON, NEW_YORK, ZoneInfo("Australia/Lord_Howe")]))
def test_the_next_digest_is_ahead_and_tells_of_whole_weeks(now, zone):
    start, end = (moment.astimezone(zone) for moment in timing.digest_span(now, zone))
    assert now < timing.next_digest_at(now, zone) <= now + timedelta(days=7, hours=1)
    assert end <= now
    assert (start.weekday(), end.weekday(), (end.date() - start.date()).days) == (0, 0, 7)


def test_morning_comes_at_six_or_an_hour_before_the_first_check():
    five = at(2026, 1, 10, 5)
    assert not timing.morning_has_come([], five, LONDON)
    assert timing.morning_has_come([], five + timedelta(hours=1), LONDON)
    assert timing.morning_has_come([at(2026, 1, 10, 5, 30)], five, LONDON)
    assert not timing.morning_has_come([at(2026, 1, 9, 5, 30)], five, LONDON)  # overdue since yesterday wakes nobody


def test_a_closed_day_with_nothing_but_what_was_left_over_is_not_told():
    now, yesterday, today = at(2026, 1, 10, 7), at(2026, 1, 9, 9), at(2026, 1, 10, 9)
    assert timing.worth_telling([today], now, LONDON, is_open=False)
    assert timing.worth_telling([yesterday], now, LONDON, is_open=True)
    assert not timing.worth_telling([yesterday], now, LONDON, is_open=False)


@pytest.mark.parametrize(
    "grace, closes, told_at", [(60, 600, 180), (30, 120, 75), (0, 600, 120), (0, 15, 7.5), (300, 1440, 600)]
)
def test_supervisors_hear_of_a_reading_while_it_can_still_be_taken(grace, closes, told_at):
    """All in minutes after it was due."""
    due = at(2026, 1, 10, 9)
    after = [due + timedelta(minutes=each) for each in (grace, closes, told_at)]
    assert timing.escalated_at(due, *after[:2]) == after[2] < after[1]


@pytest.mark.parametrize("grace, hours", [(0, 2), (60, 3), (120, 4), (300, 10)])
def test_supervisors_are_told_as_long_again_later_and_two_hours_at_least(grace, hours):
    due = at(2026, 1, 10, 9)
    told_at = timing.escalated_at(due, due + timedelta(minutes=grace), due + timedelta(days=7))
    assert told_at == due + timedelta(hours=hours)
