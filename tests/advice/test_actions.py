"""Advice changes nothing by itself; what a person accepts stays in the record, and an old page changes nothing."""

from datetime import time

import pytest
from django.core.exceptions import ValidationError

from compliance.advice import actions
from compliance.advice.models import Acceptance
from compliance.checks.models import ProbeState
from compliance.plans.queries import plan_in_force
from shared.audit.models import Entry
from tests.checks import making
from tests.plans.making import check_every, days_of


def accept(world, **changes):
    given = {
        "days_before": 7,
        "days_advised": 3,
        "days_accepted": 3,
        "target": 95,
        "figures": {"checks": 12},
        **changes,
    }
    about = {name: given.pop(name) for name in ("probe", "why") if name in given}
    advised = actions.Advised(**given)
    return actions.accept(**{"by": world.manager, "probe": world.probe, "advised": advised, **about})


def refused(world, **changes) -> str:
    with pytest.raises(ValidationError) as caught:
        accept(world, **changes)
    world.probe.refresh_from_db()
    assert not Acceptance.objects.exists()
    assert days_of(world.probe) == 7
    return " ".join(caught.value.messages)


def test_accepting_sets_the_days_and_says_who_and_on_which_figures(world):
    accepted = accept(world)
    world.probe.refresh_from_db()
    assert days_of(world.probe) == 3
    stored = Acceptance.objects.get()
    assert (stored.days_before, stored.days_advised, stored.days_accepted) == (7, 3, 3)
    assert (stored.recorded_by, stored.target, stored.figures) == (world.manager, 95, {"checks": 12})
    assert accepted == stored


def test_the_next_check_falls_due_by_the_new_days(world, clock):
    clock.move_to(making.day(2))
    check = making.good(world.probe, world.cook, making.day(1))
    accept(world)
    state = ProbeState.objects.get(probe=world.probe)
    assert (state.due_at - check.checked_at).days == 3


def test_accepting_makes_no_overdue_check_go_away(world, clock):
    clock.move_to(making.day(9))
    making.good(world.probe, world.cook, making.day(0))
    accept(world, days_advised=30, days_accepted=30)
    assert ProbeState.objects.get(probe=world.probe).due_at == making.day(7)


def test_the_time_of_day_and_the_grace_stay_as_they_were(world):
    check_every(
        world.probe, 6, by=world.manager, at=time(6, 30), before_service=True, minutes_before=45, grace_minutes=15
    )
    accept(world, days_before=6)
    plan = plan_in_force(world.probe).plan
    assert (plan.every_days, plan.at, plan.minutes_before, plan.grace_minutes) == (3, time(6, 30), 45, 15)


def test_both_the_acceptance_and_the_amendment_stand_in_the_trail(world):
    accept(world)
    entries = {entry.action: entry for entry in Entry.objects.filter(subject_id=world.probe.pk)}
    assert {"advice.accept", "plan.set"} <= set(entries)
    assert entries["advice.accept"].data == {"before": 7, "advised": 3, "accepted": 3, "target": 95}
    told = entries["plan.set"].data
    assert (told["before"], told["after"]) == ("every 7 days at 09:00", "every 3 days at 09:00")


def test_longer_days_go_through_without_another_reason_where_they_are_the_advice(world):
    accept(world, days_advised=14, days_accepted=14)
    world.probe.refresh_from_db()
    assert days_of(world.probe) == 14
    assert "95 of 100" in Entry.objects.get(action="plan.set").reason


def test_other_days_than_advised_need_a_reason(world):
    assert "Say why" in refused(world, days_accepted=5)
    accept(world, days_accepted=5, why="  We cook on five days. ")
    assert Acceptance.objects.get().why == "We cook on five days."


def test_advice_from_before_somebody_set_the_days_is_refused(world):
    check_every(world.probe, 2, by=world.supervisor)
    with pytest.raises(ValidationError, match="Somebody has set the checks to every 2 days meanwhile"):
        accept(world)
    world.probe.refresh_from_db()
    assert days_of(world.probe) == 2
    assert not Acceptance.objects.exists()


@pytest.mark.parametrize("days", [0, -1, 367])
def test_days_that_nobody_can_keep_are_refused(world, days):
    assert "from 1 to 366" in refused(world, days_accepted=days, why="As agreed.")


def test_days_that_change_nothing_are_refused(world):
    assert "already" in refused(world, days_accepted=7, why="Fine as it is.")


def test_a_refused_amendment_leaves_no_acceptance(world, monkeypatch):
    def refuse(**given):
        raise ValidationError("No.")

    monkeypatch.setattr(actions, "change_plan", refuse)
    assert refused(world) == "No."
