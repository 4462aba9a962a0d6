"""A reading is for one round at most, and for the round that it was taken at."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from compliance.plans.schedule import graces, windows

START = datetime(2026, 3, 11, tzinfo=UTC)
minutes = st.lists(st.integers(1, 4000), min_size=1, max_size=12, unique=True).map(sorted)


def made(minutes, graces) -> list[tuple]:
    dues = [START + timedelta(minutes=n) for n in minutes]
    return [(due, due + timedelta(minutes=grace)) for due, grace in zip(dues, graces, strict=False)]


@given(minutes, st.lists(st.integers(0, 300), min_size=12, max_size=12), st.integers(0, 4500))
def test_no_moment_is_for_two_rounds(minutes, graces, taken):
    at = START + timedelta(minutes=taken)
    dues = made(minutes, graces)
    holding = [due for (due, _), (opens, closes) in zip(dues, windows(dues), strict=True) if opens < at <= closes]
    assert len(holding) <= 1


@given(minutes, st.lists(st.integers(0, 300), min_size=12, max_size=12))
def test_a_reading_at_the_due_time_is_for_it(minutes, graces):
    dues = made(minutes, graces)
    assert all(opens < due <= closes for (due, _), (opens, closes) in zip(dues, windows(dues), strict=True))


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


@given(minutes, st.lists(st.integers(0, 300), min_size=12, max_size=12))
def test_late_comes_before_missed(minutes, given_graces):
    dues = made(minutes, given_graces)
    told = zip(dues, graces(dues), windows(dues), strict=True)
    assert all(due <= overdue < closes for (due, _), overdue, (_, closes) in told)
