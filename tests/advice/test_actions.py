"""Advice changes nothing by itself; what a person accepts stays in the record, and an old page changes nothing."""

import pytest
from django.core.exceptions import ValidationError

from compliance.advice import actions
from compliance.advice.models import Acceptance
from compliance.checks.instruments import amend_probe
from compliance.checks.models import ProbeState
from shared.audit.models import Entry
from tests.checks import making


def accept(world, **changes):
    given = {
        "by": world.manager, "probe": world.probe, "days_before": 7, "days_advised": 3, "days_accepted": 3, "target": 95,
        "figures": {"checks": 12}, **changes,
    }  # fmt: skip
    return actions.accept(**given)


def refused(world, **changes) -> str:
    with pytest.raises(ValidationError) as caught:
        accept(world, **changes)
    world.probe.refresh_from_db()
    assert not Acceptance.objects.exists()
    assert world.probe.check_every_days == 7
    return " ".join(caught.value.messages)


def test_accepting_sets_the_days_and_says_who_and_on_which_figures(world):
    accepted = accept(world)
    world.probe.refresh_from_db()
    assert world.probe.check_every_days == 3
    stored = Acceptance.objects.get()
    assert (stored.days_before, stored.days_advised, stored.days_accepted) == (7, 3, 3)
    assert (stored.recorded_by, stored.target, stored.figures) == (world.manager, 95, {"checks": 12})
    assert accepted == stored


def test_the_next_check_falls_due_by_the_new_days(world, clock):
    check = making.good(world.probe, world.cook, making.day(1))
    accept(world)
    state = ProbeState.objects.get(probe=world.probe)
    assert (state.due_at - check.checked_at).days == 3


def test_both_the_acceptance_and_the_amendment_stand_in_the_trail(world):
    accept(world)
    entries = {entry.action: entry for entry in Entry.objects.filter(subject_id=world.probe.pk)}
    assert {"advice.accept", "probe.amend"} <= set(entries)
    assert entries["advice.accept"].data == {"before": 7, "advised": 3, "accepted": 3, "target": 95}
    assert entries["probe.amend"].data["changes"] == {"check_every_days": ["7", "3"]}


def test_longer_days_go_through_without_another_reason_where_they_are_the_advice(world):
    accept(world, days_advised=14, days_accepted=14)
    world.probe.refresh_from_db()
    assert world.probe.check_every_days == 14
    assert "95 of 100" in Entry.objects.get(action="probe.amend").reason


def test_other_days_than_advised_need_a_reason(world):
    assert "Say why" in refused(world, days_accepted=5)
    accept(world, days_accepted=5, why="  We cook on five days. ")
    assert Acceptance.objects.get().why == "We cook on five days."


def test_advice_from_before_somebody_set_the_days_is_refused(world):
    amend_probe(by=world.supervisor, probe=world.probe, changes={"check_every_days": 2})
    with pytest.raises(ValidationError, match="Somebody has set the checks to every 2 days meanwhile"):
        accept(world)
    world.probe.refresh_from_db()
    assert world.probe.check_every_days == 2
    assert not Acceptance.objects.exists()


@pytest.mark.parametrize("days", [0, -1, 367])
def test_days_that_nobody_can_keep_are_refused(world, days):
    assert "from 1 to 366" in refused(world, days_accepted=days, why="So be it.")


def test_days_that_change_nothing_are_refused(world):
    assert "already" in refused(world, days_accepted=7, why="Fine as it is.")


def test_a_refused_amendment_leaves_no_acceptance(world, monkeypatch):
    def refuse(**given):
        raise ValidationError("No.")

    monkeypatch.setattr(actions, "amend_probe", refuse)
    assert refused(world) == "No."
