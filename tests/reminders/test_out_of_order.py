"""What is entered late, in whatever order, leaves in the record what was asked for and not done, and nothing else."""

from datetime import UTC, date, datetime, timedelta

import pytest

from compliance.checks.actions import void_check, void_event
from compliance.checks.instruments import move_probe
from compliance.reminders import planning
from tests.checks import making
from tests.plans.making import check_every

from .making import ready, statuses, swept, told

pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC


def at(day: int, hour: int = 9, minute: int = 0, month: int = 3) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


@pytest.fixture
def daily(world, clock):
    """Checked on Tuesday the 10th at eight, every day at nine from then on."""
    clock.move_to(at(10, 8))
    making.good(world.probe, world.cook, at(10, 8))
    check_every(world.probe, 1, by=world.manager)
    return world.probe


@pytest.mark.parametrize("order", ["in order", "return first"])
def test_a_withdrawal_and_a_return_say_the_same_in_whatever_order_they_are_entered(daily, world, clock, order):
    clock.move_to(at(14, 12))
    swept()
    both = [("withdrawn", at(11, 8)), ("returned", at(14, 11))]
    for kind, when in both if order == "in order" else reversed(both):
        making.event(daily, world.manager, kind, when)
    swept()
    assert told() == [
        (at(11), "cancelled"),
        (at(12), "cancelled"),
        (at(13), "cancelled"),
        (at(14), "cancelled"),
        (at(14, 11), "due"),
    ]


def test_what_a_former_plan_asked_for_after_a_return_was_missed_though_the_return_is_entered_late(daily, world, clock):
    clock.move_to(at(15, 12))
    swept()
    check_every(daily, 3, by=world.manager)
    clock.move_to(at(16, 12))
    for kind, when in (("withdrawn", at(11, 8)), ("returned", at(12, 11))):
        making.event(daily, world.manager, kind, when)
    swept()
    assert told()[:2] == [(at(11), "cancelled"), (at(12), "cancelled")]
    assert [due for due, status in told() if status == "missed"] == [at(12, 11), at(13), at(14), at(15)], told()


def test_a_failed_check_at_zero_asks_for_nothing_of_the_days_before_it_while_one_at_boiling_waits(daily, world, clock):
    check_every(daily, 2, by=world.manager)
    clock.move_to(at(11, 12))
    making.boiling(daily, world.cook, at(11, 12), "92.0")
    for day in (12, 14, 16):
        clock.move_to(at(day, 12))
        swept()
    clock.move_to(at(16, 13))
    making.bad(daily, world.cook, at(16, 13))
    swept()
    assert {due.day for due, _ in told()} == {11, 12, 14, 16}, told()


def test_a_withdrawal_put_right_after_the_return_reaches_back_too(daily, world, clock):
    clock.move_to(at(13, 12))
    swept()
    event = making.event(daily, world.manager, "withdrawn", at(13, 12))
    clock.move_to(at(14, 12))
    making.event(daily, world.manager, "returned", at(14, 11))
    assert told()[0] == (at(11), "missed")
    void_event(by=world.supervisor, event=event, reason="It was the day before yesterday.", replacement_at=at(11, 8))
    assert told()[:3] == [(at(11), "cancelled"), (at(12), "cancelled"), (at(13), "cancelled")]


def test_a_move_entered_late_between_two_others_asks_for_nothing_where_the_probe_was_not(daily, world, clock):
    clock.move_to(at(13, 12))
    swept()
    move_probe(by=world.supervisor, probe=daily, site=world.other_site, starts_at=at(13, 12), reason="Lent.")
    assert told(site=world.site)[:2] == [(at(11), "missed"), (at(12), "missed")]
    move_probe(by=world.supervisor, probe=daily, site=world.far_site, starts_at=at(11, 8), reason="It was there first.")
    assert told(site=world.site) == [(at(11), "cancelled"), (at(12), "cancelled"), (at(13), "cancelled")]


@pytest.mark.parametrize("days", [0, 3])
def test_a_drop_that_was_another_probes_was_not_missed_whenever_it_is_struck_out(daily, world, clock, days):
    clock.move_to(at(10, 12))
    event = making.event(daily, world.cook, "dropped", at(10, 12))
    clock.move_to(at(10, 15) + timedelta(days=days))
    swept()
    void_event(by=world.supervisor, event=event, reason="It was P2 that fell.")
    assert statuses(due_at=at(10, 12)) == ["cancelled"]


def test_a_check_entered_late_leaves_nothing_missed_that_was_never_due(world, clock):
    """Weekly from the 1st: due on the 8th. It was checked on the 5th, so it was due on the 12th, the 19th and the 26th."""
    making.good(world.probe, world.cook, at(1, 8))
    ready(world.probe)
    clock.move_to(at(28, 12))
    planning.roll_over()
    swept()
    making.good(world.probe, world.cook, at(5, 8))
    swept()
    assert [due for due, status in told() if status in ("missed", "overdue")] == [at(12), at(19), at(26)], told()


def test_a_probe_that_comes_overdue_to_a_site_on_holiday_falls_due_when_that_opens(daily, world, clock):
    planning.add_closure(by=world.supervisor, site=world.other_site, first_day=date(2026, 3, 11), last_day=date(2026, 3, 20),
                         why="holidays")  # fmt: skip
    clock.move_to(at(13, 12))
    swept()
    move_probe(
        by=world.supervisor, probe=daily, site=world.other_site, starts_at=at(13, 12), reason="For the summer camp."
    )
    clock.move_to(at(15, 12))
    swept()
    assert "overdue" not in statuses(site=world.other_site) and "missed" not in statuses(site=world.other_site)


def test_a_check_struck_out_late_leaves_missed_what_was_due_without_it(world, clock):
    clock.move_to(at(1, 8))
    making.good(world.probe, world.cook, at(1, 8))
    clock.move_to(at(5, 8))
    other = making.good(world.probe, world.cook, at(5, 8))
    ready(world.probe)
    clock.move_to(at(28, 12))
    planning.roll_over()
    swept()
    assert [due for due, _ in told()] == [at(12), at(19), at(26)]
    void_check(by=world.manager, check=other, reason="Another probe.")
    swept()
    assert [due for due, status in told() if status in ("missed", "overdue")] == [at(8), at(15), at(22)], told()
    assert statuses(due_at__in=[at(12), at(19), at(26)]) == ["cancelled"] * 3


def test_a_check_entered_late_leaves_missed_what_was_due_by_another_plan(daily, world, clock):
    clock.move_to(at(13, 12))
    swept()
    check_every(daily, 7, by=world.manager)
    clock.move_to(at(13, 15))
    making.good(daily, world.cook, at(10, 12))
    swept()
    assert told() == [(at(11), "missed"), (at(12), "missed"), (at(13), "overdue")]


def test_what_was_missed_before_a_withdrawal_that_is_over_stays_missed(daily, world, clock):
    clock.move_to(at(16, 12))
    swept()
    making.event(daily, world.manager, "withdrawn", at(13, 8))
    making.event(daily, world.manager, "returned", at(14, 11))
    swept()
    assert told() == [
        (at(11), "missed"), (at(12), "cancelled"), (at(13), "cancelled"), (at(14), "cancelled"), (at(14, 11), "missed"),
        (at(15), "missed"), (at(16), "overdue"),
    ]  # fmt: skip
