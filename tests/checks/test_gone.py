"""A probe that died, was lost or thrown away can never be checked again: what it read since its last good check stays open."""

from datetime import timedelta
from io import StringIO

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.urls import reverse

from compliance.checks.fitness import Fitness, fitness_of
from compliance.checks.models import ProbeState
from compliance.notices.enqueue import enqueue_due_notices
from compliance.notices.models import Notice
from compliance.overview.queries import overdue_checks
from compliance.quarantine.assessing import tallies
from compliance.quarantine.cases import load_case
from compliance.quarantine.queries import reasons
from compliance.readings.queries import span_of
from tests.checks import making
from tests.checks.making import day
from tests.world import make_reading


@pytest.fixture
def gone(world, clock):
    """Good on day 0, used on day 1, gone on day 2; it is day 3."""
    clock.move_to(day(3))
    making.good(world.probe, world.cook, day(0))
    world.reading = make_reading(world.probe, world.limit, "3.0", day(1), by=world.cook)
    world.event = making.event(world.probe, world.cook, "gone", day(2), "shows Lo, with a new battery too")
    return world


def test_what_was_read_since_its_last_good_check_is_in_quarantine_and_cannot_be_told(gone):
    span = span_of(gone.reading)
    assert (span.standing, span.cause, span.ahead) == ("quarantined", "gone_unchecked", None)
    case = load_case(f"event:{gone.event.pk}")
    assert reasons(case)[0].startswith(
        "The probe is gone: it can never be checked again, so nothing proves what it measured"
    )
    assert [(each.outcome, each.readings) for each in tallies(case.spans, (gone.site.pk,))] == [("undecided", 1)]


def test_it_is_not_to_be_used_and_no_check_is_due(gone, clock):
    assert fitness_of([gone.probe.pk], day(3))[gone.probe.pk].state == Fitness.DO_NOT_USE
    assert ProbeState.objects.get(probe=gone.probe).due_at is None


def test_found_again_it_is_to_be_checked_before_it_is_used_and_what_was_in_doubt_stays_so(gone, clock):
    making.event(gone.probe, gone.cook, "returned", day(2.5))
    assert fitness_of([gone.probe.pk], day(3))[gone.probe.pk].state == Fitness.DO_NOT_USE
    assert ProbeState.objects.get(probe=gone.probe).due_at == day(2.5)
    making.good(gone.probe, gone.cook, day(2.75))
    assert fitness_of([gone.probe.pk], day(3))[gone.probe.pk].state == Fitness.OK
    assert span_of(gone.reading).standing == "quarantined"


def test_put_aside_it_can_still_prove_what_it_read(gone, clock):
    """The other answer to what became of it: its readings stay pending until somebody checks it."""
    making.good(gone.probe, gone.cook, day(2.1))
    reading = make_reading(gone.probe, gone.limit, "3.0", day(2.2), by=gone.cook)
    making.event(gone.probe, gone.cook, "withdrawn", day(2.3), "spare")
    assert span_of(reading).standing == "pending"


def test_put_aside_it_is_listed_as_overdue_until_somebody_checks_it_or_says_that_it_is_gone(world, clock, as_person):
    probe, client = world.probe, as_person(world.supervisor)
    clock.move_to(day(0))
    making.good(probe, world.cook, day(0))
    clock.move_to(day(1))
    given = {"kind": "withdrawn", "at": "2026-01-06T09:00", "note": "A spare one."}
    told = client.post(reverse("event_add", args=[probe.pk]), given, follow=True).content.decode()
    assert "waits for another one: check it, or record that it is gone" in told and "overdue since" not in told
    clock.move_to(day(3))
    enqueue_due_notices(day(3))
    for page in ("today_site", "area_overdue"):
        shown = client.get(
            reverse(page, args=[world.site.pk if page == "today_site" else world.area.pk])
        ).content.decode()
        assert "ut aside and not checked since" in shown
    assert "ut aside and not checked since" in Notice.objects.get(kind="overdue").text
    call_command("verify_due", stdout=StringIO())
    making.event(probe, world.cook, "gone", day(3), "lost")
    assert overdue_checks([world.site.pk], day(4)) == [] and ProbeState.objects.get(probe=probe).due_at is None
    call_command("verify_due", stdout=StringIO())


def test_it_says_why(world):
    with pytest.raises(ValidationError):
        making.event(world.probe, world.cook, "gone", making.START)


def test_a_display_that_shows_no_number_leads_from_the_check_to_the_form_and_on_to_what_is_in_doubt(
    world, clock, as_person
):
    client, probe = as_person(world.cook), world.probe
    making.good(probe, world.cook, clock_now := day(60))
    clock.move_to(clock_now + timedelta(days=1))
    client.post(reverse("zero_check_start", args=[probe.pk]), {"kind": "stirred_cubes"})
    client.post(reverse("zero_check_insert", args=[probe.pk]))
    form = f"{reverse('event_add', args=[probe.pk])}?kind=gone"
    assert form in client.get(reverse("zero_check", args=[probe.pk])).content.decode()
    shown = client.get(form).context["form"]
    assert shown["kind"].value() == "gone"
    sent = {"kind": "gone", "at": "2026-03-07T08:30", "note": "shows Err"}
    told = client.post(form, sent, follow=True).content.decode()
    assert "It can never be checked again" in told and "hold that food" in told
