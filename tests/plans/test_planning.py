"""A change of plan or calendar and what is due: for all probes there, at once, and never lost."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.checks import horizon
from compliance.checks import planning as checks_planning
from compliance.checks.instruments import amend_probe, move_probe, register_probe
from compliance.checks.models import ProbeState
from compliance.checks.planning import mark_unsettled, settle
from compliance.plans.data import ClosureData, PlanData
from compliance.plans.models import Reminder
from compliance.probes.models import EventKind, Probe
from compliance.reminders import planning
from sites.models import Site
from tests.checks import making
from tests.plans.making import check_every
from tests.world import make_probe

TODAY = date(2026, 3, 11)
NOW = datetime(2026, 3, 11, 12, tzinfo=UTC)
WEEK = [(time(8), time(15))] * 5 + [None, None]
pytestmark = pytest.mark.usefixtures("clock")


@pytest.fixture
def checked(world):
    """Its last good check was yesterday, Tuesday, at noon."""
    making.good(world.probe, world.cook, NOW - timedelta(days=1))
    return world.probe


def state(probe):
    return ProbeState.objects.get(probe=probe)


def due(probe):
    return state(probe).due_at


def test_due_at_the_time_of_the_plan_on_the_local_day(checked):
    found = state(checked)
    assert found.due_at == datetime(2026, 3, 17, 9, tzinfo=UTC)
    assert (found.due_because, found.due_day) == ("every 7 days", date(2026, 3, 17))
    assert found.grace_at == datetime(2026, 3, 17, 11, tzinfo=UTC)


def test_across_the_change_of_clocks_it_is_nine_on_the_wall(world):
    making.good(world.probe, world.cook, NOW - timedelta(days=1))
    check_every(world.probe, 21, by=world.manager)
    assert due(world.probe) == datetime(2026, 3, 31, 8, tzinfo=UTC)


@pytest.mark.parametrize("scope", ["probe", "site", "business"])
def test_a_plan_of_any_scope_reaches_the_probe_at_once(world, checked, scope):
    owner = {"probe": checked, "site": world.site, "business": world.business}[scope]
    planning.change_plan(by=world.supervisor, data=PlanData(**{scope: owner}, every_days=3, at=time(6, 30)))
    found = state(checked)
    assert (found.due_at, found.due_because) == (datetime(2026, 3, 13, 6, 30, tzinfo=UTC), "every 3 days")


def test_by_weekdays_and_before_service(world, checked):
    planning.change_opening(by=world.manager, site=world.site, hours=WEEK)
    planning.change_plan(
        by=world.manager,
        data=PlanData(site=world.site, pattern="weekdays", weekdays=0b10100, before_service=True, minutes_before=30),
    )
    found = state(checked)
    assert found.due_at == datetime(2026, 3, 13, 7, 30, tzinfo=UTC), "Friday: it was set at noon of Wednesday"
    assert found.due_because == "on Wednesdays and Fridays"


def test_a_closure_moves_what_is_due_and_the_state_says_why(world, checked):
    closure = planning.add_closure(
        by=world.manager,
        data=ClosureData(site=world.site, first_day=date(2026, 3, 16), last_day=date(2026, 3, 20), why="half-term"),
    )
    found = state(checked)
    assert found.due_at == datetime(2026, 3, 21, 9, tzinfo=UTC)
    assert found.due_because == "every 7 days; moved from Tue 17 Mar (half-term)"
    planning.strike_closure(by=world.manager, closure=closure, reason="A week later.")
    assert due(checked) == datetime(2026, 3, 17, 9, tzinfo=UTC)


@pytest.mark.parametrize("scope", ["area", "business"])
def test_a_closure_of_an_area_or_a_business_does_too(world, checked, scope):
    owner = {scope: getattr(world, scope)}
    planning.add_closure(
        by=world.supervisor,
        data=ClosureData(first_day=date(2026, 3, 17), last_day=date(2026, 3, 17), why="outing", **owner),
    )
    assert due(checked) == datetime(2026, 3, 18, 9, tzinfo=UTC)


def test_no_change_of_plan_or_calendar_makes_an_overdue_check_go_away(world):
    making.good(world.probe, world.cook, NOW - timedelta(days=20))
    overdue = datetime(2026, 2, 26, 9, tzinfo=UTC)
    assert due(world.probe) == overdue
    check_every(world.probe, 100, by=world.manager)
    planning.add_closure(
        by=world.manager, data=ClosureData(site=world.site, first_day=TODAY, last_day=TODAY, why="outing")
    )
    planning.change_opening(by=world.manager, site=world.site, hours=[None, None, None, None, WEEK[0], None, None])
    assert due(world.probe) == overdue
    making.good(world.probe, world.cook, NOW)
    assert due(world.probe) > NOW + timedelta(days=90)


def test_what_asks_for_a_check_at_once_stays_whatever_the_plan(world, checked):
    dropped = NOW - timedelta(hours=2)
    making.event(checked, world.cook, EventKind.DROPPED, dropped)
    check_every(checked, 30, by=world.manager)
    found = state(checked)
    assert (found.due_at, found.due_because, found.due_day) == (dropped, "dropped and not checked since", None)


def test_a_pass_near_the_edge_is_followed_soon_under_any_plan(world):
    making.zero(world.probe, world.cook, NOW - timedelta(hours=1), "1.0")
    assert due(world.probe) == datetime(2026, 3, 12, 9, tzinfo=UTC)
    check_every(world.probe, 20, by=world.manager)
    found = state(world.probe)
    assert (found.due_at, found.due_because) == (
        datetime(2026, 3, 16, 9, tzinfo=UTC),
        "near the edge at its last check",
    )


def test_nothing_is_due_for_what_is_gone_or_where_the_site_is_closed_for_good(world, checked):
    planning.change_site(by=world.supervisor, site=world.site, changes={"closed": True})
    assert (due(checked), state(checked).due_because) == (None, "the site is closed for good")
    planning.change_site(by=world.supervisor, site=world.site, changes={"closed": False})
    making.event(checked, world.cook, EventKind.GONE, NOW, "lost")
    check_every(checked, 30, by=world.manager)
    assert (due(checked), state(checked).due_because) == (None, "withdrawn from use: lost")


def test_another_time_zone_and_public_holidays_move_what_is_due(world, checked):
    changes = {"time_zone": "Asia/Kathmandu"}
    planning.change_site(by=world.supervisor, site=world.site, changes=changes)
    assert due(checked) == datetime(2026, 3, 17, 3, 15, tzinfo=UTC)
    changes = {"time_zone": "Europe/Dublin", "country": "IE", "closed_on_holidays": True}
    planning.change_site(by=world.supervisor, site=world.site, changes=changes)
    assert due(checked) == datetime(2026, 3, 18, 9, tzinfo=UTC)
    assert "Patrick" in state(checked).due_because


def test_a_probe_that_moves_comes_under_the_plan_of_the_other_site(world, checked):
    planning.change_plan(by=world.supervisor, data=PlanData(site=world.other_site, every_days=2))
    move_probe(by=world.supervisor, probe=checked, site=world.other_site, starts_at=NOW, reason="Lent.")
    assert due(checked) == datetime(2026, 3, 12, 9, tzinfo=UTC)


def test_a_probe_of_another_kind_comes_under_the_plan_of_that_kind(world, checked):
    planning.change_plan(by=world.manager, data=PlanData(site=world.site, sensor="bimetal", every_days=1))
    assert due(checked) == datetime(2026, 3, 17, 9, tzinfo=UTC)
    amend_probe(by=world.manager, probe=checked, changes={"sensor": "bimetal"})
    assert due(checked) == datetime(2026, 3, 12, 9, tzinfo=UTC)


def test_what_was_asked_for_before_it_was_said_to_be_of_another_kind_stays(world, checked, clock):
    planning.change_plan(by=world.manager, data=PlanData(site=world.site, sensor="bimetal", every_days=1))
    clock.shift(timedelta(days=10))
    before = list(
        Reminder.objects.filter(due_at__lte=NOW + timedelta(days=10)).order_by("due_at").values("due_at", "because")
    )
    for kind, every in (("bimetal", "every day"), ("thermistor", "every 7 days")):
        checked.refresh_from_db()
        amend_probe(by=world.manager, probe=checked, changes={"sensor": kind})
        come = Reminder.objects.filter(due_at__lte=NOW + timedelta(days=10), cancelled_at=None).order_by("due_at")
        assert list(come.values("due_at", "because")) == before
        assert come.model.objects.filter(due_at__gt=NOW + timedelta(days=10)).earliest("due_at").because == every


def test_a_new_probe_is_due_at_once_and_has_its_rows_ahead(world):
    probe = register_probe(by=world.manager, site=world.site, code="N1", every_days=2, starts_at=NOW)
    assert state(probe).due_because == "never checked"
    ahead = list(Reminder.objects.filter(probe=probe, due_at__gt=NOW).values_list("day", flat=True))
    assert ahead == [TODAY + timedelta(days=2 * n) for n in range(1, 22)], "40 days, and the next"


def test_a_plan_that_begins_later_counts_when_its_day_has_come(world, checked, clock):
    planning.change_plan(
        by=world.manager, data=PlanData(probe=checked, every_days=2, effective_from=TODAY + timedelta(days=3))
    )
    assert due(checked) == datetime(2026, 3, 14, 9, tzinfo=UTC)
    clock.shift(timedelta(days=4))
    before = ProbeState.objects.values().get(probe=checked)
    planning.extend_horizon(datetime.now(UTC))
    assert ProbeState.objects.values().get(probe=checked) == before


def test_a_plan_that_is_set_in_the_afternoon_asks_for_nothing_of_the_morning(world, checked):
    check_every(checked, 1, by=world.manager, at=time(9))
    assert due(checked) == datetime(2026, 3, 12, 9, tzinfo=UTC)
    check_every(checked, 1, by=world.manager, at=time(15))
    assert due(checked) == datetime(2026, 3, 11, 15, tzinfo=UTC)


def test_a_plan_of_the_business_makes_nothing_due_before_it_was_set_wherever_a_site_is(world, clock):
    for site, zone in ((world.site, "Pacific/Auckland"), (world.other_site, "Pacific/Honolulu")):
        Site.objects.filter(pk=site.pk).update(time_zone=zone)
    world.probe.refresh_from_db()
    making.good(world.probe, world.cook, datetime(2026, 3, 9, 19, tzinfo=UTC))
    clock.move_to(datetime(2026, 3, 11, 21, tzinfo=UTC))  # ten in the morning of the 12th in Auckland
    planning.change_plan(by=world.supervisor, data=PlanData(business=world.business, every_days=1))
    assert due(world.probe) == datetime(2026, 3, 12, 20, tzinfo=UTC)


def test_the_nightly_task_lays_a_day_more_and_again_changes_nothing(world, checked, clock):
    check_every(checked, 1, by=world.manager)
    last = Reminder.objects.latest("due_at")
    clock.shift(timedelta(days=1))
    planning.extend_horizon(NOW + timedelta(days=1))
    assert Reminder.objects.latest("due_at").day == last.day + timedelta(days=1)
    before = list(ProbeState.objects.values()), list(Reminder.objects.order_by("pk").values())
    assert planning.extend_horizon(NOW + timedelta(days=1))
    assert (list(ProbeState.objects.values()), list(Reminder.objects.order_by("pk").values())) == before


FRIDAYS = {"pattern": "weekdays", "weekdays": 0b10000}


@pytest.mark.parametrize(
    "given",
    [
        {"grace_minutes": 36 * 60},
        {"effective_from": NOW.date() + timedelta(days=50), **FRIDAYS},  # the next day by either plan is a Friday
    ],
    ids=["a grace that lasts beyond the next", "another plan begins beyond what is laid ahead"],
)
def test_what_is_not_simply_gone_on_with_is_folded_by_the_nightly_task(world, checked, clock, given):
    check_every(checked, 1, by=world.manager)
    check_every(checked, by=world.manager, reason="Later.", **{"days": 1, **given})
    for day in (1, 2, 9):
        clock.move_to(NOW + timedelta(days=day))
        assert planning.extend_horizon(NOW + timedelta(days=day))
        call_command("verify_due", verbosity=0)


def test_one_whose_rows_cannot_be_laid_holds_up_no_other(world, checked, clock, monkeypatch):
    other = make_probe(world.site, "P2", by=world.manager)
    making.good(other, world.cook, NOW - timedelta(days=1))
    monkeypatch.setattr(horizon, "PROBES", 1)
    ordinary = horizon._extend_some
    monkeypatch.setattr(horizon, "_extend_some", lambda ids, now: 1 / 0 if ids == [checked.pk] else ordinary(ids, now))
    clock.shift(timedelta(days=30))
    assert not planning.extend_horizon(NOW + timedelta(days=30))
    latest = {row.probe_id: row.due_at for row in Reminder.objects.order_by("due_at")}
    assert latest[other.pk] > latest[checked.pk]


def test_a_plan_of_many_sites_is_kept_at_once_and_worked_out_site_by_site(world, checked, as_person, monkeypatch):
    monkeypatch.setattr(planning, "FEW", 0)
    planning.change_plan(by=world.supervisor, data=PlanData(business=world.business, every_days=3, reason="Agreed."))
    assert due(checked) == datetime(2026, 3, 17, 9, tzinfo=UTC), "what was there stays until its turn"
    address = reverse("today_site", args=[world.site.pk])
    assert "Being worked out" in as_person(world.manager).get(address).content.decode()
    assert planning.settle_all()
    assert due(checked) == datetime(2026, 3, 13, 9, tzinfo=UTC)
    assert "Being worked out" not in as_person(world.manager).get(address).content.decode()
    rows = list(Reminder.objects.order_by("pk").values())
    mark_unsettled([world.site.pk])
    assert planning.settle_all() and list(Reminder.objects.order_by("pk").values()) == rows, "again it ends the same"


def queries(world, count):
    for n in range(count):
        probe = make_probe(world.site, f"C{count}N{n}", by=world.cook)
        making.good(probe, world.cook, NOW - timedelta(days=20 if n == 0 else 1))
        check_every(probe, n + 2, by=world.manager)
    settle(world.site.pk)  # of the stock probe, too
    with CaptureQueriesContext(connection) as captured:
        settle(world.site.pk)
    return len(captured)


def test_queries_do_not_grow_with_the_probes_of_a_site(world, monkeypatch):
    monkeypatch.setattr(checks_planning, "PROBES", 100)
    assert queries(world, 2) == queries(world, 9)
    assert Probe.objects.filter(site=world.site).count() == 12
