"""Retiring a limit changes the readings ahead alone: what has fallen due stays, whenever that is entered."""

from datetime import UTC, datetime, time
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.plans.actions import set_round
from compliance.plans.data import RoundData
from compliance.reminders import planning
from compliance.reminders.models import Reminder

from .making import statuses, told

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


def ahead(now: datetime) -> list[datetime]:
    return list(Reminder.objects.filter(due_at__gt=now).values_list("due_at", flat=True))


def windows() -> list[tuple]:
    return list(Reminder.objects.values_list("pk", "due_at", "opens_at", "grace_at", "closes_at", "cancelled_at"))


@pytest.fixture
def asked(world, clock):
    """Asked for at two every day from today; on Friday at half past three nothing has been taken."""
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(14)]))
    clock.move_to(at(13, 15, 30))
    assert statuses() == ["missed", "missed", "overdue"]
    return world


@pytest.mark.parametrize("since", [at(12, 8), at(13, 15), at(13, 15, 30)])
def test_what_was_due_when_it_was_retired_stays_and_nothing_lies_ahead(asked, since):
    retire(asked, since)
    assert statuses() == ["missed", "missed", "overdue"]
    assert ahead(at(13, 15, 30)) == []


def test_what_is_due_before_the_day_from_which_it_is_retired_lies_ahead(asked):
    retire(asked, at(16))
    assert ahead(at(13, 15, 30)) == [at(14), at(15)]


def test_where_it_holds_again_what_was_due_in_between_is_not_asked_for(asked, clock):
    retire(asked, at(13, 15, 30))
    clock.move_to(at(16, 9))
    hold_again(asked, at(16, 9))
    assert told(due_at__gt=at(13)) == [] and ahead(at(16, 9))[:2] == [at(16), at(17)]


def test_retired_by_mistake_and_put_right_it_is_as_before(asked):
    before = windows()
    retire(asked, at(13, 15, 30))
    hold_again(asked, at(13, 15, 30))
    assert [row[1:] for row in windows()][: len(before)] == [row[1:] for row in before]


def test_another_figure_changes_no_row(asked):
    before = windows()
    planning.change_limit(
        by=asked.manager, limit=asked.limit, effective_from=at(13, 16), value=Decimal(4), reason="Stricter."
    )
    assert windows()[: len(before)] == before


def test_the_page_that_retires_it_takes_the_readings_ahead_away(asked, as_person):
    given = {"effective_from": "2026-03-13T15:30", "reason": "No cold food."}
    as_person(asked.manager).post(reverse("limit_retire", args=[asked.limit.pk]), given)
    assert not asked.limit.versions.order_by("-pk").first().in_force
    assert ahead(at(13, 15, 30)) == [] and statuses() == ["missed", "missed", "overdue"]


def test_the_queries_do_not_grow_with_history(asked, clock):
    def queries(since):
        with CaptureQueriesContext(connection) as captured:
            retire(asked, since)
        return len(captured)

    few = queries(at(13, 15, 40))
    hold_again(asked, at(13, 15, 40))
    clock.move_to(at(25))
    planning.extend_horizon(datetime.now(UTC))
    assert queries(at(25)) <= few
