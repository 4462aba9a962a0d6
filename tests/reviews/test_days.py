"""When a day waits for a second person, is reviewed, and asks for review again."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from compliance.plans.actions import close_days
from compliance.plans.data import ClosureData
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from compliance.readings import actions as readings
from compliance.readings.data import ActData
from compliance.readings.models import Deviation
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from compliance.reviews.actions import ReviewData, sign_review
from compliance.reviews.days import ASKS, DayState, days_of, judge, lately, unreviewed_by_site
from compliance.reviews.facts import FactsOfDay
from compliance.reviews.models import Meaning, Review
from shared.audit.chain import newest_of
from shared.audit.models import Entry
from sites.actions import amend_business
from tests.checks import making
from tests.quarantine.making import decide
from tests.world import make_reading

DAY = date(2026, 3, 11)  # a Wednesday
NOON = datetime(2026, 3, 11, 12, tzinfo=UTC)


@pytest.fixture
def day(world, clock):
    """One reading of the cook, beyond its limit, and the morning after."""
    clock.move_to(NOON)
    reading = make_reading(world.probe, world.limit, "7.2", NOON, by=world.cook)
    Deviation.objects.create(reading=reading, why="2.2 °C above the limit", recorded_by=world.cook)
    clock.move_to(NOON + timedelta(days=1))
    return reading


def sign(world, by=None, **changes) -> Review:
    given = {"first": DAY, "last": DAY, "meaning": Meaning.REVIEWED, **changes}
    return sign_review(by=by or world.supervisor, site=world.site, data=ReviewData(**given))


def state(world, clock, day=DAY) -> DayState:
    [told] = days_of(world.site, day, day, timezone.now())
    return told.state


@given(st.integers(0, 5), st.booleans(), st.sampled_from([None, *Meaning]), st.integers(0, 5), st.booleans())
def test_a_day_is_reviewed_only_while_its_records_are_those_that_were_read(count, asked, meaning, rested_on, over):
    found = judge(over=over, facts=FactsOfDay(count, asked), meaning=meaning, rested_on=rested_on)
    assert (found == DayState.REVIEWED) == (over and meaning == Meaning.REVIEWED and rested_on == count)
    assert (found in ASKS) == (over and found != DayState.REVIEWED and (meaning is not None or count > 0 or asked))


def test_a_day_waits_is_reviewed_and_keeps_what_the_signature_rests_on(world, clock, day):
    assert state(world, clock) == DayState.WAITING
    head = newest_of(world.business.pk)
    review = sign(world, remarks="All in order.")
    assert state(world, clock) == DayState.REVIEWED and review.rests_on == {"2026-03-11": 1}
    assert (review.entry_number, review.entry_hash) == ((head.number, head.hash) if head else (0, ""))
    assert Entry.objects.get(action="review.sign").data["rests_on"] == {"2026-03-11": 1}


def test_days_with_nothing_and_days_that_are_not_over_ask_for_no_review(world, clock, day):
    assert state(world, clock, date(2026, 3, 10)) == DayState.NOTHING
    assert state(world, clock, date(2026, 3, 12)) == DayState.RUNNING
    with pytest.raises(ValidationError, match="nothing to review"):
        sign(world, first=date(2026, 3, 10), last=date(2026, 3, 10))
    with pytest.raises(ValidationError, match="not over yet"):
        sign(world, last=date(2026, 3, 12))


def late_reading(world, reading):
    make_reading(world.probe, world.limit, "3.0", NOON, by=world.cook)


def struck_out(world, reading):
    readings.void(by=world.manager, reading=reading, reason="Entered twice")


def acted_on(world, reading):
    act = ActData(action="Moved it", cause="Door was open", disposition="discarded", done_at=NOON, note="Nobody")
    readings.act_on_deviation(by=world.manager, deviation=reading.deviation, data=act)


def late_check(world, reading):
    making.good(world.probe, world.cook, NOON + timedelta(hours=1))


def late_event(world, reading):
    making.event(world.probe, world.cook, "dropped", NOON + timedelta(hours=2))


def excused(world, reading):
    hour = timedelta(hours=1)
    times = {"due_at": NOON, "grace_at": NOON + hour, "closes_at": NOON + 2 * hour, "opens_at": NOON - hour}
    asked = Reminder.objects.create(probe=world.probe, site=world.site, because="every 7 days", **times)
    excuse_reminder(by=world.manager, reminder=asked, reason="In the laboratory.")


def decided(world, reading):
    making.good(world.probe, world.cook, NOON - timedelta(days=2))
    failed = making.bad(world.probe, world.cook, NOON + timedelta(hours=20))
    everything = Selection(sites=(world.site.pk,))
    case = load_case(f"check:{failed.pk}")
    decide(by=world.manager, case=case, selection=everything, fate="discarded", why="Poured away.")


CHANGES = [late_reading, struck_out, acted_on, late_check, late_event, excused, decided]


@pytest.mark.parametrize("change", CHANGES)
def test_whatever_changes_afterwards_asks_for_review_again(world, clock, day, change):
    sign(world)
    change(world, day)
    assert state(world, clock) == DayState.CHANGED
    sign(world)
    assert state(world, clock) == DayState.REVIEWED and Review.objects.count() == 2


def test_a_record_of_another_day_or_site_changes_nothing(world, clock, day):
    sign(world)
    make_reading(world.probe, world.limit, "3.0", NOON + timedelta(hours=14), by=world.cook)
    make_reading(world.probe, world.limit, "3.0", NOON, by=world.cook, site=world.other_site)
    assert state(world, clock) == DayState.REVIEWED


def test_who_made_a_record_of_the_day_cannot_review_it(world, clock, day):
    acted_on(world, day)
    with pytest.raises(ValidationError, match="you made some of the corrective actions"):
        sign(world, by=world.manager)
    assert sign(world).recorded_by == world.supervisor


@pytest.mark.parametrize("change", [struck_out, excused, decided])
def test_so_cannot_who_corrected_excused_or_decided(world, clock, day, change):
    change(world, day)
    with pytest.raises(ValidationError, match="you made some of the"):
        sign(world, by=world.manager)


def test_what_came_while_the_sheet_was_read_has_to_be_read_too(world, clock, day):
    late_reading(world, day)
    with pytest.raises(ValidationError, match="have come in since"):
        sign(world, after=1)
    assert sign(world, after=2)


def test_days_that_are_not_accepted_stay_open_and_say_why(world, clock, day):
    with pytest.raises(ValidationError, match="what has to be put right"):
        sign(world, meaning=Meaning.SENT_BACK)
    sign(world, meaning=Meaning.SENT_BACK, remarks="The fridge is not named.")
    assert state(world, clock) == DayState.SENT_BACK
    sign(world, remarks="Named now.")
    assert state(world, clock) == DayState.REVIEWED


def test_a_day_is_late_when_seven_working_days_have_passed_or_as_many_as_are_set(world, clock, day):
    days = ClosureData(site=world.site, why="School holidays", first_day=date(2026, 3, 14), last_day=date(2026, 3, 15))
    close_days(by=world.manager, data=days)
    clock.move_to(datetime(2026, 3, 20, 12, tzinfo=UTC))  # the seventh working day
    assert not any(each.late for each in lately(world.site, timezone.now()))
    clock.move_to(datetime(2026, 3, 21, 12, tzinfo=UTC))
    assert [each.day for each in lately(world.site, timezone.now()) if each.late] == [DAY]
    assert unreviewed_by_site([world.site, world.other_site], timezone.now()) == {world.site.pk: 1}
    sign(world)
    assert not unreviewed_by_site([world.site], timezone.now())


def test_of_several_sites_each_goes_by_its_own_calendar_and_its_own_reviews(world, clock, day):
    """They share all else: the other one worked on the days on which this one was closed."""
    sites = [world.site, world.other_site]
    make_reading(world.probe, world.limit, "3.0", NOON, by=world.cook, site=world.other_site)
    days = ClosureData(site=world.site, why="School holidays", first_day=date(2026, 3, 14), last_day=date(2026, 3, 15))
    close_days(by=world.manager, data=days)
    clock.move_to(datetime(2026, 3, 19, 12, tzinfo=UTC))
    assert unreviewed_by_site(sites, timezone.now()) == {world.other_site.pk: 1}
    clock.move_to(datetime(2026, 3, 21, 12, tzinfo=UTC))
    assert unreviewed_by_site(sites, timezone.now()) == {world.site.pk: 1, world.other_site.pk: 1}
    sign(world)
    assert unreviewed_by_site(sites, timezone.now()) == {world.other_site.pk: 1}


def test_another_clock_holds_for_the_days_after_it_was_set(world, clock, day):
    amend_business(by=world.supervisor, business=world.business, changes={"review_days": 1}, reason="Agreed.")
    make_reading(world.probe, world.limit, "3.0", NOON + timedelta(days=1), by=world.cook)
    clock.move_to(NOON + timedelta(days=3))
    world.site.refresh_from_db()
    assert [each.day for each in lately(world.site, timezone.now()) if each.late] == [date(2026, 3, 12)]
