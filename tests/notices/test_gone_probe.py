"""That a probe is gone is told at once, as a failed check is: food was judged by it, and it can never be checked again."""

import pytest

from compliance.checks.actions import void_event
from compliance.notices import still_relevant, tasks
from compliance.notices.enqueue import enqueue_due_notices
from compliance.notices.models import Notice
from compliance.notices.recipients import BOTH, FREE, RULES, Kind, granted
from tests.checks import making
from tests.checks.making import day


@pytest.fixture
def gone(world, clock, mailing):
    """Good on day 0, gone on day 2; it is day 3."""
    clock.move_to(day(3))
    making.good(world.probe, world.cook, day(0))
    world.event = making.event(world.probe, world.cook, "gone", day(2), "shows Lo, with a new battery too")
    return world


def told_of(event):
    return Notice.objects.filter(kind="gone", facts=[event.pk])


def test_it_is_told_at_once_in_its_own_transaction_and_once(gone):
    told = told_of(gone.event)
    assert {notice.person for notice in told} == {gone.manager, gone.supervisor}
    assert {(notice.state, notice.not_before) for notice in told} == {("waiting", None)}
    assert told[0].subject == "Alder School: probe P1 is gone, hold the food that it judged"
    assert "it can never be checked again" in told[0].text and "Shows Lo, with a new battery too." in told[0].text
    enqueue_due_notices(day(3))
    assert told_of(gone.event).count() == 2


def test_it_cannot_be_refused(gone):
    assert {granted(rule, FREE) for (_, kind), rule in RULES.items() if kind == Kind.GONE} == {BOTH}


def test_struck_out_it_does_not_leave_any_more_and_corrected_to_it_is_told(gone):
    void_event(by=gone.supervisor, event=gone.event, reason="It was found.")
    assert {still_relevant.needless(notice, day(3)) for notice in told_of(gone.event)} == {still_relevant.STRUCK}
    other = making.event(gone.probe, gone.cook, "dropped", day(2.5))
    new = void_event(
        by=gone.supervisor, event=other, reason="Worse.", replacement_kind="gone", replacement_note="in pieces"
    ).replacement
    assert told_of(new).count() == 2 and not still_relevant.needless(told_of(new)[0], day(3))


def test_what_went_wrong_at_once_is_told_by_the_next_run(world, clock, mailing, monkeypatch):
    clock.move_to(day(3))
    with monkeypatch.context() as patched:
        patched.setattr(tasks, "enqueue", lambda *given: 1 / 0)
        event = making.event(world.probe, world.cook, "gone", day(2), "lost")
    assert not told_of(event)
    enqueue_due_notices(day(3))
    assert told_of(event).count() == 2
