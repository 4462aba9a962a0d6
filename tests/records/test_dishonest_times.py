"""The same of times, reasons and what is struck out: numbers 12 to 16 of test_dishonest_hand.py."""

from datetime import timedelta
from hashlib import sha256

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from compliance.plans.models import Closure
from compliance.probes.models import Event
from compliance.readings.actions import void
from compliance.readings.importing import import_file
from compliance.readings.models import Deviation, Reading
from compliance.records.sections import (
    annex,
    corrections,
    days,
    deviations,
    events,
    files,
    probes,
    readings,
    reasons,
    reminders,
    summary,
)
from compliance.reminders.models import Excuse, Reminder
from shared.audit.models import Entry
from tests.checks import making
from tests.readings.files import csv_file, row
from tests.records.hands import paper, send, text_of
from tests.records.making import at, take
from tests.remembered import remembered
from tests.reminders.making import ready

NOBODY = "tells nobody why"


def missed(world) -> dict:
    """Checked on 2 March, daily since; a reading that did not meet its limit on the 10th, and nothing done about it."""
    making.good(world.probe, world.cook, at(2, 8))
    ready(world.probe)
    reading = take(world, "7.4", at(10, 8))
    return {"reading": reading, "deviation": reading.deviation}


@pytest.fixture
def today(clock):
    clock.move_to(at(11, 12))
    return clock


@pytest.fixture
def kitchen(world, today):
    return remembered(missed, world)


def overdue() -> Reminder:
    return Reminder.objects.filter(probe__isnull=False, due_at__gt=at(3)).earliest("due_at")


@pytest.mark.usefixtures("kitchen")
def test_a_reason_that_says_nothing_is_refused_and_one_for_everything_is_counted(world, today, kitchen, as_person):
    """The rest of them are asked for it as actions: tests/test_reasons.py."""
    client, pk = as_person(world.supervisor), kitchen["reading"].pk
    asked = [
        ("reminder_excuse", overdue().pk, {"reason": "."}),
        ("reading_correct", pk, {"reason": "x", "typed": "4.4", "all_the_same": "on"}),
        ("limit_retire", world.limit.pk, {"reason": "x"}),
        ("probe_edit", world.probe.pk, {"reason": "xxxx", "tolerance_milli": "3"}),
    ]
    before = Entry.objects.count()
    assert [page for page, key, typed in asked if NOBODY not in send(client, page, key, **typed)] == []
    assert NOBODY in send(client, "closure_add", world.site.pk, having="why", why="x", last_day="2026-03-12")
    assert Entry.objects.count() == before
    taken = [take(world, "3.1", at(11, 11, minute)) for minute in range(11)]
    for reading in taken[1:]:
        void(by=world.manager, reading=reading, reason="busy")
    send(client, "reading_void", taken[0].pk, reason="Busy.")
    told = paper(world, reasons)
    assert "busy 11 reading struck out or corrected: 11" in told


def test_the_time_of_entry_stands_beside_what_was_entered_later_or_by_another(world, today, kitchen, as_person):
    client, page = as_person(world.manager), reverse("reading_add") + f"?site={world.site.pk}"
    typed = {
        "probe": world.probe.pk,
        "limit": f"{world.limit.pk}",
        "item": "Milk",
        "typed": "3.9",
        "all_the_same": "on",
    }
    by = {"taken_by": world.cook.pk, "taken_at": "2026-03-11T11:40"}
    for more in ({}, by):
        send(client, "reading_add", having="typed", query=page.partition("add/")[2], **typed | more)
    made = {"action": "Moved it", "cause": "Door stood open", "disposition": "moved", "done_at": "2026-03-10T08:10"}
    send(client, "deviation_detail", kitchen["deviation"].pk, having="action", **made)
    send(client, "event_add", world.probe.pk, having="at", kind="dropped", at="2026-03-11T11:30")
    making.good(world.probe, world.cook, at(11, 11, 40))
    told = paper(world, readings)
    assert (
        told.count("Milk") == 2
        and "Entered 11 Mar 2026 12:00 by MH." in told
        and told.count("Entered 11 Mar 2026") == 1
    )
    assert "Done 10 Mar 2026 08:10, decided by Mara Holt (MH): Moved it." in paper(world, deviations)
    assert "Entered 11 Mar 2026 12:00." in paper(world, deviations)
    assert "P1 Dropped — MH Entered 11 Mar 2026 12:00." in paper(world, events)
    assert "Entered 11 Mar 2026 12:00." in paper(world, probes)
    today.move_to(at(12, 9))
    shown = text_of(as_person(world.reader).get(reverse("review_sheet", args=[world.site.pk])))
    assert "11 Mar 11:40 · Col Esker · P1 · entered 11 Mar 12:00 by Mara Holt" in shown
    assert "11 Mar 12:00 · Mara Holt · P1" in shown and "11 Mar 12:00 · Mara Holt · P1 · entered" not in shown


ASKED = (
    "12 readings of 10 Mar 2026, 08:00 to 19:00, were entered by {} on 10 Mar 2026, 21:02 to 21:03: "
    "were they made at their times?"
)


def typed_at_once(world, clock) -> None:
    for hour in range(12):
        clock.move_to(at(10, 21, 2) + timedelta(seconds=8 * hour))
        take(world, "3.1", at(10, 8 + hour))


def noted(world) -> dict:
    """Eight lines of the sheet of paper notes."""
    line = {"what": f"limit-{world.limit.pk}", "item": "Ham", "typed": "3.3", "probe": world.probe.pk}
    lines = {f"line-{n}-{name}": value for n in range(8) for name, value in line.items()}
    return lines | {f"line-{n}-at": f"{8 + n}:00" for n in range(8)}


def test_readings_of_a_whole_day_typed_in_one_minute_are_asked_about_on_paper_and_in_the_review(
    world, clock, as_person
):
    clock.move_to(at(9, 7))
    making.good(world.probe, world.cook, at(9, 7))
    typed_at_once(world, clock)
    clock.move_to(at(11, 9))
    client, page = as_person(world.manager), reverse("review_sheet", args=[world.site.pk])
    content = csv_file(*(row(taken_at=at(9, 8 + hour).isoformat()) for hour in range(12)))
    import_file(by=world.manager, file_name="fridges.csv", content=content)
    head = {"day": "2026-03-09", "taken_by": world.cook.pk}
    send(client, "reading_paper", having="day", query=f"?site={world.site.pk}", **head, **noted(world))
    told = paper(world, summary, readings)
    assert ASKED.format("Col Esker (CE)") in told and told.count("Entered late 10 Mar 2026 21:0") == 12
    assert "Entered at one go though of different times: 1 time." in told
    assert told.count("Ham") == 8 == told.count("Note: From paper notes.")
    assert told.count("were they made at their times") == 1
    assert ASKED.format("Col Esker") in text_of(client.get(page))
    assert "were they made" not in text_of(client.get(page, {"first": "2026-03-09"}))


def test_struck_out_excuses_closures_and_events_stay_readable_with_who_and_when(world, today, kitchen, as_person):
    manager, supervisor = world.manager, world.supervisor
    due = overdue()
    send(as_person(manager), "reminder_excuse", due.pk, reason="The kitchen was closed")
    typed = {"first_day": "2026-03-11", "last_day": "2026-03-13", "why": "School holidays"}
    send(as_person(manager), "closure_add", world.site.pk, having="why", **typed)
    event = making.event(world.probe, world.cook, "dropped", at(11, 11, 50), note="From the shelf")
    today.shift(timedelta(minutes=30))
    send(as_person(manager), "reminder_excuse", due.pk, having="excuse", reason="The site was open after all")
    send(as_person(manager), "closure_void", Closure.objects.get().pk, reason="Worked after all")
    send(as_person(supervisor), "event_void", event.pk, reason="It was another probe")
    assert all(hasattr(each.objects.get(), "void") for each in (Excuse, Closure, Event))
    told = paper(world, corrections)
    assert (
        "9 Mar 2026 09:00, P1: “The kitchen was closed” (MH, 11 Mar 2026 12:00) nothing The site was open after all MH"
        in told
    )
    assert f"E{event.pk}: P1 dropped by somebody" in told or f"E{event.pk}: P1 dropped" in told
    closed = paper(world, days)
    assert "School holidays Alder School MH Entered 11 Mar 2026 12:00." in closed
    assert "Struck out by MH, 11 Mar 2026 12:30: Worked after all." in closed
    shown = paper(world, events)
    assert "From the shelf" in shown and "Struck out by SV, 11 Mar 2026 12:30: It was another probe." in shown
    left = paper(world, annex, reminders)
    assert "struck the excuse out" in left and "P1: every 7 days" in left and "excused by" not in left


def test_a_file_is_named_with_its_digest_and_the_lines_that_were_refused_in_trail_and_print(world, today, as_person):
    content = csv_file(row(taken_at="2026-03-10T08:00+00:00"), row(probe="P9"), row(item="ham", value="hot"))
    client = as_person(world.cook)
    sent = client.post(reverse("reading_import"), {"file": SimpleUploadedFile("fridges.csv", content)})
    client.post(sent.url)
    assert Reading.objects.count() == 1 and not Deviation.objects.exists()
    digest = sha256(content).hexdigest()
    told = paper(world, files).replace(" ", "")
    assert f"fridges.csv{digest}3102lines3,4CE" in told
    named = f"fridges.csv,SHA-256{digest}:3rows,2refused(lines3,4)"
    assert named in paper(world, annex).replace(" ", "")
    assert named in text_of(as_person(world.reader).get(reverse("record_trail"))).replace(" ", "")
