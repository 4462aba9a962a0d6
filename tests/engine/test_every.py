"""When a task is due, told to the second, whatever the clock does."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from compliance.engine.every import Every

NOON = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    "ago, due, remaining",
    [(0, False, 60), (59, False, 1), (60, True, 60), (3600, True, 60), (-1, True, 60), (-3600, True, 60)],
)
def test_it_is_due_after_its_seconds_and_at_once_when_the_last_time_lies_ahead(ago, due, remaining):
    with time_machine.travel(NOON, tick=False):
        found = Every(60).is_due(NOON - timedelta(seconds=ago))
    assert (found.is_due, found.next) == (due, pytest.approx(remaining))


def test_across_an_hour_set_back_it_comes_once_more_and_then_as_before():
    with time_machine.travel(NOON, tick=False) as clock:
        every, last = Every(60), NOON
        clock.move_to(NOON - timedelta(hours=1))
        came = []
        for _ in range(180):
            clock.shift(1)
            if every.is_due(last).is_due:
                last = datetime.now(UTC)
                came.append((last - NOON + timedelta(hours=1)).seconds)
    assert came == [1, 61, 121]
