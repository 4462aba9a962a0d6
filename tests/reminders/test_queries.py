"""What pages read of a site is that site's own, and ends at the very moments that it names."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from compliance.plans.calendar import DAY
from compliance.plans.models import Round
from compliance.reminders.models import Reminder
from compliance.reminders.queries import (
    Told,
    asked_for,
    asked_next,
    left_open,
    open_checks,
    open_of_days,
    open_rounds,
    rounds_to_come,
    rounds_to_take,
)
from compliance.reminders.status import Status
from tests.world import make_limit, make_probe, make_reading

NOW = datetime(2026, 3, 11, 12, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
pytestmark = pytest.mark.usefixtures("clock")


def at(hour: float) -> datetime:
    return NOW + timedelta(hours=hour)


def row(due: float, opens: float, closes: float, **about) -> Reminder:
    ends = {"opens_at": at(opens), "grace_at": at((due + closes) / 2), "closes_at": at(closes)}
    return Reminder.objects.create(due_at=at(due), because="x", **ends, **about)


@pytest.fixture
def asked(world):
    """Of a site: what a round asks for there, and what its probe is asked for."""

    def at_site(site):
        limit = make_limit(site, by=world.manager, code="asked")
        by = {"recorded_by": world.manager, "effective_from": NOW.date()}
        each = Round.objects.create(limit=limit, times=["12:00"], **by)
        probe = make_probe(site, f"Q{site.pk}", by=world.manager)
        return {"site": site, "limit": limit, "round": each}, {"site": site, "probe": probe}

    return at_site


def test_a_site_is_asked_for_its_own_and_for_nothing_of_the_site_beside_it(world, asked):
    rows = {}
    for site in (world.site, world.other_site):
        of_round, of_probe = asked(site)
        rows[site] = row(-1, -2, 1, **of_round), row(1, -1, 2, **of_round), row(-1, -2, 1, **of_probe)
    for site, (due, ahead, check) in rows.items():
        assert open_rounds(site, NOW) == [due] and rounds_to_come(site, NOW) == [ahead]
        assert rounds_to_take(site, NOW) == [due, ahead]
        assert open_checks([check.probe_id], NOW) == [check]
        assert set(asked_for(site, at(-9), at(9), NOW)) == {due, check}
        assert set(open_of_days([site], NOW.date(), NOW.date(), NOW)) == {due, check}
        assert list(left_open(site, NOW, NOW)) == [due]


def test_a_round_is_open_from_its_due_time_until_it_closes_and_comes_until_then(world, asked):
    of_round, _ = asked(world.site)
    due, over, ahead = row(0, -1, 1, **of_round), row(-2, -3, 0, **of_round), row(1 / 60, -1, 2, **of_round)
    opens_now, later = row(2, 0, 3, **of_round), row(49, -1, 50, **of_round)
    assert open_rounds(world.site, NOW) == [due]
    assert open_rounds(world.site, NOW - MINUTE) == [over]
    assert rounds_to_come(world.site, NOW) == [ahead, opens_now, later]
    assert rounds_to_come(world.site, NOW, due_at__lt=ahead.due_at) == []
    assert rounds_to_take(world.site, NOW) == [due, ahead], "not what opens just now, and no day but one ahead"
    make_reading(make_probe(world.site, "P9", by=world.manager), of_round["limit"], "3.0", NOW, by=world.cook)
    assert rounds_to_come(world.site, NOW) == [opens_now], "what was taken early comes no more"


def test_a_period_holds_its_first_moment_and_not_its_last(world, asked):
    of_round, _ = asked(world.site)
    first, inside, last = (row(due, due - 0.5, due + 0.5, **of_round) for due in (-4, -3, -2))
    assert set(asked_for(world.site, at(-4), at(-2), NOW)) == {first, inside}
    coming = row(1, 0, 2, **of_round)
    assert set(asked_for(world.site, at(-4), at(9), NOW)) == {first, inside, last}, "what is to come is not listed"
    assert coming not in asked_for(world.site, at(-4), at(9), NOW)


def test_what_is_left_open_or_comes_next_goes_by_the_moments_it_names(world, asked):
    _, of_probe = asked(world.site)
    probe, check, ahead = of_probe["probe"], row(-2, -3, 1, **of_probe), row(2, 1, 3, **of_probe)
    assert open_checks([probe.pk], at(-2)) == [check] and open_checks([probe.pk], at(1)) == []
    assert list(asked_next([probe.pk], NOW, at(2))) == []
    [found] = asked_next([probe.pk], NOW, at(2) + MINUTE).values()
    assert found.due_at == ahead.due_at
    assert list(asked_next([probe.pk], at(2), at(9))) == [], "what is due now does not come any more"


@pytest.mark.parametrize("too_late", [False, True])
def test_at_the_very_end_of_its_time_it_was_too_late(too_late):
    ends = {"grace_at": at(1), "closes_at": at(2)}
    before = timedelta() if too_late else MINUTE
    done = SimpleNamespace(checked_at=at(1) - before)
    excuse, cancelled = (
        SimpleNamespace(recorded_at=at(2) - before),
        SimpleNamespace(cancelled_at=at(1) - before, **ends),
    )
    asked = SimpleNamespace(cancelled_at=None, **ends)
    assert Told(asked, Status.CLEARED, done, None, None).done_late is too_late
    assert Told(asked, Status.EXCUSED, None, None, excuse).excused_late is too_late
    assert Told(asked, Status.CLEARED, done, None, excuse).excused_late is False, "it was done"
    assert Told(cancelled, Status.CANCELLED, None, None, None).not_owed is too_late
    assert Told(cancelled, Status.CLEARED, done, None, None).not_owed is False
    assert Told(asked, Status.MISSED, None, None, None).not_owed is False


def test_days_are_those_that_a_row_is_for_or_falls_due_on(world, asked):
    of_round, _ = asked(world.site)
    yesterday, today = NOW.date() - DAY, NOW.date()
    late = row(-11, -12, 9, day=yesterday, **of_round)
    assert open_of_days([world.site], yesterday, yesterday, NOW) == [late]
    assert open_of_days([world.site], today, today, NOW) == [late], "due at one in the morning"
    assert open_of_days([world.site], today + DAY, today + DAY, NOW) == []
    assert open_of_days([world.site], yesterday - DAY, yesterday - DAY, NOW) == []
    assert open_of_days([world.site], today, today, at(9)) == [], "it is over"
