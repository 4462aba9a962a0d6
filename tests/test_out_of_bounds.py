"""What lies out of bounds is refused in one sentence; and what was stored before there were bounds does no harm."""

import uuid
from datetime import UTC, date, datetime

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from compliance.checks import drafts
from compliance.checks.instruments import move_probe, register_probe
from compliance.checks.kinds.zero import ICE
from compliance.checks.models import Check, Stage
from compliance.limits.actions import change, retire
from compliance.notices.actions import open_feed
from compliance.notices.delivery import letter
from compliance.notices.models import Notice
from compliance.plans import actions as plans
from compliance.plans.data import ClosureData, PlanData, RoundData
from compliance.plans.models import CheckPlan, Closure, Opening, Round
from compliance.probes.models import Event, Placement
from compliance.readings import actions as readings
from compliance.readings.data import ReadingData
from compliance.readings.importing import import_file
from compliance.readings.models import Deviation
from compliance.reminders.planning import extend_horizon
from sites.actions import add_area, add_site, rename_person
from sites.models import Site
from tests.checks import making
from tests.readings.files import csv_file, row
from tests.world import make_probe, make_reading, make_version

YEAR_ONE = datetime(1, 1, 1, 4, tzinfo=UTC)
LONG_AGO, FAR_AHEAD = "Look at the year, and give a later day", "Look at the year, and give an earlier day"
LINE = "Write it on one line"


def take(world, **changes):
    fields = {
        "key": uuid.uuid4(),
        "probe": world.probe,
        "site": world.site,
        "limit": world.limit,
        "item": "Soup",
        "typed": "4.0",
        "unit": "C",
        "taken_at": datetime(2026, 3, 1, tzinfo=UTC),
        **changes,
    }
    return readings.record(by=world.cook, data=ReadingData(**fields))


PAST = {
    "a check": lambda w, at: making.good(w.probe, w.cook, at),
    "an event": lambda w, at: making.event(w.probe, w.cook, "dropped", at),
    "a reading": lambda w, at: take(w, taken_at=at),
    "a probe": lambda w, at: register_probe(by=w.manager, site=w.site, code="P9", sensor="unknown", starts_at=at),
    "a move": lambda w, at: move_probe(by=w.manager, probe=w.probe, site=w.other_site, starts_at=at, reason="lent"),
}
HOLDS = {
    "a limit": lambda w, at: change(by=w.manager, limit=w.limit, effective_from=at, hold_s=60, reason="the plan"),
    "a retiring": lambda w, at: retire(by=w.manager, limit=w.limit, effective_from=at, reason="the plan"),
    "a plan": lambda w, at: plans.set_plan(
        by=w.manager, data=PlanData(site=w.site, every_days=2, effective_from=at.date(), reason="tried")
    ),
    "opening days": lambda w, at: plans.set_opening(
        by=w.manager, site=w.site, hours=[(at.time(), datetime.max.time())] * 7, effective_from=at.date()
    ),
    "rounds": lambda w, at: plans.set_round(
        by=w.manager, limit=w.limit, data=RoundData(times=[at.time()], effective_from=at.date())
    ),
    "a closure": lambda w, at: plans.close_days(
        by=w.manager, data=ClosureData(site=w.site, first_day=at.date(), last_day=at.date(), why="tried")
    ),
}


@pytest.mark.parametrize("what", [*PAST, *HOLDS])
def test_no_action_stores_a_day_before_1990(what, world):
    with pytest.raises(ValidationError, match=LONG_AGO):
        (PAST | HOLDS)[what](world, datetime(1989, 12, 31, 12, tzinfo=UTC))


@pytest.mark.parametrize("what", HOLDS)
def test_no_action_stores_a_day_after_2100(what, world):
    with pytest.raises(ValidationError, match=FAR_AHEAD):
        HOLDS[what](world, datetime(9999, 12, 31, 12, tzinfo=UTC))


@pytest.mark.parametrize("zone", ["Europe/London", "America/New_York", "Asia/Tokyo"])
def test_a_form_says_what_is_wrong_with_the_year_1_and_keeps_what_was_typed(zone, world, as_person):
    Site.objects.filter(pk=world.site.pk).update(time_zone=zone)
    typed = {"kind": "dropped", "at": "0001-01-01T12:00", "note": "on the tiles"}
    answer = as_person(world.cook).post(reverse("event_add", args=[world.probe.pk]), typed)
    assert LONG_AGO in answer.content.decode() and "on the tiles" in answer.content.decode()
    assert not Event.objects.exists()


def events_of_the_year_1(world) -> dict[str, object]:
    """What was taken before there were bounds stays, and is to be struck out on its own page: what each page of it is about."""
    probe = make_probe(world.site, "OLD", by=world.manager, starts_at=YEAR_ONE)
    event = Event.objects.create(probe=probe, kind="dropped", at=YEAR_ONE, recorded_by=world.cook)
    check = making.good(probe, world.cook, datetime(2026, 3, 1, tzinfo=UTC))
    fields = {
        f.attname: getattr(check, f.attname) for f in Check._meta.concrete_fields if f.attname not in ("id", "key")
    }
    old = Check.objects.create(**fields | {"key": uuid.uuid4(), "checked_at": YEAR_ONE})
    reading = make_reading(probe, world.limit, "9.0", YEAR_ONE, by=world.cook)
    deviation = Deviation.objects.create(reading=reading, why="4 °C above the limit", recorded_by=world.cook)
    Placement.objects.create(probe=world.probe, site=world.site, starts_at=YEAR_ONE, recorded_by=world.manager)
    return {
        "zero_check": probe,
        "check_detail": old,
        "check_correct": old,
        "check_void": old,
        "check_print": old,
        "event_void": event,
        "reading_detail": reading,
        "reading_correct": reading,
        "deviation_detail": deviation,
    }


def holding_from(world, on: date) -> dict[str, object]:
    """What is set for the site from a day on: what each page of it is about."""
    by, at = {"recorded_by": world.manager}, datetime(on.year, on.month, on.day, 12, tzinfo=UTC)
    make_version(world.limit, by=world.manager, effective_from=at)
    CheckPlan.objects.create(site=world.site, every_days=3, effective_from=on, **by)
    CheckPlan.objects.create(probe=world.probe, pattern="weekdays", weekdays=5, effective_from=on, **by)
    Opening.objects.create(site=world.site, hours=[["08:00", "02:00"]] * 7, effective_from=on, **by)
    Round.objects.create(limit=world.limit, times=["08:00"], effective_from=on, **by)
    Closure.objects.create(site=world.site, first_day=on, last_day=on, why="for good", **by)
    of_the_site = (
        "limit_list",
        "plan_site",
        "opening_change",
        "closure_add",
        "plan_list",
        "today_site",
        "reminder_list",
    )
    of_the_limit = ("limit_detail", "limit_change", "round_change")
    return (
        dict.fromkeys(of_the_site, world.site) | dict.fromkeys(of_the_limit, world.limit) | {"plan_probe": world.probe}
    )


# The first day begins before the calendar of UTC does, and the last ends after it.
@pytest.mark.parametrize(("on", "zone"), [(date(1, 1, 1), "Asia/Tokyo"), (date(9999, 12, 31), "America/Los_Angeles")])
def test_what_is_stored_of_the_edge_of_the_calendar_keeps_no_page_from_opening(on, zone, world, as_person):
    """Facts are never changed. What holds from the first day on or from the last, and then what happened in the year 1."""
    Site.objects.filter(pk=world.site.pk).update(time_zone=zone)
    client, pages = as_person(world.supervisor), holding_from(world, on)
    making.good(world.probe, world.cook, datetime(2026, 3, 1, tzinfo=UTC))
    extend_horizon(datetime.now(UTC))
    period = {"site": world.site.pk, "from": "2026-02-20", "to": "2026-03-05"}
    feed = reverse("feed", args=[open_feed(by=world.manager, site=world.site, label="x")[1]])
    assert client.get(reverse("record_print"), period).status_code == client.get(feed).status_code == 200
    pages |= events_of_the_year_1(world)
    of_probes = [
        reverse(name, args=[probe.pk])
        for name in ("probe_detail", "probe_outlook")
        for probe in (world.probe, pages["zero_check"])
    ]
    lists = map(reverse, ("probe_list", "outlook_list", "reading_list", "deviation_list", "case_list"))
    paths = [*(reverse(name, args=[about.pk]) for name, about in pages.items()), *of_probes, *lists]
    assert {path: client.get(path).status_code for path in paths} == dict.fromkeys(paths, 200)
    assert b"".join(client.get(reverse("reading_export"))).count(b",OLD,cold-holding") == 1
    making.good(pages["zero_check"], world.cook, datetime(2026, 3, 2, tzinfo=UTC))


def test_no_reading_is_colder_than_anything_can_be_or_no_number(world, as_person):
    client = as_person(world.cook)
    form = {"probe": world.probe.pk, "limit": world.limit.pk, "item": "Soup", "taken_by": world.cook.pk}
    too_cold, no_number = [("-300", "C"), ("-273.2", "C"), ("-500", "F")], ["1e400", "NaN", "9" * 5000, "1e2"]
    for typed, unit in (*too_cold, *((text, "C") for text in no_number)):
        sent = form | {"key": uuid.uuid4().hex, "typed": typed, "unit": unit}
        answer = client.post(reverse("reading_add") + f"?site={world.site.pk}", sent)
        assert answer.status_code == 200 and set(answer.context["form"].errors) == {"typed"}, typed[:20]


def test_a_long_number_on_a_display_is_refused_and_not_cut_short(world):
    """The first twenty characters of this one are a zero."""
    draft = drafts.begin(world.cook, world.probe, ICE.usual, Stage.AS_FOUND, making.START)
    drafts.insert(draft, making.START)
    with pytest.raises(ValidationError, match="too long for a temperature"):
        drafts.read(draft, "0" * 20 + "5", 0, making.day(0.001))


def test_a_time_of_5000_digits_in_a_file_is_a_bad_row_and_not_the_end_of_it(world):
    rows = [row(held_s="0" * 5000), row(held_s="000000000000999999999999"), row(item="Milk")]
    made = import_file(by=world.manager, file_name="week.csv", content=csv_file(*rows))
    assert (made.added, len(made.refused)) == (1, 2)
    assert all("held_s" in reason for _, reason in made.refused)


@pytest.mark.parametrize("again", ["x", "-", "a\0b", "9" * 5000])
@pytest.mark.parametrize("tap", ["start", "finish"])
def test_a_tap_with_a_key_that_is_none_leaves_the_check_in_progress_as_it_is(again, tap, world, as_person):
    drafts.begin(world.cook, world.probe, ICE.usual, Stage.AS_FOUND, making.START)
    path = reverse(f"zero_check_{tap}", args=[world.probe.pk])
    assert as_person(world.cook).post(path, {"again": again, "key": again}).status_code < 500
    assert drafts.find(world.cook, world.probe) is not None


@pytest.mark.parametrize("key", ["-", "x" * 36])
def test_a_reading_whose_form_lost_its_key_is_asked_for_again(key, world, as_person):
    form = {"key": key, "probe": world.probe.pk, "limit": world.limit.pk, "item": "Soup", "typed": "4.0", "unit": "C"}
    answer = as_person(world.cook).post(reverse("reading_add") + f"?site={world.site.pk}", form)
    assert answer.status_code == 200 and "did not arrive whole" in answer.content.decode()


@pytest.mark.parametrize(
    "page", ["probe_add", "reading_add", "reading_list", "probe_list", "record_form", "record_print"]
)
def test_a_site_that_is_no_number_is_none(page, world, as_person):
    client = as_person(world.supervisor)
    for asked in ("9" * 5000, "9" * 20, "٣", "x", "-1"):
        assert client.get(reverse(page), {"site": asked}).status_code in (200, 400, 404), asked[:20]


def test_a_probe_for_a_shared_bath_that_is_no_number_is_no_choice(world, as_person):
    client = as_person(world.cook)
    for asked in ("9" * 5000, "9" * 20, "x", "a\0b"):
        answer = client.post(reverse("today_together", args=[world.site.pk]), {"probes": [asked]})
        assert answer.status_code == 200 and "is not in use at this site" in answer.content.decode(), asked[:20]


@pytest.mark.parametrize(
    ("query", "cookie", "kind"),
    [
        ({"from": "a\0b~1"}, "", ""),
        ({}, 'sessionid="aaaaaaaa\\000"', ""),
        ({}, "", "multipart/form-data; charset=unicode_escape"),
    ],
)
def test_what_no_browser_sends_is_answered_with_a_sentence_before_anything_is_looked_up(
    query, cookie, kind, client, db
):
    headers = {name: value for name, value in {"cookie": cookie, "content-type": kind}.items() if value}
    answer = client.get(reverse("probe_list"), query, headers=headers)
    assert answer.status_code == 400
    assert "Check the address for a slip" in answer.content.decode()


NAMES = {
    "a site": lambda w, name: add_site(by=w.supervisor, area=w.area, name=name),
    "an area": lambda w, name: add_area(by=w.supervisor, business=w.business, name=name),
    "a person": lambda w, name: rename_person(
        by=w.supervisor, person=w.manager, name=name, initials="MH", reason="mistyped"
    ),
    "a probe": lambda w, name: register_probe(by=w.manager, site=w.site, code=name, sensor="unknown"),
    "a feed": lambda w, name: open_feed(by=w.manager, site=w.site, label=name),
    "a closure": lambda w, name: plans.close_days(
        by=w.manager, data=ClosureData(site=w.site, first_day=date(2099, 1, 1), last_day=date(2099, 1, 1), why=name)
    ),
}


@pytest.mark.parametrize("what", NAMES)
def test_a_name_is_on_one_line(what, world):
    with pytest.raises(ValidationError, match=LINE):
        NAMES[what](world, "Mill\r\nSchool")


@pytest.mark.parametrize(
    "name", ["Mill\r\nSchool", "Mill\rSchool", "Mill\x0bSchool", "Mill\x00School", "Mill\u2028School"]
)
def test_a_name_with_a_line_break_that_is_stored_breaks_neither_a_calendar_nor_a_mail(name, world, client):
    if "\0" not in name:  # which PostgreSQL cannot have stored
        Site.objects.filter(pk=world.site.pk).update(name=name)
    make_probe(world.site, name.replace("\0", "\n"), by=world.manager)
    _, secret = open_feed(by=world.manager, site=world.site, label="wall")
    answer = client.get(reverse("feed", args=[secret]))
    assert answer.status_code == 200
    assert all(line.isprintable() for line in answer.content.decode().split("\r\n"))
    notice = Notice.objects.create(
        kind="due",
        person=world.cook,
        about="1",
        site=world.site,
        subject=f"Check {name}".replace("\0", "\n"),
        link="/",
        in_page=True,
        state="waiting",
    )
    assert letter(notice).message()["Subject"] == "Check Mill School"
