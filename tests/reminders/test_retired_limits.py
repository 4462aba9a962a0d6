"""No reading is missed under a limit that did not hold when it was due, whenever that is entered."""

from datetime import UTC, date, datetime, time
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.plans.actions import set_round
from compliance.readings import actions as readings
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from tests.world import make_reading

from .making import statuses, swept, told

pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC


def at(day: int, hour: int = 14, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


@pytest.fixture(autouse=True)
def old_book(monkeypatch):
    """In books from the time before that was refused, limits are retired for days that are over."""
    monkeypatch.setattr("compliance.limits.actions.begins_now", lambda at: True)


def retire(world, since: datetime):
    return planning.retire_limit(by=world.manager, limit=world.limit, effective_from=since, reason="No cold food.")


def hold_again(world, since: datetime):
    return planning.change_limit(by=world.manager, limit=world.limit, effective_from=since, reason="Cold food again.")


@pytest.fixture
def asked(world, clock):
    """Asked for at two every day from today; on Friday at half past three nothing has been taken."""
    set_round(by=world.manager, limit=world.limit, times=[time(14)])
    clock.move_to(at(13, 15, 30))
    swept()
    assert statuses() == ["missed", "missed", "overdue"]
    return world


@pytest.mark.parametrize(
    ("since", "left"),
    [
        (at(12, 8), ["missed", "cancelled", "cancelled"]),
        (at(12), ["missed", "cancelled", "cancelled"]),
        (at(12, 14, 1), ["missed", "missed", "cancelled"]),
        (at(13, 15), ["missed", "missed", "cancelled"]),
        (at(14), ["missed", "missed", "overdue"]),
    ],
)
def test_what_was_due_since_it_was_retired_was_not_asked_for(asked, since, left):
    retire(asked, since)
    assert statuses() == left


def test_the_record_says_since_when(asked):
    retire(asked, at(12, 8))
    assert set(Reminder.objects.filter(due_at__gte=at(12)).values_list("cancelled_at", "cancelled_because")) == {
        (at(12, 8), "the site no longer works under this limit")
    }


def test_what_was_taken_stays_done_until_it_is_struck_out(asked):
    reading = make_reading(asked.probe, asked.limit, "3.0", at(12, 14, 5), by=asked.cook)
    retire(asked, at(12, 8))
    assert statuses() == ["missed", "cleared", "cancelled"]
    readings.void(by=asked.manager, reading=reading, reason="Another fridge.")
    assert statuses() == ["missed", "cancelled", "cancelled"]


def test_from_when_it_holds_again_it_was_missed(asked):
    hold_again_since = at(13, 8)
    retire(asked, hold_again_since)
    hold_again(asked, hold_again_since)
    assert statuses() == ["missed", "missed", "overdue"], "it was retired by mistake"
    retire(asked, at(12, 8))
    assert statuses() == ["missed", "cancelled", "overdue"]
    planning.extend_horizon(datetime.now(UTC))
    assert statuses() == ["missed", "cancelled", "overdue"]


def test_what_is_lifted_while_it_is_open_stays_so_when_the_due_times_are_made_again(asked):
    retire(asked, at(13, 13))
    hold_again(asked, at(13, 15))
    planning.extend_horizon(datetime.now(UTC))
    assert statuses() == ["missed", "missed", "cancelled"]


def test_what_was_over_before_it_was_retired_again_was_missed_after_all(asked):
    retire(asked, at(11, 13))
    assert statuses() == ["cancelled"] * 3
    hold_again(asked, at(11, 13))
    retire(asked, at(13, 8))
    assert statuses() == ["missed", "missed", "cancelled"]


def test_what_was_due_while_it_held_again_was_missed_whenever_it_had_been_retired_before(asked):
    retire(asked, at(12, 8))
    hold_again(asked, at(12, 8))
    retire(asked, at(11, 13))
    assert statuses() == ["cancelled", "missed", "overdue"]
    hold_again(asked, at(11, 13))
    assert statuses() == ["missed", "missed", "overdue"]


def test_what_was_open_when_it_was_retired_is_not_missed_by_an_earlier_change(asked, clock):
    retire(asked, at(13, 15, 30))
    clock.move_to(at(15))
    planning.change_limit(
        by=asked.manager, limit=asked.limit, effective_from=at(12), value=Decimal(4), reason="Stricter."
    )
    assert statuses() == ["missed", "missed", "cancelled"]


def test_what_is_retired_for_good_stays_so_where_it_held_before(asked):
    retire(asked, at(12, 8))
    planning.change_limit(
        by=asked.manager, limit=asked.limit, effective_from=at(11), value=Decimal(4), reason="Stricter."
    )
    assert statuses() == ["missed", "cancelled", "cancelled"]


def test_what_was_lifted_for_another_reason_keeps_it(asked):
    today = date(2026, 3, 13)
    planning.add_closure(by=asked.manager, site=asked.site, first_day=today, last_day=today, why="power cut")
    retire(asked, at(12, 8))
    assert Reminder.objects.get(due_at=at(13)).cancelled_because == "power cut"


def test_another_figure_lifts_nothing(asked):
    planning.change_limit(
        by=asked.manager, limit=asked.limit, effective_from=at(12, 8), value=Decimal(4), reason="Stricter."
    )
    assert statuses() == ["missed", "missed", "overdue"]


def test_the_queries_do_not_grow_with_what_was_missed(asked, clock):
    def queries(since):
        with CaptureQueriesContext(connection) as captured:
            retire(asked, since)
        return len(captured)

    few = queries(at(13, 15))
    hold_again(asked, at(13, 15))
    clock.move_to(at(25))
    planning.extend_horizon(datetime.now(UTC))
    swept()
    assert queries(at(14, 8)) <= few and told(due_at__gt=at(14))[0][1] == "cancelled"
