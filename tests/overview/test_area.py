"""The page of an area: every site, those that need somebody first."""

import re
from datetime import UTC, date, datetime, time, timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.overview.queries import attention, probes_in_use
from compliance.overview.todo import to_do_today
from compliance.plans.data import ClosureData, PlanData
from compliance.quarantine.cases import load_case
from compliance.quarantine.models import Fate
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.planning import add_closure, change_plan
from sites.models import Role, Site
from tests.checks.making import bad, good
from tests.quarantine import making
from tests.quarantine.making import undecided
from tests.reminders.making import come
from tests.world import make_limit, make_probe, make_reading, make_site

NOON = datetime(2026, 3, 11, 12, tzinfo=UTC)


def days_ago(number):
    return timezone.now() - timedelta(days=number)


def failed_probe(world, site, code):
    """A probe with one reading in quarantine; gives the anchor of its case."""
    probe = make_probe(site, code, by=world.manager)
    good(probe, world.cook, days_ago(9))
    limit = make_limit(site, by=world.manager, code=f"cold-{code}".lower())
    make_reading(probe, limit, "4.0", days_ago(5), by=world.cook)
    return f"check:{bad(probe, world.cook, days_ago(1)).pk}"


def page(client, area):
    return client.get(reverse("area_detail", args=[area.pk])).content.decode()


def test_a_supervisor_of_one_area_comes_straight_to_it(as_person, supervisor, area):
    assert as_person(supervisor).get(reverse("area_list")).url == reverse("area_detail", args=[area.pk])


def test_the_list_of_areas_counts_the_sites_that_their_pages_call_for(as_person, world):
    failed_probe(world, world.other_site, "F1")
    make_site(world.far_area, "Closed School", closed=True)
    world.supervisor.memberships.create(area=world.far_area, role=Role.SUPERVISOR)
    told = " ".join(as_person(world.supervisor).get(reverse("area_list")).content.decode().split())
    sites = list(Site.objects.filter(closed=False))
    calls = sum(not line.weight[0] for line in attention(sites, timezone.now()) if line.site.area == world.area)
    assert calls == 2 and "2 sites, 2 need attention" in told and "1 site, nothing is waiting" in told


def test_whoever_supervises_nothing_is_led_to_the_own_day(as_person, manager):
    assert as_person(manager).get(reverse("area_list")).url == reverse("today")


def test_the_site_with_readings_in_doubt_comes_first(world):
    failed_probe(world, world.other_site, "F1")
    lines = attention(Site.objects.filter(area=world.area), timezone.now())
    assert [(line.site.name, line.out_of_tolerance, line.in_doubt) for line in lines][0] == ("Birch House", 1, 1)


def test_a_failed_probe_leads_to_its_case(as_person, world):
    anchor = failed_probe(world, world.site, "F1")
    assert reverse("case_detail", args=[anchor.replace(":", "-")]) in page(as_person(world.supervisor), world.area)


def test_a_case_that_is_all_decided_waits_for_the_signature(as_person, world):
    case = load_case(failed_probe(world, world.site, "F1"))
    client = as_person(world.supervisor)
    assert "Waiting for a signature" not in page(client, world.area)
    making.decide(by=world.manager, case=case, selection=undecided(case), fate=Fate.DISCARDED, why="Thrown away.")
    assert "Waiting for a signature" in page(client, world.area)


def test_a_phone_leaves_out_what_a_site_does_not_ask_for(as_person, world):
    failed_probe(world, world.site, "F1")
    shown = page(as_person(world.supervisor), world.area)
    cells = re.findall(r'data-label="Probes out of tolerance" class="([^"]*)">([^<]*)<', shown)
    assert sorted(cells) == [("number", "1"), ("number spare", "–")]


def test_a_closed_site_asks_for_nothing(as_person, world):
    failed_probe(world, world.other_site, "F1")
    Site.objects.filter(pk=world.other_site.pk).update(closed=True)
    assert "Birch House" not in page(as_person(world.supervisor), world.area)


def test_a_site_manager_has_no_area_page(as_person, manager, area):
    assert as_person(manager).get(reverse("area_detail", args=[area.pk])).status_code == 404


def test_a_stranger_finds_nothing(as_person, stranger, area):
    assert as_person(stranger).get(reverse("area_detail", args=[area.pk])).status_code == 404


def test_the_number_of_queries_does_not_grow_with_sites_and_cases(as_person, world):
    client = as_person(world.supervisor)
    failed_probe(world, world.site, "F0")
    page(client, world.area)
    with CaptureQueriesContext(connection) as few:
        page(client, world.area)
    for number in range(3):
        failed_probe(world, make_site(world.area, f"Site {number}"), f"G{number}")
    with CaptureQueriesContext(connection) as many:
        page(client, world.area)
    assert len(many) == len(few)


def test_a_probe_never_checked_is_overdue_here_as_it_is_on_the_day_of_its_site(world):
    make_probe(world.other_site, "N1", by=world.manager)
    (line,) = [line for line in attention([world.other_site], timezone.now())]
    assert line.overdue == line.probes


def test_checks_are_overdue_here_as_they_are_on_the_day_of_their_site(world, clock):
    """Not within their grace, nor where somebody said why they need not be made."""
    clock.move_to(NOON)
    good(world.probe, world.cook, NOON)
    change_plan(by=world.manager, data=PlanData(probe=world.probe, every_days=1, at=time(12), grace_minutes=60))
    due = NOON + timedelta(days=1)
    assert [overdue(world, due + timedelta(minutes=after)) for after in (0, 59, 60)] == [0, 0, 1]
    clock.move_to(due + timedelta(minutes=70))
    excuse_reminder(by=world.manager, reminder=come().get(), reason="Out for repair")
    assert overdue(world, due + timedelta(minutes=80)) == 0


def test_nothing_is_overdue_where_nothing_falls_due_for_long(as_person, world, clock):
    clock.move_to(NOON)
    good(world.probe, world.cook, NOON)
    for year in (2026, 2027):
        days = {"first_day": date(year, 3, 12), "last_day": date(year + 1, 3, 12)}
        add_closure(by=world.manager, data=ClosureData(site=world.site, why="rebuilding", **days))
    later = NOON + timedelta(days=9)
    assert overdue(world, later) == 0
    assert to_do_today(world.site, probes_in_use(world.site), later) == []


def overdue(world, now) -> int:
    (line,) = attention([world.site], now)
    return line.overdue


def test_one_of_a_kind_is_said_in_the_singular(as_person, world):
    failed_probe(world, world.site, "F1")
    text = page(as_person(world.supervisor), world.area)
    assert "probe out of tolerance<" in text
    assert "reading to decide on<" in text


def test_a_count_leads_to_what_it_counts_only_where_there_is_something(as_person, world):
    client = as_person(world.supervisor)
    link = f'tile-label stretched" href="{reverse("case_list")}?'
    assert link not in page(client, world.area)
    failed_probe(world, world.site, "F1")
    assert link in page(client, world.area)
