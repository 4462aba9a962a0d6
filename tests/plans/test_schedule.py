"""Due times: which day a plan names, which moment that is, what a closed day and a change of plan do to it."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import takewhile
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from compliance.plans.calendar import Calendar, Closed, Hours, Week, local_day
from compliance.plans.schedule import (
    ON_WEEKDAYS,
    STARTING,
    Candidate,
    Plan,
    RoundPlan,
    Stretch,
    counts_after,
    due_on,
    due_times,
    first_day,
    first_due_day,
    names_day,
    plan_at,
    round_day,
    round_times,
    settles,
    stretches,
)

LONDON = ZoneInfo("Europe/London")
ALWAYS = Calendar(LONDON)
WEEKDAYS_ONLY = Calendar(LONDON, weeks=(Week(date(2020, 1, 1), (*[Hours(time(8), time(15))] * 5, None, None)),))
WEDNESDAY = date(2026, 3, 11)
DAY = timedelta(days=1)
ZONES = st.sampled_from(["Europe/London", "Asia/Kathmandu", "Australia/Lord_Howe", "America/New_York", "Pacific/Apia"])
ANCHORS = st.dates(min_value=date(2015, 1, 1), max_value=date(2035, 12, 31))
TIMES = st.builds(time, st.integers(0, 23), st.integers(0, 59))
PLANS = st.one_of(
    st.builds(Plan, every_days=st.integers(1, 40), at=TIMES),
    st.builds(Plan, pattern=st.just(ON_WEEKDAYS), weekdays=st.integers(1, 127), at=TIMES),
)
CLOSURES = st.lists(
    st.builds(lambda start, days: Closed(start, start + DAY * days, "holidays"), ANCHORS, st.integers(0, 60)),
    max_size=3,
)
HOURS = st.sampled_from(
    [Hours(time(8), time(15)), Hours(time(17), time(2)), Hours(time(12), time(0)), Hours(time(6), time(6))]
)
CALENDARS = st.builds(
    lambda zone, hours, open_days, closures: Calendar(
        ZoneInfo(zone),
        weeks=(Week(date(2000, 1, 1), tuple(hours if d else None for d in open_days)),),
        closures=tuple(closures),
    ),
    ZONES,
    HOURS,
    st.tuples(*[st.booleans()] * 7),
    CLOSURES,
)


def on(*positions):
    return Plan(pattern=ON_WEEKDAYS, weekdays=sum(1 << p for p in positions))


def dues(plan, calendar=ALWAYS, anchor=WEDNESDAY, days=30):
    return list(takewhile(lambda due: due.day <= anchor + DAY * days, due_times(plan, calendar, anchor)))


NIGHTS_SKIPPED = Calendar(
    ZoneInfo("Australia/Lord_Howe"),
    weeks=(Week(date(2000, 1, 1), (*[None] * 5, *[Hours(time(17), time(2))] * 2)),),
)


@example(Plan(every_days=1, at=time(2, 1)), NIGHTS_SKIPPED, date(2015, 8, 1))
@given(plan=PLANS, calendar=CALENDARS, anchor=ANCHORS)
def test_due_times_follow_the_check_rise_and_fall_on_open_days(plan, calendar, anchor):
    found = dues(plan, calendar, anchor, 90)
    moments = [due.at for due in found]
    assert moments == sorted(set(moments))
    for due in found:
        worked, before = calendar.day_asked(due.at), calendar.service(due.day - DAY)
        skipped = due.at.astimezone(calendar.zone).time() != plan.at
        if worked < due.day and skipped and before and due.at == before[1]:
            worked = due.day  # the clocks skip its time together with that at which the day before ends
        assert calendar.is_open(worked) and worked >= due.day > anchor
        assert ("moved" in due.because) == (worked != due.day)
        assert plan.pattern != ON_WEEKDAYS or plan.weekdays >> due.day.weekday() & 1


def in_hours(at, hours):
    """Whether a clock that shows this time can do so while the hours run, both ends included."""
    return at >= hours.opens or at <= hours.closes if hours.past_midnight else hours.opens <= at <= hours.closes


def hours_of(calendar):
    return next((hours for hours in calendar.weeks[0].hours if hours), None)


@given(plan=PLANS, calendar=CALENDARS, anchor=ANCHORS)
def test_what_is_planned_for_a_time_in_the_hours_is_due_while_they_run(plan, calendar, anchor):
    if (hours := hours_of(calendar)) and in_hours(plan.at, hours):
        for due in dues(plan, calendar, anchor, 30):
            opens, closes = calendar.service(calendar.next_open(due.day))
            assert opens <= due.at <= closes


@given(plan=PLANS, calendar=CALENDARS, day=ANCHORS, late=st.booleans())
def test_a_check_about_its_due_time_in_the_hours_is_for_that_day(plan, calendar, day, late):
    hours = hours_of(calendar)
    if hours is None or not calendar.is_open(day) or not in_hours(plan.at, hours) or not names_day(plan, day):
        return
    at = due_on(plan, calendar, day).at + timedelta(minutes=10 if late else -10)
    opens, closes = calendar.service(day)
    # One made after closing at midnight, for what was due at closing, is of the day that it is made on.
    if (
        opens < at
        and (at <= closes or local_day(closes, calendar.zone) == day)
        and (hours.past_midnight or local_day(at, calendar.zone) == day)
    ):
        assert settles(plan, calendar, at) == day
        assert counts_after(replace(plan, every_days=1), calendar, day) < at


@given(plan=PLANS, calendar=CALENDARS, day=ANCHORS, hour=TIMES, later=st.integers(1, 3000))
def test_a_later_check_is_for_no_earlier_day(plan, calendar, day, hour, later):
    at = datetime.combine(day, hour, tzinfo=UTC)
    assert settles(plan, calendar, at) <= settles(plan, calendar, at + timedelta(minutes=later))


@given(every=st.integers(1, 366), anchor=ANCHORS, at=TIMES, zone=ZONES)
def test_every_so_many_days_counts_local_days_whatever_the_clocks_do(every, anchor, at, zone):
    due = dues(Plan(every_days=every, at=at), Calendar(ZoneInfo(zone)), anchor, every)[0]
    assert due.day - anchor == DAY * every
    assert due.at.astimezone(ZoneInfo(zone)).date() == due.day


def test_every_week_at_nine_on_the_wall_on_both_sides_of_the_change_of_clocks():
    found = dues(Plan(), anchor=date(2026, 3, 18), days=14)
    assert [due.at for due in found] == [datetime(2026, 3, 25, 9, tzinfo=UTC), datetime(2026, 4, 1, 8, tzinfo=UTC)]
    assert found[0].because == "every 7 days"


def test_a_year_after_29_february():
    assert dues(Plan(every_days=366), anchor=date(2028, 2, 29), days=366)[0].day == date(2029, 3, 1)
    assert dues(Plan(every_days=1), anchor=date(2028, 2, 28), days=2)[0].day == date(2028, 2, 29)


BAR = Calendar(LONDON, weeks=(Week(date(2020, 1, 1), (None, *[Hours(time(17), time(2))] * 5, None)),))
AT_ONE = Plan(every_days=1, at=time(1))


def test_a_check_at_one_is_due_in_the_hours_that_run_until_two():
    found = dues(AT_ONE, BAR, date(2026, 3, 12), 5)
    assert [due.at.day for due in found] == [14, 15, 18], "of Friday, Saturday, and Tuesday after two closed days"
    friday = datetime(2026, 3, 14, 0, 45, tzinfo=UTC)
    assert settles(AT_ONE, BAR, friday) == date(2026, 3, 13)
    assert first_due_day([Stretch(date.min, AT_ONE)], BAR, friday)[1] == date(2026, 3, 14)


@pytest.mark.parametrize(("at", "grace"), [(time(2), 30), (time(1, 50), 40)])
def test_one_that_is_due_as_the_hours_end_may_be_late_by_its_grace(at, grace):
    plan = Plan(every_days=1, at=at, grace_minutes=grace)
    assert due_on(plan, BAR, date(2026, 3, 13)).at == datetime.combine(date(2026, 3, 14), at, tzinfo=UTC)
    days = [settles(plan, BAR, datetime(2026, 3, 14, 2, minute, tzinfo=UTC)).day for minute in (0, 29, 30)]
    assert days == [13, 13, 14]


@pytest.mark.parametrize(
    ("before", "after", "due"),
    [
        (Hours(time(17), time(2)), Hours(time(8), time(15)), datetime(2026, 3, 12, 1, tzinfo=UTC)),
        (Hours(time(8), time(15)), Hours(time(17), time(2)), datetime(2026, 3, 11, 1, tzinfo=UTC)),
    ],
)
def test_other_hours_set_at_noon_move_no_check_across_it(before, after, due):
    noon = datetime(2026, 3, 11, 12, tzinfo=UTC)
    weeks = (Week(date(2020, 1, 1), (before,) * 7), Week(WEDNESDAY, (after,) * 7, noon))
    assert due_on(AT_ONE, Calendar(LONDON, weeks=weeks), WEDNESDAY).at == due


def test_midnight_belongs_to_the_day_that_it_begins():
    assert dues(Plan(every_days=1, at=time(0)))[0].at == datetime(2026, 3, 12, tzinfo=UTC)


def test_weekdays_do_not_move_with_checks():
    plan = on(0, 3)
    assert [due.day.day for due in dues(plan, days=12)] == [12, 16, 19, 23]
    assert first_day(plan, date(2026, 3, 15), WEDNESDAY) == date(2026, 3, 16)
    assert dues(plan)[0].because == "on Mondays and Thursdays"


def test_a_closed_day_moves_to_the_next_open_one_and_says_why():
    due = due_on(Plan(), WEEKDAYS_ONLY, date(2026, 3, 14))
    assert due.at == datetime(2026, 3, 16, 9, tzinfo=UTC) and due.day == date(2026, 3, 14)
    assert due.because == "every 7 days; moved from Sat 14 Mar (closed on Saturdays)"


def test_days_that_move_together_are_due_once():
    found = dues(Plan(every_days=1), WEEKDAYS_ONLY, date(2026, 3, 12), 5)
    assert [(due.day.day, due.at.day) for due in found] == [(13, 13), (14, 16), (17, 17)]


def test_nothing_is_due_where_the_site_never_opens():
    closed = Calendar(LONDON, closed=True)
    assert due_on(Plan(), closed, WEDNESDAY) is None and dues(Plan(), closed) == []


def test_before_service_counts_back_from_opening_and_falls_back_where_hours_are_not_known():
    plan = Plan(minutes_before=45)
    assert due_on(plan, WEEKDAYS_ONLY, WEDNESDAY).at == datetime(2026, 3, 11, 7, 15, tzinfo=UTC)
    assert due_on(plan, ALWAYS, WEDNESDAY).at == datetime(2026, 3, 11, 9, tzinfo=UTC)


def test_before_an_opening_just_after_midnight_is_the_evening_before():
    night = Calendar(LONDON, weeks=(Week(date(2020, 1, 1), (Hours(time(0, 15), time(5)),) * 7),))
    assert due_on(Plan(minutes_before=30), night, WEDNESDAY).at == datetime(2026, 3, 10, 23, 45, tzinfo=UTC)


@pytest.mark.parametrize(("plan", "days"), [(Plan(every_days=30), 7), (Plan(), 1), (Plan(every_days=1), 1), (on(0), 1)])
def test_after_a_pass_near_the_edge_a_quarter_of_the_time_is_waited_for(plan, days):
    assert first_day(plan, WEDNESDAY, WEDNESDAY, soon=True) - WEDNESDAY == DAY * days


def candidate(rank, since, plan, order=1, in_force=True):
    return Candidate(rank, since, order, in_force, plan)


def test_the_nearest_plan_in_force_wins():
    business, site = candidate(4, date(2026, 1, 1), Plan(key=1)), candidate(2, date(2026, 2, 1), Plan(key=2))
    off = candidate(2, date(2026, 3, 1), Plan(key=3), in_force=False)
    keys = [plan_at([off, site, business], date(2026, month, 1)).key for month in (1, 2, 3)]
    assert keys == [1, 2, 1]
    assert plan_at([], WEDNESDAY) == STARTING


def test_of_plans_of_one_day_the_last_recorded_counts():
    first, second = (candidate(0, WEDNESDAY, Plan(key=key), order=key) for key in (1, 2))
    assert plan_at([second, first], WEDNESDAY).key == 2


@given(
    st.lists(st.builds(Candidate, st.integers(0, 4), ANCHORS, st.integers(1, 99), st.booleans(), PLANS), max_size=6),
    ANCHORS,
)
def test_stretches_say_of_every_day_what_is_in_force(candidates, day):
    begun = [stretch for stretch in stretches(candidates) if stretch.since <= day]
    assert begun[-1].plan == plan_at(candidates, day)


def first_due(plans, day: date):
    return first_due_day(plans, Calendar(LONDON), datetime.combine(day, time(12), UTC))


def changed(before, after, since):
    return [Stretch(date.min, before), Stretch(since, after)]


def test_what_was_overdue_stays_so_when_the_plan_is_loosened():
    plans = changed(Plan(key=1), Plan(key=2, every_days=30), WEDNESDAY)
    assert first_due(plans, date(2026, 3, 1)) == (plans[0].plan, date(2026, 3, 8))
    assert first_due(plans, date(2026, 3, 8)) == (plans[1].plan, date(2026, 4, 7))


def test_a_tighter_plan_makes_nothing_due_before_it_began():
    plans = changed(Plan(every_days=30), Plan(every_days=2), WEDNESDAY)
    assert first_due(plans, date(2026, 3, 1))[1] == WEDNESDAY
    assert first_due(changed(Plan(every_days=30), on(0), WEDNESDAY), date(2026, 2, 20))[1] == date(2026, 3, 16)


@given(st.lists(st.tuples(ANCHORS, PLANS), max_size=4), ANCHORS)
def test_a_due_day_comes_after_the_check_by_the_plan_of_that_day(changes, anchor):
    plans = [Stretch(date.min, STARTING), *(Stretch(*each) for each in sorted(dict(changes).items()))]
    plan, day = first_due(plans, anchor)
    assert day > anchor
    assert plan == [stretch.plan for stretch in plans if stretch.since <= day][-1]


def times_of_days(plan, calendar, first, last):
    days = (first + DAY * ahead for ahead in range((last - first).days + 1))
    return [due for day in days for due in round_times(plan, calendar, day)]


def rounds(plan, calendar, first, last):
    return [due.at for due in times_of_days(plan, calendar, first, last)]


def test_rounds_at_times_of_day_on_their_weekdays():
    plan = RoundPlan(times=(time(14), time(8)), weekdays=0b0000101)
    found = rounds(plan, ALWAYS, date(2026, 3, 9), date(2026, 3, 12))
    assert [(at.day, at.hour) for at in found] == [(9, 8), (9, 14), (11, 8), (11, 14)]


ROUNDS = st.builds(
    RoundPlan, times=st.lists(TIMES, min_size=1, max_size=4, unique=True).map(tuple), weekdays=st.integers(1, 127)
)


@given(plan=ROUNDS, calendar=CALENDARS, day=ANCHORS)
def test_a_round_at_a_time_in_the_hours_is_due_while_they_run(plan, calendar, day):
    found = times_of_days(plan, calendar, day, day + 6 * DAY)
    assert len(found) == len({due.at for due in found})
    for due in found:
        assert calendar.is_open(due.day) and plan.names(due.day)
        at, (opens, closes) = time.fromisoformat(due.because[3:]), calendar.service(due.day)
        assert not in_hours(at, hours_of(calendar)) or opens <= due.at <= closes
    worked = [day + n * DAY for n in range(7) if calendar.is_open(day + n * DAY) and plan.names(day + n * DAY)]
    assert len(found) == len(worked) * len(plan.times)


def test_a_round_at_one_is_due_in_the_hours_that_run_until_two():
    found = rounds(RoundPlan(times=(time(18), time(1))), BAR, date(2026, 3, 13), date(2026, 3, 17))
    assert sorted((at.day, at.hour) for at in found) == [(13, 18), (14, 1), (14, 18), (15, 1), (17, 18), (18, 1)]


SATURDAY, SUNDAY = date(2026, 3, 14), date(2026, 3, 15)


@pytest.mark.parametrize(
    ("weekdays", "closed", "days"),
    [
        (0b1111111, None, [SATURDAY]),
        (0b1111111, SATURDAY, []),
        (0b1000000, None, [SUNDAY]),
        (0b1000000, SATURDAY, [SUNDAY]),
    ],
)
def test_one_o_clock_on_a_sunday_is_in_the_hours_of_saturday_even_where_sunday_has_others(weekdays, closed, days):
    week = (None, *[Hours(time(17), time(2))] * 5, Hours(time(12), time(20)))
    closures = (Closed(closed, closed, "power cut"),) if closed else ()
    calendar = Calendar(LONDON, weeks=(Week(date(2020, 1, 1), week),), closures=closures)
    plan = RoundPlan(times=(time(1),), weekdays=weekdays)
    one = datetime(2026, 3, 15, 1, tzinfo=UTC)
    assert [due.day for due in times_of_days(plan, calendar, SATURDAY, SUNDAY) if due.at == one] == days
    assert round_day(plan, calendar, one) == (SUNDAY if weekdays == 0b1000000 else SATURDAY)


def test_a_closed_day_has_no_rounds():
    assert rounds(RoundPlan(times=(time(8),)), WEEKDAYS_ONLY, date(2026, 3, 13), date(2026, 3, 16)) == [
        datetime(2026, 3, 13, 8, tzinfo=UTC),
        datetime(2026, 3, 16, 8, tzinfo=UTC),
    ]


def test_every_two_hours_while_open_across_midnight_and_the_change_of_clocks():
    night = Calendar(LONDON, weeks=(Week(date(2020, 1, 1), (Hours(time(19), time(3, 30)),) * 7),))
    saturday = date(2026, 3, 28)
    found = round_times(RoundPlan(every_minutes=120), night, saturday)
    assert [due.at.astimezone(LONDON).strftime("%H:%M") for due in found] == ["19:00", "21:00", "23:00", "02:00"]
    assert {due.day for due in found} == {saturday} and found[0].because == "every 2 h while open"


def test_without_hours_nothing_is_done_while_open():
    assert rounds(RoundPlan(every_minutes=120), ALWAYS, WEDNESDAY, WEDNESDAY) == []


@pytest.mark.parametrize(
    ("weekdays", "words"),
    [
        (0b0000001, "on Mondays"),
        (0b0010011, "on Mondays, Tuesdays and Fridays"),
        (0b0011111, "on Mondays to Fridays"),
        (0b1110001, "on Mondays and Fridays to Sundays"),
        (0b1111111, "every day"),
    ],
)
def test_weekdays_in_words(weekdays, words):
    assert Plan(pattern=ON_WEEKDAYS, weekdays=weekdays).usual == words
