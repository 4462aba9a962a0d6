"""Today and the page of a day say whether a probe may be used; what was taken with one that may not is not called done."""

import uuid
from datetime import time, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from compliance.checks.models import CheckDraft
from compliance.plans.calendar import instant
from compliance.plans.models import Round
from compliance.reminders.models import Reminder
from tests.checks.making import bad, event, good
from tests.readings.helpers import EARLIER, take
from tests.world import make_probe

pytestmark = pytest.mark.usefixtures("clock")


def probes_here(client, site) -> list[tuple]:
    page = client.get(reverse("today_site", args=[site.pk]))
    return [(item["title"], item["badge_value"], item["meta"]) for item in page.context["probes"]]


def test_each_probe_is_ok_to_use_to_be_checked_first_or_not_to_be_used(world, as_person):
    dropped, failed, fine = (make_probe(world.site, code, by=world.manager) for code in ("P2", "P3", "P4"))
    for probe in (dropped, failed, fine):
        good(probe, world.cook, EARLIER - timedelta(days=1))
    event(dropped, world.cook, "dropped", EARLIER)
    bad(failed, world.cook, EARLIER)
    client = as_person(world.reader)
    assert set(probes_here(client, world.site)) == {
        ("P1", "check_first", "Never checked"),
        ("P2", "check_first", "Dropped and not checked since"),
        ("P3", "do_not_use", "Failed at zero today 09:00"),
        ("P4", "ok", "Last good check: 10 Mar 2026"),
    }
    words = client.get(reverse("today_site", args=[world.site.pk])).content.decode()
    assert all(f"</svg>{word}" in words for word in ("OK to use", "Check first", "Do not use"))


def test_nothing_is_waiting_is_not_said_while_a_probe_is_not_to_be_used(world, as_person):
    good(world.probe, world.cook, timezone.now())
    client = as_person(world.manager)
    assert client.get(reverse("today_site", args=[world.site.pk])).context["nothing"]
    CheckDraft.objects.create(
        key=uuid.uuid4(), probe=world.probe, person=world.cook, started_at=EARLIER, outside_since=EARLIER
    )
    assert not client.get(reverse("today_site", args=[world.site.pk])).context["nothing"]


def asked_at_nine(world):
    day = EARLIER.date()
    wanted = Round.objects.create(limit=world.limit, effective_from=day, times=["09:00"], recorded_by=world.manager)
    due = instant(day, time(9), world.site.zone)
    return Reminder.objects.create(
        round=wanted,
        limit=world.limit,
        site=world.site,
        opens_at=due - timedelta(hours=1),
        due_at=due,
        grace_at=due + timedelta(hours=1),
        closes_at=due + timedelta(hours=10),
        because="at 09:00",
    )


@pytest.mark.parametrize(("unfit", "state", "tile"), [(False, "Done", "done"), (True, "Overdue", "taken")])
def test_a_round_read_with_a_probe_that_was_not_ok_is_not_shown_as_done(world, as_person, unfit, state, tile):
    asked_at_nine(world)
    good(world.probe, world.cook, EARLIER - timedelta(days=1))
    if unfit:
        bad(world.probe, world.cook, EARLIER - timedelta(hours=1))
    take(world, used_despite="No other probe at hand.")
    page = as_person(world.manager).get(reverse("reminder_list", args=[world.site.pk]))
    rows = page.content.decode().split("<tbody")[-1]
    assert f"</svg>{state}" in rows and (("tone-good" in rows) is not unfit)
    assert ("taken, with a probe not to be relied on" in rows) is unfit
    assert next(each for each in page.context["tiles"] if each["label"].startswith(tile))["value"] == 1
