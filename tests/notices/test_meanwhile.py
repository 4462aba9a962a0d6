"""What may have happened between the writing of a notice and its leaving, and who is told of what in the end."""

import re
from contextlib import suppress
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core import mail

from compliance.checks.actions import void_check
from compliance.checks.instruments import move_probe
from compliance.notices import delivery, enqueue, timing
from compliance.notices.actions import choose
from compliance.notices.delivery import send_waiting
from compliance.notices.enqueue import enqueue_due_notices
from compliance.notices.models import Notice, State
from compliance.notices.queries import inbox
from compliance.plans.data import PlanData
from compliance.plans.store import HELD_FOR
from compliance.probes.models import Probe
from compliance.readings.actions import void
from compliance.reminders.models import Reminder
from compliance.reminders.planning import change_plan
from sites.models import Membership, Role, Site
from tests.checks import making
from tests.notices.test_enqueue import NINE, due, round_due, tell, told
from tests.world import PASSWORD, make_person, make_probe, make_reading

__all__ = ["due", "round_due"]
pytestmark = pytest.mark.usefixtures("mailing")
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
MONDAY = datetime(2026, 3, 16, 7, 30, tzinfo=UTC)


def test_a_digest_and_a_morning_written_at_once_keep_their_own_words(due, clock):
    """A machine that is switched on on Monday at half past seven; site and area of the same number, as the first ones are."""
    clock.move_to(NINE)
    enqueue_due_notices(NINE)  # the area is in the book
    making.good(due.probe, due.cook, NINE)
    site = due.area.sites.order_by("pk").first()
    if site.pk != due.area.pk:
        Site.objects.create(pk=due.area.pk, area=due.area, name="Alder Annexe", time_zone="Europe/London")
        site = Site.objects.get(pk=due.area.pk)
    make_person("Ann Exe", Role.MANAGER, site=site)
    probe = make_probe(site, "X9", by=due.manager)
    making.good(probe, due.cook, MONDAY - 7 * DAY)  # due again on this Monday
    tell(MONDAY, clock)
    digest = told("digest", due.supervisor).get()
    assert told("due").filter(site=site).exists()
    assert "in use" in digest.text and digest.subject in digest.text


def test_a_supervisor_of_some_sites_sees_in_the_pages_what_is_joined(due, clock):
    making.good(make_probe(due.other_site, "B1", by=due.manager), due.cook, NINE - 7 * DAY)
    sue = make_person("Sue Site", Role.SUPERVISOR, site=due.site)
    Membership.objects.create(person=sue, role=Role.SUPERVISOR, site=due.other_site)
    tell(NINE + 5 * HOUR, clock)
    assert told("unanswered", sue).exists()
    assert inbox(sue).filter(kind="unanswered").exists()


def test_the_link_of_what_is_joined_opens_to_a_supervisor_of_some_sites(due, clock, as_person):
    making.good(make_probe(due.other_site, "B1", by=due.manager), due.cook, NINE - 7 * DAY)
    sue = make_person("Sue Site", Role.SUPERVISOR, site=due.site)
    Membership.objects.create(person=sue, role=Role.SUPERVISOR, site=due.other_site)
    tell(NINE + 5 * HOUR, clock)
    links = set(told("unanswered", sue).values_list("link", flat=True))
    assert len(links) == 2 and all(as_person(sue).get(link).status_code == 200 for link in links)


def test_who_supervises_no_longer_but_manages_one_site_gets_no_digest_of_the_area(due, clock):
    clock.move_to(NINE)
    enqueue_due_notices(NINE)
    choose(by=due.supervisor, choices={}, quiet_from=time(5), quiet_until=time(9))
    tell(MONDAY, clock)
    assert told("digest", due.supervisor).get().state == State.WAITING
    due.supervisor.memberships.all().delete()
    Membership.objects.create(person=due.supervisor, role=Role.MANAGER, site=due.other_site)
    send_waiting(lambda: MONDAY + 2 * HOUR)
    assert told("digest", due.supervisor).get().state == State.NEEDLESS


@pytest.mark.parametrize("grace, kinds", [(12, {"overdue", "unanswered"}), (24, {"overdue"})])
def test_a_daily_check_with_a_long_grace_is_told_in_the_end(due, clock, grace, kinds):
    change_plan(
        by=due.manager,
        data=PlanData(probe=due.probe, every_days=1, at=time(9), grace_minutes=grace * 60, reason="Agreed."),
    )
    for hours in range(-6, 48, 6):
        tell(NINE + hours * HOUR, clock)
    assert kinds <= set(Notice.objects.values_list("kind", flat=True))


def test_mail_about_a_failed_check_that_is_struck_out_before_it_leaves_does_not_leave(due, clock):
    clock.move_to(NINE - DAY)
    check = making.bad(due.probe, due.cook, NINE - DAY)
    enqueue_due_notices(NINE - DAY)
    void_check(by=due.supervisor, check=check, reason="Another probe.")
    send_waiting(lambda: NINE - DAY)
    assert not [letter for letter in mail.outbox if "stop using" in letter.subject]


def test_a_probe_that_moved_while_the_mail_waited_is_not_asked_of_its_old_site(due, clock):
    choose(by=due.manager, choices={}, quiet_from=time(5), quiet_until=time(8))
    tell(NINE - 2 * HOUR, clock)
    assert told("due", due.manager).get().state == State.WAITING
    clock.move_to(NINE - 90 * timedelta(minutes=1))
    move_probe(
        by=due.supervisor,
        probe=due.probe,
        site=due.other_site,
        starts_at=NINE - 90 * timedelta(minutes=1),
        reason="Lent.",
    )
    enqueue_due_notices(NINE - HOUR)
    send_waiting(lambda: NINE - 59 * timedelta(minutes=1))
    assert told("due", due.manager).get().state == State.NEEDLESS


def test_what_was_missed_is_in_one_digest_or_the_other(due, clock):
    """Due on Sunday evening with a grace of twelve hours: on Monday at seven not yet overdue, a week later of another week."""
    clock.move_to(NINE)
    enqueue_due_notices(NINE)
    sunday = datetime(2026, 3, 15, 9, 0, tzinfo=UTC)
    probe = make_probe(due.site, "S1", by=due.manager)
    making.good(probe, due.cook, NINE)
    making.good(due.probe, due.cook, NINE)
    change_plan(
        by=due.manager, data=PlanData(probe=probe, every_days=4, at=time(20), grace_minutes=12 * 60, reason="Agreed.")
    )
    for days in (0, 1, 4, 8):
        tell(sunday + days * DAY, clock)
    now = sunday + 9 * DAY
    missed = Reminder.objects.filter(
        probe__site=due.site, due_at__gte=sunday, grace_at__lt=now, due_at__lt=datetime(2026, 3, 23, tzinfo=UTC)
    )
    named = re.findall(r"Alder School: (\d+) missed", "".join(n.text for n in told("digest", due.supervisor)))
    assert sum(map(int, named)) == missed.count() == 3


def test_a_failed_check_that_is_entered_after_the_digest_is_in_the_next(due, clock):
    clock.move_to(NINE)
    enqueue_due_notices(NINE)
    tell(MONDAY, clock)
    clock.move_to(MONDAY + DAY)
    making.bad(due.probe, due.cook, MONDAY - 3 * DAY)
    tell(MONDAY + 7 * DAY, clock)
    texts = [n.text for n in told("digest", due.supervisor)]
    assert any("probe P1 failed" in text for text in texts)


@pytest.mark.parametrize("day", [24, 25])
def test_a_bakery_that_checks_after_midnight_is_told_before_on_the_day_the_clocks_go_back_too(day):
    zone = ZoneInfo("Europe/London")  # 25 October 2026 has 25 hours
    first = datetime(2026, 10, day, 0, 30, tzinfo=zone).astimezone(UTC)
    assert timing.morning_has_come([first], datetime(2026, 10, day, 0, 10, tzinfo=zone).astimezone(UTC), zone)


def test_a_name_is_escaped_in_the_html_part(due, clock):
    Site.objects.filter(pk=due.site.pk).update(name="<b>A & B</b>")
    tell(NINE, clock)
    notice = told("due").get()
    assert "<b>A" not in notice.html and "&lt;b&gt;A &amp; B" in notice.html
    assert "<b>A & B</b>" in notice.subject and "<b>A & B</b>" in notice.text


def test_a_line_break_in_a_name_makes_no_header(due, clock):
    Site.objects.filter(pk=due.site.pk).update(name="Alder\r\nBcc: x@y.example")
    tell(NINE, clock)
    assert delivery.letter(told("due").get()).message()["Bcc"] is None


def test_the_link_of_a_reading_opens_the_form_after_signing_in(round_due, clock, client):

    tell(NINE, clock)
    link = told("reading").get().link
    first = client.get(link)
    assert first.status_code == 302
    signed = client.post(first["Location"], {"username": round_due.manager.email, "password": PASSWORD})
    assert (signed.status_code, signed["Location"]) == (302, link)
    assert client.get(link).status_code == 200


def test_a_fault_in_the_digest_keeps_no_failed_check_back(due, clock, monkeypatch):
    def broken(now):
        raise ZeroDivisionError

    monkeypatch.setattr("compliance.notices.enqueue.SOURCES", (*enqueue.SOURCES[:-1], broken))
    clock.move_to(NINE - DAY)
    making.bad(due.probe, due.cook, NINE - DAY)
    with suppress(ZeroDivisionError):
        enqueue_due_notices(NINE - DAY)
    assert told("failed").exists()


def test_a_week_in_which_the_last_probe_failed_and_was_withdrawn_is_told(due, clock):
    clock.move_to(NINE)
    enqueue_due_notices(NINE)
    clock.move_to(NINE + DAY)
    making.bad(due.probe, due.cook, NINE + DAY)
    Probe.objects.update(withdrawn=True)
    tell(MONDAY, clock)
    assert told("digest", due.supervisor).exists()


def test_who_lost_one_of_two_sites_is_not_mailed_about_that_one(due, clock):
    making.good(make_probe(due.other_site, "B1", by=due.manager), due.cook, NINE - 7 * DAY)
    sue = make_person("Sue Site", Role.SUPERVISOR, site=due.site)
    Membership.objects.create(person=sue, role=Role.SUPERVISOR, site=due.other_site)
    choose(by=sue, choices={}, quiet_from=time(5), quiet_until=time(15))
    tell(NINE + 5 * HOUR, clock)
    sue.memberships.filter(site=due.other_site).delete()
    send_waiting(lambda: NINE + 6 * HOUR)
    assert not [letter for letter in mail.outbox if letter.to == [sue.email] and "Birch House" in letter.body]


def test_what_is_overdue_again_because_its_check_was_struck_out_is_told_again(due, clock):
    """A late-entered or voided check changes what was cleared."""
    tell(NINE + 2 * HOUR, clock)
    first = told("overdue").count()
    clock.move_to(NINE + 150 * timedelta(minutes=1))
    check = making.good(due.probe, due.cook, NINE + 150 * timedelta(minutes=1))
    send_waiting(lambda: NINE + 151 * timedelta(minutes=1))
    assert told("overdue").get().state == State.NEEDLESS
    clock.move_to(NINE + 3 * HOUR)
    void_check(by=due.supervisor, check=check, reason="Another probe.")
    for hours in (3, 4, 5, 6):
        tell(NINE + hours * HOUR, clock)
    waiting = Notice.objects.filter(person=due.manager, kind="overdue", state=State.WAITING)
    assert first == 1 and waiting.exists()


@pytest.fixture
def undone(due, clock):
    """The managers were told at eleven; a check of one o'clock was there when the supervisors would have been, and is struck out
    at three."""
    tell(NINE + 2 * HOUR, clock)
    clock.move_to(NINE + 4 * HOUR)
    check = making.good(due.probe, due.cook, NINE + 4 * HOUR)
    tell(NINE + 5 * HOUR, clock)
    assert told("overdue").count() == 1 and not told("unanswered")
    clock.move_to(NINE + 6 * HOUR)
    void_check(by=due.supervisor, check=check, reason="It was another probe.")
    return due


def test_a_check_that_is_undone_is_told_to_the_supervisors_once_it_has_waited_anew(undone, clock):
    late = NINE + 6 * HOUR + HELD_FOR
    for at in (NINE + 6 * HOUR, late, late + (late - NINE) - HELD_FOR):
        tell(at, clock)
        assert told("overdue").count() == 1 and not told("unanswered")
    for _ in range(2):
        tell(late + (late - NINE), clock)
        assert told("unanswered").get().person == undone.supervisor and told("overdue").count() == 1


def test_a_check_that_is_undone_and_made_again_is_told_to_no_supervisor(undone, clock):
    tell(NINE + 6 * HOUR + HELD_FOR, clock)
    clock.move_to(NINE + 7 * HOUR)
    making.good(undone.probe, undone.cook, NINE + 7 * HOUR)
    tell(NINE + 13 * HOUR, clock)
    assert not told("unanswered")


def test_a_reading_that_is_struck_out_after_the_grace_is_told_as_not_taken(round_due, clock):
    reading = make_reading(round_due.probe, round_due.limit, "3.0", NINE - timedelta(minutes=30), by=round_due.cook)
    tell(NINE + timedelta(minutes=30), clock)
    assert not told("reading")
    void(by=round_due.cook, reading=reading, reason="Another food.")
    tell(NINE + timedelta(minutes=36), clock)
    assert len(told("reading").get().reminders) == 1
