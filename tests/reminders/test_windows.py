"""A reading is for one round at most, and for the round that it was taken at."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.plans.schedule import TICK, graces, windows

START = datetime(2026, 3, 11, tzinfo=UTC)
minutes = st.lists(st.integers(1, 4000), min_size=1, max_size=12, unique=True).map(sorted)


def made(minutes, graces) -> list[tuple]:
    dues = [START + timedelta(minutes=n) for n in minutes]
    return [(due, due + timedelta(minutes=grace)) for due, grace in zip(dues, graces, strict=False)]


def shifts(minutes, opens, lasts) -> list[tuple]:
    """Of each due time when its day of work, from midnight to midnight, is opened and over; a day that lasts 0 h is not known."""
    days = [START + timedelta(days=n // 1440) for n in minutes]
    return [(day + timedelta(minutes=opens), day + timedelta(hours=max(24, lasts))) if lasts else None for day in days]


graced = st.lists(st.integers(0, 300), min_size=12, max_size=12)
opened, lasting = st.integers(0, 1440), st.sampled_from([0, 10, 24, 26])


@given(minutes, graced, opened, lasting, st.integers(0, 4500))
def test_no_moment_is_for_two_rounds(minutes, graces, opens, lasts, taken):
    at = START + timedelta(minutes=taken)
    dues = made(minutes, graces)
    found = zip(dues, windows(dues, shifts(minutes, opens, lasts)), strict=True)
    assert len([due for (due, _), (opens, closes) in found if opens < at <= closes]) <= 1


@given(minutes, graced, opened, lasting)
def test_a_reading_at_the_due_time_is_for_it(minutes, graces, opens, lasts):
    dues = made(minutes, graces)
    found = zip(dues, windows(dues, shifts(minutes, opens, lasts)), strict=True)
    assert all(opens < due <= closes for (due, _), (opens, closes) in found)


@given(minutes, graced, opened, lasting)
def test_the_hours_of_a_day_end_its_readings_and_let_the_first_one_be_early(minutes, given_graces, opens, lasts):
    dues, days = made(minutes, given_graces), shifts(minutes, opens, lasts)
    plain, found, ends = windows(dues), windows(dues, days), graces(dues)
    for position, ((due, _), span) in enumerate(zip(dues, days, strict=True)):
        first = span is not None and (position == 0 or days[position - 1] != span)
        earlier = found[position][0] != plain[position][0]
        assert not earlier or (first and max(span[0], due - timedelta(hours=1)) - TICK <= found[position][0] < due)
        assert found[position][0] <= plain[position][0]
        assert found[position][1] <= (max(ends[position], span[1]) if span else plain[position][1])


def test_what_was_not_measured_in_the_evening_is_not_measured_by_the_first_reading_of_the_next_morning():
    dues = made([480, 1140, 1920], [30, 30, 30])  # at eight and at nineteen o’clock, and again at eight
    (_, evening, morning) = windows(dues, shifts([480, 1140, 1920], 7 * 60, 13))
    assert evening == (START + timedelta(hours=18, minutes=30), START + timedelta(hours=24))
    assert morning[0] == START + timedelta(hours=31) - TICK, "from opening on"


@pytest.mark.parametrize(("opens", "grace", "early"), [(4, 30, 60), (8, 30, 30), (7, 120, 120)])
def test_the_first_reading_may_be_an_hour_early_while_open_and_always_by_its_grace(opens, grace, early):
    ((found, _),) = windows(made([480], [grace]), shifts([480], opens * 60, 10))
    assert START + timedelta(minutes=480 - early) - found in (timedelta(), TICK)


def test_the_grace_may_reach_past_the_end_of_the_day():
    ((_, closes),) = windows(made([1430], [30]), shifts([1430], 480, 16))
    assert closes == START + timedelta(minutes=1460)


def test_early_by_the_grace_and_late_until_the_next_opens():
    (first, second) = windows(made([480, 840], [60, 60]))
    assert first == (START + timedelta(hours=7), START + timedelta(hours=13))
    assert second == (START + timedelta(hours=13), START + timedelta(hours=38))


def test_where_they_are_close_the_nearer_one_counts():
    (first, second) = windows(made([480, 510], [0, 60]))
    assert first[1] == second[0] == START + timedelta(minutes=495)


def test_where_the_grace_reaches_into_the_next_there_is_time_to_be_late_before_it_is_missed():
    dues = made([480, 510], [60, 60])
    (first, second) = windows(dues)
    assert graces(dues)[0] == START + timedelta(minutes=500)
    assert first[1] == second[0] == START + timedelta(minutes=505)


@given(minutes, graced)
def test_late_comes_before_missed(minutes, given_graces):
    dues = made(minutes, given_graces)
    told = zip(dues, graces(dues), windows(dues), strict=True)
    assert all(due <= overdue < closes for (due, _), overdue, (_, closes) in told)


@given(minutes, graced, opened, lasting)
def test_nothing_is_missed_before_its_grace_is_over(minutes, given_graces, opens, lasts):
    dues = made(minutes, given_graces)
    told = zip(graces(dues), windows(dues, shifts(minutes, opens, lasts)), strict=True)
    assert all(overdue <= closes for overdue, (_, closes) in told)
