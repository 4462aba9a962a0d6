"""The table of due times: what it holds is what the pure rules say, made again as often as one likes."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.plans import actions
from compliance.plans.models import Slot
from compliance.plans.queries import calendars
from compliance.plans.schedule import STARTING, due_on
from compliance.plans.slots import KEPT, expand
from tests.world import make_probe, make_site

TODAY = date(2026, 3, 11)
WEEK = [(time(8), time(15))] * 5 + [None, None]
pytestmark = pytest.mark.usefixtures("clock")


def rows(model=Slot):
    return sorted(model.objects.values_list("pk", "day", "due_at", "because"))


def days(**scope):
    return [slot.day for slot in Slot.objects.filter(named=True, **scope).order_by("day")]


def test_every_day_ahead_has_its_slot_by_the_pure_rules(world):
    actions.set_opening(by=world.manager, site=world.site, hours=WEEK)
    expand([world.site.pk], TODAY)
    calendar = calendars([world.site])[world.site.pk]
    for ahead in range(40):
        day = TODAY + timedelta(days=ahead)
        slot, due = Slot.objects.get(site=world.site, plan_key=0, day=day), due_on(STARTING, calendar, day)
        assert (slot.due_at, slot.because, slot.named) == (due.at, due.because, True)


def test_again_changes_nothing(world):
    expand([world.site.pk], TODAY)
    before = rows()
    with CaptureQueriesContext(connection) as captured:
        expand([world.site.pk], TODAY)
    assert rows() == before and len(before) == 40
    assert not [q for q in captured if q["sql"].startswith(("INSERT", "UPDATE"))]


def test_a_closure_moves_the_slots_in_its_own_transaction_and_striking_it_out_moves_them_back(world):
    expand([world.site.pk], TODAY)
    before = rows()
    first, last = TODAY + timedelta(days=2), TODAY + timedelta(days=4)
    closure = actions.close_days(by=world.manager, site=world.site, first_day=first, last_day=last, why="stock taking")
    slot = Slot.objects.get(day=first)
    assert slot.due_at == datetime(2026, 3, 16, 9, tzinfo=UTC) and "stock taking" in slot.because
    actions.void_closure(by=world.manager, closure=closure, reason="Not after all.")
    assert [row[1:] for row in rows() if row[1] >= TODAY] == [row[1:] for row in before][:-1]  # it begins a day before


def test_weekdays_are_marked_among_the_days(world):
    plan = actions.set_plan(by=world.manager, probe=world.probe, pattern="weekdays", weekdays=0b10001)
    assert {day.weekday() for day in days(plan_key=plan.pk)} == {0, 4}
    assert Slot.objects.filter(plan_key=plan.pk).count() > len(days(plan_key=plan.pk))


def test_a_long_interval_reaches_one_interval_ahead(world):
    plan = actions.set_plan(by=world.manager, probe=world.probe, every_days=90, reason="Hardly used.")
    assert max(days(plan_key=plan.pk)) > TODAY + timedelta(days=90)


def test_a_plan_to_come_has_its_slots_and_one_that_nobody_has_any_more_has_none(world):
    ahead = actions.set_plan(
        by=world.manager, probe=world.probe, every_days=2, effective_from=TODAY + timedelta(days=5)
    )
    assert set(Slot.objects.values_list("plan_key", flat=True)) == {0, ahead.pk}
    actions.set_plan(by=world.manager, probe=world.probe, every_days=3)
    expand([world.site.pk], TODAY + timedelta(days=5))
    kept = Slot.objects.filter(day__gte=TODAY + timedelta(days=5))
    assert set(kept.values_list("plan_key", flat=True)) == {ahead.pk}


def test_days_gone_by_stay_for_a_while(world):
    expand([world.site.pk], TODAY)
    expand([world.site.pk], TODAY + timedelta(days=KEPT))
    assert Slot.objects.filter(day=TODAY).exists()
    expand([world.site.pk], TODAY + timedelta(days=KEPT + 1))
    assert not Slot.objects.filter(day=TODAY).exists()


def test_sites_without_probes_and_closed_sites_have_none(world):
    world.site.closed = True
    world.site.save()
    expand([world.site.pk, world.other_site.pk], TODAY)
    assert not Slot.objects.exists()


def queries(sites, probes, world):
    chosen = []
    for number in range(sites):
        site = make_site(world.area, f"School {sites} {number}")
        for n in range(probes):
            make_probe(site, f"S{sites}N{number}P{n}", by=world.manager)
        chosen.append(site.pk)
    with CaptureQueriesContext(connection) as captured:
        expand(chosen, TODAY)
    return len([q for q in captured if q["sql"].startswith("SELECT")])


def test_queries_do_not_grow_with_sites_and_probes(world):
    assert queries(1, 1, world) == queries(4, 5, world)
