"""What the demo may do that nothing else may, and what it shows whenever it is made."""

import subprocess
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime

import pytest
import time_machine
from django.conf import settings
from django.core.management import call_command
from django.db import transaction
from django.db.models import F
from django.test import Client
from django.urls import reverse

from compliance.checks.models import Check
from compliance.overview.demo import load
from compliance.overview.demo.lives import STORIES
from compliance.overview.demo.mornings import IN_THE_CELLAR
from compliance.overview.demo.scenario import DAYS, FEWEST_DAYS, ProbeStory, load_scenario
from compliance.overview.demo.setting import PASSWORD, RULES, SIGN_INS
from compliance.overview.queries import probes_in_use
from compliance.overview.todo import for_one_bath, to_do_today
from compliance.plans.calendar import DAY, local_day
from compliance.plans.models import Closure
from compliance.probes.models import Event, EventKind, Probe
from compliance.readings.models import Reading
from compliance.reminders.models import Excuse, Reminder
from compliance.reminders.status import Status, with_status
from compliance.reviews.models import Review
from sites.models import Person, Site

PRETENDING = "compliance/overview/demo/"
# A school has nobody in, and sixty days before, where the shortest demo begins, it had none either: it was a Sunday.
LATE_ON_NEW_YEARS_DAY = datetime(2032, 1, 1, 23, 50, tzinfo=UTC)
# Of each site the probes to which something happens, or one that all is measured with.
PROBES = {
    "Alderbrook": "AL-1 AL-2 AL-3 AL-4 AL-5 AL-6",
    "Bramley": "BR-1 BR-2 BR-3",
    "Copperfield": "CO-1 CO-2 CO-3",
    "Dunlin": "DU-1",
    "Ivywell": "IV-3 IV-4",
    "Larkspur": "LA-2",
}
pytestmark = pytest.mark.django_db


def half_the_business():
    """The sites and probes to which something happens that is not told of others; other halves are made for the browser."""
    told, kept = load_scenario(), " ".join(PROBES.values()).split()
    here = tuple(site for site in told.sites if site.name.split()[0] in PROBES)
    return replace(told, sites=here, probes=tuple(_drifting(probe) for probe in told.probes if probe.code in kept))


def _drifting(probe: ProbeStory) -> ProbeStory:
    """As far in the fewest days as in all."""
    slope = probe.behaviour.get("slope", 0) * DAYS / FEWEST_DAYS
    return replace(probe, behaviour=probe.behaviour | {"slope": slope})


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker):
    """The shortest that may be asked for; gone after the tests of this file."""
    moment, patched = time_machine.travel(LATE_ON_NEW_YEARS_DAY, tick=False), pytest.MonkeyPatch.context()
    with django_db_blocker.unblock(), moment, patched as patch, transaction.atomic():
        patch.setattr(load, "load_scenario", half_the_business)
        call_command("load_rules", verbosity=0)
        yield load.load_demo(LATE_ON_NEW_YEARS_DAY, FEWEST_DAYS)
        transaction.set_rollback(True)


def asked(**which):
    come = Reminder.objects.filter(due_at__lte=LATE_ON_NEW_YEARS_DAY)
    return with_status(come.filter(**which), LATE_ON_NEW_YEARS_DAY)


def first_site() -> Site:
    return Site.objects.earliest("pk")


def as_manager() -> Client:
    client = Client()
    client.force_login(Person.objects.get(email=SIGN_INS["manager"]))
    return client


def test_only_the_demo_says_when_its_records_were_made():
    found = subprocess.run(
        ["git", "grep", "-l", "clock.pretend", "--", "compliance", "sites", "shared"],
        cwd=settings.BASE_DIR,
        capture_output=True,
        text=True,
        check=True,
    )
    assert found.stdout.split()
    assert [name for name in found.stdout.split() if not name.startswith(PRETENDING)] == []


def test_of_the_whole_business_nothing_is_told_that_the_demo_does_not_know():
    """No test makes all of it."""
    told = load_scenario()
    names = {site.name for site in told.sites}
    people = {each for site in told.sites for each in (site.manager, site.cook)}
    assert len(names) == len(told.sites) == 12
    assert len(people | set(told.supervisors.values())) == 24 + len(told.supervisors)
    assert {site.area for site in told.sites} == set(told.supervisors)
    assert {probe.site for probe in told.probes} == names
    assert names >= {probe.behaviour["to"] for probe in told.probes if "to" in probe.behaviour}
    assert len({probe.code for probe in told.probes}) == len(told.probes)
    assert {probe.use for probe in told.probes} == set(RULES)
    assert {probe.kind for probe in told.probes} == {*STORIES, "steady", "drifting", "new"}
    sensors = {value for value, _ in Probe._meta.get_field("sensor").choices}
    assert {probe.sensor for probe in told.probes} <= sensors


def test_of_all_that_was_asked_for_most_is_done_some_missed_and_a_few_excused_with_a_reason(demo):
    """From the second week on: not every probe was checked on the day on which it came into the book."""
    for of_a_round, few in ((True, 3), (False, 0)):
        of_then = asked(round__isnull=not of_a_round, due_at__gt=demo.begins + 7 * DAY)
        counts = Counter(of_then.values_list("status", flat=True))
        assert counts[Status.CLEARED] > 0.9 * sum(counts.values()) > 150
        assert counts[Status.MISSED] > few and counts[Status.EXCUSED] > few
    assert all(Excuse.objects.values_list("reason", flat=True))
    assert Excuse.objects.filter(recorded_at__gt=LATE_ON_NEW_YEARS_DAY - 7 * DAY).count() < Excuse.objects.count()


def test_all_facts_folded_anew_say_what_is_stored(demo):
    call_command("verify_due", verbosity=0)


def test_every_day_since_the_beginning_something_fell_due_or_the_site_was_closed(demo):
    for name, site in demo.sites.items():
        fell_due = {
            local_day(at, site.zone) for at in Reminder.objects.filter(site=site).values_list("due_at", flat=True)
        }
        days = [demo.today - DAY * ago for ago in range(FEWEST_DAYS)]
        assert {day for day in days if demo.works(name, day)} == fell_due & set(days), name


def test_schools_have_holidays_of_both_kinds_and_a_day_off_was_called_off(demo):
    school = demo.calendars[first_site().name]
    days = [demo.today + DAY * ahead for ahead in range(-FEWEST_DAYS, 30)]
    why = Counter(school.why_closed(day) for day in days)
    assert why["half-term holidays"] == 5
    assert why["Christmas Day"] == why["New Year's Day"] == 1
    assert Closure.objects.filter(void__isnull=False).count() == 1


def test_one_check_was_made_without_network_and_sent_the_same_morning(demo):
    check = Check.objects.get(phone__isnull=False)
    assert (check.probe.code, check.site) == ("AL-5", first_site())
    assert check.recorded_at - check.checked_at == IN_THE_CELLAR
    page = as_manager().get(reverse("check_detail", args=[check.pk])).content.decode()
    assert "by its own clock, which was 2 min 10 s ahead" in page


def test_a_check_that_was_entered_late_clears_what_it_was_made_for(demo):
    late = Check.objects.filter(recorded_at__gt=F("checked_at") + DAY)
    assert late.count() == 2
    for check in late:
        reminder = asked(probe=check.probe, due_at__lt=check.checked_at).latest("due_at")
        assert (reminder.status, reminder.check_id) == (Status.CLEARED, check.pk)


def test_of_a_probe_put_aside_only_the_check_falls_due_that_its_readings_wait_for(demo):
    aside = Event.objects.get(kind=EventKind.WITHDRAWN)
    assert asked(probe=aside.probe, due_at__lt=aside.at).exists()
    (row,) = asked(probe=aside.probe, due_at__gte=aside.at)
    assert (row.due_at, row.because, row.status) == (aside.at, "put aside and not checked since", Status.OVERDUE)


def test_the_manager_who_signs_in_has_a_bath_of_five_probes_two_to_decide_on_and_one_check_that_is_overdue(demo):
    site = first_site()
    due = to_do_today(site, probes_in_use(site), LATE_ON_NEW_YEARS_DAY)
    assert [each.probe.code for each in for_one_bath(due)] == ["AL-4"], "what is due on Monday is made on Monday"
    assert {each.probe.code for each in due if each.failed} == {"AL-2", "CO-1"}
    assert "AL-4" in [each.probe.code for each in due if each.overdue and each.probe]
    assert {each.probe.code for each in due if not each.overdue} == {"AL-1", "AL-3", "AL-5", "AL-6"}
    monday = to_do_today(site, probes_in_use(site), LATE_ON_NEW_YEARS_DAY + DAY / 3)
    assert len(for_one_bath(monday)) == 5
    assert Reading.objects.filter(probe__code="AL-3", taken_at__gt=F("probe__state__last_good_at")).exists()


def test_those_who_are_named_sign_in_with_the_password_that_is_said_and_nobody_else_does(demo):
    assert {person.email for person in Person.objects.all() if person.check_password(PASSWORD)} == {*SIGN_INS.values()}


def test_weeks_are_reviewed_but_for_those_that_wait(demo):
    signed = Review.objects.values_list("site", flat=True)
    assert len(signed) > 3 * len(demo.sites) and set(signed) == {site.pk for site in demo.sites.values()}


def test_the_pages_show_the_past(demo):
    client, site = as_manager(), first_site()
    friday = demo.today - 2 * DAY
    shown = client.get(reverse("reminder_list", args=[site.pk]), {"day": f"{friday:%Y-%m-%d}"})
    values = [tile["value"] for tile in shown.context["tiles"]]
    assert values[0] >= 3, "the rounds of a working day were done"
    assert "Check now" in client.get(reverse("today_site", args=[site.pk])).content.decode()
