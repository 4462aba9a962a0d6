"""Wall-clock times as moments, and open days. dateutil's own judgement of skipped and repeated times is the oracle."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given
from hypothesis import strategies as st

from compliance.plans import calendar as calendars
from compliance.plans.calendar import DAY, Calendar, Closed, Former, Hours, Week, instant, public_holidays

ZONES = [
    "Europe/London",
    "America/New_York",
    "Australia/Lord_Howe",
    "Asia/Kathmandu",
    "Pacific/Apia",
    "America/St_Johns",
    "Africa/Casablanca",
    "Pacific/Chatham",
    "UTC",
]
DAYS = st.dates(min_value=date(1975, 1, 1), max_value=date(2037, 12, 31))
TIMES = st.builds(time, st.integers(0, 23), st.integers(0, 59))
LONDON = ZoneInfo("Europe/London")
NINE_TO_THREE = Hours(time(9), time(15))
SCHOOL_WEEK = Week(date(2020, 1, 1), (*[NINE_TO_THREE] * 5, None, None))


@given(day=DAYS, at=TIMES, name=st.sampled_from(ZONES))
def test_a_moment_shows_the_time_asked_for_or_the_first_that_exists(day, at, name):
    zone = ZoneInfo(name)
    wall, moment = datetime.combine(day, at), instant(day, at, zone)
    shown = moment.astimezone(zone)
    if tz.datetime_exists(wall, tz.gettz(name)):
        assert shown.replace(tzinfo=None, fold=0) == wall
    else:
        assert shown.replace(tzinfo=None) > wall
        just_before = (moment - timedelta(seconds=1)).astimezone(zone).replace(tzinfo=None)
        assert just_before < wall


@given(day=DAYS, at=TIMES, name=st.sampled_from(ZONES))
def test_of_a_time_shown_twice_the_first_is_meant(day, at, name):
    zone = ZoneInfo(name)
    moment = instant(day, at, zone)
    earlier = [moment - timedelta(minutes=minutes) for minutes in (30, 60, 120)]
    wall = moment.astimezone(zone).replace(tzinfo=None, fold=0)
    assert all(at.astimezone(zone).replace(tzinfo=None, fold=0) != wall for at in earlier)


# When the clocks of these places changed is from the IANA time zone database.
@pytest.mark.parametrize(
    ("zone", "day", "at", "moment"),
    [
        ("Europe/London", date(2026, 3, 29), time(1, 30), datetime(2026, 3, 29, 1, 0, tzinfo=UTC)),
        ("Europe/London", date(2026, 10, 25), time(1, 30), datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        ("America/New_York", date(2026, 3, 8), time(2, 30), datetime(2026, 3, 8, 7, 0, tzinfo=UTC)),
        ("America/New_York", date(2026, 11, 1), time(1, 30), datetime(2026, 11, 1, 5, 30, tzinfo=UTC)),
        ("Australia/Lord_Howe", date(2026, 10, 4), time(2, 15), datetime(2026, 10, 3, 15, 30, tzinfo=UTC)),
        ("Australia/Lord_Howe", date(2026, 4, 5), time(1, 45), datetime(2026, 4, 4, 14, 45, tzinfo=UTC)),
        ("Pacific/Apia", date(2011, 12, 30), time(9), datetime(2011, 12, 30, 10, 0, tzinfo=UTC)),
        ("Asia/Kathmandu", date(2026, 3, 11), time(9), datetime(2026, 3, 11, 3, 15, tzinfo=UTC)),
        ("Asia/Beirut", date(2026, 3, 29), time(0), datetime(2026, 3, 28, 22, 0, tzinfo=UTC)),
        ("Europe/London", date(2028, 2, 29), time(9), datetime(2028, 2, 29, 9, 0, tzinfo=UTC)),
    ],
)
def test_published_changes_of_the_clocks(zone, day, at, moment):
    assert instant(day, at, ZoneInfo(zone)) == moment


def test_a_site_with_nothing_said_works_every_day():
    assert Calendar(LONDON).why_closed(date(2026, 12, 25)) == ""
    assert Calendar(LONDON).service(date(2026, 3, 11)) is None


def test_weekdays_without_hours_are_closed():
    calendar = Calendar(LONDON, weeks=(SCHOOL_WEEK,))
    assert calendar.why_closed(date(2026, 3, 14)) == "closed on Saturdays"
    assert calendar.next_open(date(2026, 3, 14)) == date(2026, 3, 16)


def test_the_week_that_began_last_counts_and_of_one_day_the_last_recorded():
    all_closed = Week(date(2026, 3, 1), (None,) * 7)
    again = Week(date(2026, 3, 1), (NINE_TO_THREE,) * 7)
    calendar = Calendar(LONDON, weeks=(again, SCHOOL_WEEK, all_closed))
    assert calendar.why_closed(date(2026, 2, 27)) == ""
    assert not calendar.is_open(date(2026, 3, 2))
    assert Calendar(LONDON, weeks=(all_closed, again)).is_open(date(2026, 3, 1))


def test_both_ends_of_a_closure_are_closed():
    calendar = Calendar(LONDON, closures=(Closed(date(2026, 4, 3), date(2026, 4, 17), "school holidays"),))
    told = [calendar.why_closed(date(2026, 4, day)) for day in (2, 3, 17, 18)]
    assert told == ["", "school holidays", "school holidays", ""]


def test_a_site_closed_for_good_never_opens():
    assert Calendar(LONDON, closed=True).next_open(date(2026, 3, 11)) is None


# https://www.gov.uk/bank-holidays: Good Friday 3 April 2026, Easter Monday 6 April (not in Scotland), 2 January in Scotland.
def test_public_holidays_of_a_country_and_of_a_part_of_it():
    england, scotland = (Calendar(LONDON, holidays=public_holidays("GB", part)) for part in ("ENG", "SCT"))
    assert england.why_closed(date(2026, 4, 3)) == "Good Friday"
    assert not england.is_open(date(2026, 4, 6)) and scotland.is_open(date(2026, 4, 6))
    assert england.is_open(date(2026, 1, 2)) and not scotland.is_open(date(2026, 1, 2))


@pytest.mark.parametrize(
    ("country", "part", "words"), [("XX", "", "Give a code such as"), ("GB", "QQ", "no part of GB")]
)
def test_codes_that_are_not_known(country, part, words):
    with pytest.raises(ValueError, match=words):
        public_holidays(country, part)


@pytest.mark.parametrize(
    ("closes", "hours"), [(time(15), 6), (time(1), 16), (time(9), 24)], ids=["by day", "after midnight", "all day"]
)
def test_service_may_end_after_midnight(closes, hours):
    calendar = Calendar(LONDON, weeks=(Week(date(2020, 1, 1), (Hours(time(9), closes),) * 7),))
    opens, ends = calendar.service(date(2026, 3, 11))
    assert (opens, ends - opens) == (datetime(2026, 3, 11, 9, tzinfo=UTC), timedelta(hours=hours))


def test_the_night_on_which_clocks_go_forward_is_an_hour_shorter():
    calendar = Calendar(LONDON, weeks=(Week(date(2020, 1, 1), (Hours(time(18), time(2, 30)),) * 7),))
    opens, ends = calendar.service(date(2026, 3, 28))
    assert ends - opens == timedelta(hours=7, minutes=30)


NIGHTS = st.builds(Hours, st.builds(time, st.integers(10, 23)), st.builds(time, st.integers(0, 9), st.integers(0, 59)))
WEEKS = st.builds(
    lambda opened, night: tuple(night if each else None for each in opened), st.tuples(*[st.booleans()] * 7), NIGHTS
)


@given(day=DAYS, at=TIMES, name=st.sampled_from(ZONES), week=WEEKS)
def test_a_time_of_day_is_in_the_hours_that_run_past_midnight_or_on_the_day_itself(day, at, name, week):
    calendar = Calendar(ZoneInfo(name), weeks=(Week(date(1970, 1, 1), week),))
    hours, moment = week[day.weekday()], calendar.moment(day, at)
    late = hours is not None and at <= hours.closes
    assert moment == instant(day + DAY if late else day, at, calendar.zone)
    if late:
        opens, closes = calendar.service(day)
        assert opens <= moment <= closes and calendar.day_asked(moment) == day


@given(day=DAYS, part=st.floats(0, 1), name=st.sampled_from(ZONES), week=WEEKS)
def test_what_is_due_in_the_hours_of_a_day_is_asked_for_by_that_day_whether_or_not_it_is_closed(day, part, name, week):
    calendar = Calendar(ZoneInfo(name), weeks=(Week(date(1970, 1, 1), week),))
    if service := calendar.service(day):
        at = service[0] + (service[1] - service[0]) * part
        shut = replace(calendar, closures=(Closed(day, day, "power cut"),))
        assert calendar.day_asked(at) == shut.day_asked(at) == day
        assert calendar.work_day(at) == (day if at < service[1] else day + DAY), "the work of the day ends with it"


def test_of_hours_that_meet_a_moment_is_in_those_that_begin_then():
    calendar = Calendar(LONDON, weeks=(Week(date(2020, 1, 1), (Hours(time(8), time(8)),) * 7),))
    eight = datetime(2026, 3, 11, 8, tzinfo=UTC)
    shut = replace(calendar, closures=(Closed(date(2026, 3, 11), date(2026, 3, 11), "power cut"),))
    assert [each.day_asked(eight).day for each in (calendar, shut)] == [11, 10]
    assert calendar.moment(date(2026, 3, 10), time(8)) == eight - DAY


def test_what_was_past_when_the_clock_of_a_site_was_changed_stays_and_what_was_to_come_does_not_become_past():
    noon = datetime(2026, 3, 11, 12, tzinfo=UTC)
    honolulu, auckland = (
        Calendar(ZoneInfo(zone), formers=(Former(noon, LONDON),)) for zone in ("Pacific/Honolulu", "Pacific/Auckland")
    )
    day = date(2026, 3, 11)
    assert honolulu.instant(day, time(9)) == datetime(2026, 3, 11, 9, tzinfo=UTC)  # past; it would come again
    assert honolulu.instant(day, time(15)) == datetime(2026, 3, 12, 1, tzinfo=UTC)
    assert auckland.instant(day, time(15)) == datetime(2026, 3, 11, 15, tzinfo=UTC)  # by the new clock it is past
    assert auckland.instant(day + DAY, time(15)) == datetime(2026, 3, 12, 2, tzinfo=UTC)
    assert [auckland.local_day(noon - DAY * n) for n in (1, 0)] == [day - DAY, day + DAY]


@given(
    st.sampled_from(ZONES), st.sampled_from(ZONES), st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31)), TIMES
)
def test_another_clock_moves_no_moment_over_the_moment_of_the_change(old, new, told, at):
    told = told.replace(tzinfo=UTC)
    before = Calendar(ZoneInfo(old))
    after = Calendar(ZoneInfo(new), formers=(Former(told, ZoneInfo(old)),))
    for ahead in (-2, -1, 0, 1, 2):
        day = told.date() + DAY * ahead
        assert (before.instant(day, at) <= told) == (after.instant(day, at) <= told)


def test_a_moment_of_a_day_is_told_by_what_was_set_for_the_site_then():
    day, then = date(2026, 3, 17), datetime(2026, 3, 17, 9, tzinfo=UTC)
    later = then + DAY
    struck = Closed(day, day, "flood", told=then - DAY, struck=later)
    former = Former(later, LONDON, {day: "Saint Patrick's Day"}, (Closed(day, day, "strike"),))
    tuesday = (
        Week(date(2020, 1, 1), (None,) * 6 + (Hours(time(8), time(20)),)),
        Week(day, (Hours(time(8), time(20)),) * 7, later),
    )
    for calendar, why in [
        (Calendar(LONDON, closures=(struck,)), "flood"),
        (Calendar(LONDON, closures_of_area=(struck,)), "flood"),
        (Calendar(LONDON, formers=(Former(later, LONDON, {day: "Saint Patrick's Day"}),)), "Saint Patrick's Day"),
        (Calendar(LONDON, formers=(former,)), "strike"),
        (Calendar(LONDON, weeks=tuesday), "closed on Tuesdays"),
    ]:
        assert calendar.why_closed(day) == ""
        assert calendar.why_closed(day, then) == why
        assert calendar.why_closed(day, later) == ""
    assert Calendar(LONDON, closures=(struck,)).is_open(day, then - 2 * DAY), "nobody had closed it yet"


def test_what_closes_a_site_now_did_not_close_it_before_unless_it_is_a_closure_of_its_own():
    day, then = date(2026, 3, 17), datetime(2026, 3, 17, 9, tzinfo=UTC)
    open_then = (Former(then + DAY, LONDON),)
    flood = (Closed(day, day, "flood", told=then + DAY),)
    assert Calendar(LONDON, holidays={day: "Saint Patrick's Day"}, formers=open_then).is_open(day, then)
    assert Calendar(LONDON, closures_of_area=flood, formers=open_then).is_open(day, then)
    assert Calendar(LONDON, closures=flood, formers=open_then).why_closed(day, then) == "flood"


def test_what_a_calendar_has_found_is_bounded_and_found_again(monkeypatch):
    monkeypatch.setattr(calendars, "MOST_FOUND", 2)
    asked, calendar = [], Calendar(LONDON)
    found = [
        calendar.once(number, lambda number=number: asked.append(number) or number * 2) for number in (1, 1, 2, 3, 1)
    ]
    assert found == [2, 2, 4, 6, 2]
    assert asked == [1, 2, 3, 1] and len(calendar._found) <= 2
