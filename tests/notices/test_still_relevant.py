"""What is asked again before a mail leaves: whether it is still to be done, and whether its person has quiet hours by now."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.core import mail

from compliance.notices import still_relevant
from compliance.notices.actions import choose, send_again
from compliance.notices.delivery import send_waiting
from compliance.notices.enqueue import enqueue_due_notices
from compliance.notices.models import Notice, State
from compliance.reminders.models import Excuse, Reminder
from sites.models import Site
from tests.checks import making
from tests.notices.test_enqueue import NINE, due, round_due, tell, told
from tests.world import make_reading

pytestmark = pytest.mark.usefixtures("mailing")
__all__ = ["due", "round_due"]
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
EVENING = datetime(2026, 1, 14, 21, 0, tzinfo=UTC)


def excused(world, at):
    Excuse.objects.create(reminder=Reminder.objects.get(due_at=NINE), reason="Flooded.", recorded_by=world.manager)


def made(world, at):
    making.good(world.probe, world.cook, at)


def gone(world, at):
    making.event(world.probe, world.cook, "gone", at, "lost")


def closed(world, at):
    Site.objects.filter(pk=world.site.pk).update(closed=True)


@pytest.mark.parametrize("became", [excused, made, gone, closed])
@pytest.mark.parametrize("tried", [0, 2])
def test_mail_that_asks_for_what_need_not_be_done_any_more_does_not_leave(due, clock, became, tried):
    tell(NINE + 4 * HOUR, clock)
    for kind in ("overdue", "unanswered"):
        assert not still_relevant.needless(told(kind).get(), NINE + 4 * HOUR)
    Notice.objects.update(attempts=tried)
    now = NINE + 4 * HOUR + timedelta(minutes=20)
    clock.move_to(now)
    became(due, now)
    send_waiting(lambda: now)
    assert {(n.state, n.answered) for n in (told("overdue").get(), told("unanswered").get())} == {
        (State.NEEDLESS, still_relevant.DONE)
    }
    asked_for = [letter for letter in mail.outbox if "P1" in letter.subject and " is gone" not in letter.subject]
    assert not asked_for


def test_an_excuse_holds_for_the_check_it_was_given_for_and_for_as_long_as_that_is_asked_for(due, clock):
    """The first check is excused and over; of a second mail it is the next one that is."""
    tell(NINE + 2 * HOUR, clock)
    first, week = told("overdue").get(), NINE + 7 * DAY + HOUR
    assert not still_relevant.needless(first, week)
    Reminder.objects.filter(probe=due.probe, due_at=NINE).update(closes_at=week - HOUR)
    later = Reminder.objects.get(probe=due.probe, due_at=NINE)
    Reminder.objects.filter(probe=due.probe, due_at__gt=NINE).delete()
    later.pk, later.due_at, later.grace_at, later.closes_at = None, week - HOUR, week, week + DAY
    later.save(force_insert=True)
    excuse = {"reason": "Flooded.", "recorded_by": due.manager}
    Excuse.objects.create(reminder=later, **excuse)
    assert still_relevant.needless(first, week) == still_relevant.DONE
    over = later.closes_at + HOUR
    assert not still_relevant.needless(first, over)
    Excuse.objects.create(reminder=Reminder.objects.get(probe=due.probe, due_at=NINE), **excuse)
    assert still_relevant.needless(first, over) == still_relevant.DONE


def test_of_two_checks_one_is_still_to_be_made(due, clock):
    tell(NINE + 2 * HOUR, clock)
    notice = told("overdue").get()
    notice.probes.append([0, NINE.isoformat()])
    assert not still_relevant.needless(notice, NINE + 2 * HOUR)


def test_a_reading_that_was_taken_is_not_asked_for_by_the_sender(round_due, clock):
    tell(NINE, clock)
    make_reading(round_due.probe, round_due.limit, "3.0", NINE + timedelta(minutes=2), by=round_due.cook)
    send_waiting(lambda: NINE + timedelta(minutes=3))
    assert told("reading").get().state == State.NEEDLESS
    assert mail.outbox == []


def test_what_was_to_be_done_on_a_day_is_not_told_on_the_next_and_what_is_overdue_is(due, clock):
    tell(NINE + 3 * HOUR, clock)
    clock.move_to(NINE + DAY)
    send_waiting(lambda: NINE + DAY)
    assert (told("due").get().state, told("overdue").get().state) == (State.NEEDLESS, State.SENT)


def test_a_failed_check_is_told_whatever_became_of_the_place(due, clock):
    clock.move_to(NINE - DAY)
    making.bad(due.probe, due.cook, NINE - DAY)
    enqueue_due_notices(NINE - DAY)
    closed(due, NINE - DAY)
    send_waiting(lambda: NINE - DAY)
    assert {notice.state for notice in told("failed")} == {State.SENT}


@pytest.fixture
def overdue(write):
    return write("overdue", kind="overdue", made_at=EVENING - HOUR)


def test_what_is_late_waits_for_the_morning_and_the_try_does_not_count(overdue, write):
    failed = write()
    send_waiting(lambda: EVENING)
    overdue.refresh_from_db()
    failed.refresh_from_db()
    assert (overdue.state, overdue.not_before, overdue.attempts) == (State.WAITING, EVENING + 9 * HOUR, 0)
    assert failed.state == State.SENT
    send_waiting(lambda: EVENING + 9 * HOUR)
    overdue.refresh_from_db()
    assert overdue.state == State.SENT


def test_quiet_hours_that_were_set_since_hold(overdue, world):
    noon = EVENING - 9 * HOUR
    choose(by=world.manager, choices={}, quiet_from=time(11), quiet_until=time(13))
    send_waiting(lambda: noon)
    assert mail.outbox == []
    assert Notice.objects.get().not_before == noon + HOUR


def test_who_sends_again_at_night_wakes_nobody(overdue, world):
    Notice.objects.update(state=State.FAILED)
    send_again(by=world.supervisor, notice=overdue)
    send_waiting(lambda: EVENING)
    assert mail.outbox == []


def test_of_an_area_it_is_quiet_while_it_is_at_all_of_its_sites(write, world):
    Site.objects.filter(pk=world.other_site.pk).update(time_zone="America/New_York")
    notice = write(kind="unanswered", site=None, area=world.area, person=world.supervisor)
    assert still_relevant.quiet_until(notice, EVENING) is None
    assert still_relevant.quiet_until(notice, EVENING + 6 * HOUR) == EVENING + 9 * HOUR
