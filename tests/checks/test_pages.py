"""The pages of probes, checks and events: who may see and do what, what they say, and what they cost."""

import re
import uuid
from datetime import timedelta
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.checks import filters
from compliance.checks.actions import void_check
from compliance.checks.models import Check, CheckVoid
from compliance.probes.models import Event, EventKind, Placement
from tests.world import make_probe

from .making import bad, certificate, day, event, good, unclear, zero


def page(client, name, *args, **query):
    return client.get(reverse(name, args=args), query)


def text(response):
    assert response.status_code == 200
    return response.content.decode()


@pytest.fixture
def check(probe, cook):
    return good(probe, cook, day(0))


READS = ("probe_detail", "check_detail")
WRITES = {
    "zero_check": "cook",
    "event_add": "cook",
    "certificate_add": "manager",
    "check_void": "supervisor",
    "check_correct": "supervisor",
    "event_void": "supervisor",
}
RANK = ["reader", "cook", "manager", "supervisor"]


def subject(name, probe, check, cook):
    if name.startswith("check"):
        return check.pk
    return event(probe, cook, EventKind.DROPPED, day(1)).pk if name == "event_void" else probe.pk


def test_readers_see_what_is_at_their_site(as_person, reader, probe, check, cook):
    client = as_person(reader)
    assert {page(client, name, subject(name, probe, check, cook)).status_code for name in READS} == {200}


def test_from_which_role_on_people_write(as_person, world, probe, check, cook):
    about = {name: subject(name, probe, check, cook) for name in WRITES}
    for rank, who in enumerate(RANK):
        client = as_person(getattr(world, who))
        asked = [name for name, least in WRITES.items() if RANK.index(least) in (rank, rank + 1)]
        answers = {name: page(client, name, about[name]).status_code for name in asked}
        assert answers == {name: 200 if WRITES[name] == who else 403 for name in asked}


def test_a_site_where_the_probe_was_looks_back_and_does_not_write(
    as_person, manager, probe, check, other_site, supervisor
):
    Placement.objects.create(probe=probe, site=other_site, starts_at=day(2), recorded_by=supervisor)
    type(probe).objects.filter(pk=probe.pk).update(site=other_site)
    client = as_person(manager)
    assert (
        page(client, "probe_detail", probe.pk).status_code == page(client, "check_detail", check.pk).status_code == 200
    )
    assert page(client, "zero_check", probe.pk).status_code == 403


def test_the_list_shows_own_probes_only(as_person, manager, world):
    make_probe(world.foreign_site, "Z9", by=world.stranger)
    rows = page(as_person(manager), "probe_list").context["table"].rows
    assert [row.record.code for row in rows] == ["P1"]


@pytest.mark.parametrize("some", [filters.SOME, 1])  # judged first, before all that are left
def test_the_list_is_filtered_by_site_and_by_whether_probes_may_be_used(
    as_person, supervisor, world, probe, cook, monkeypatch, some
):
    monkeypatch.setattr(filters, "SOME", some)
    other = make_probe(world.other_site, "P2", by=supervisor)
    good(other, supervisor, day(0))
    event(other, supervisor, EventKind.ADJUSTED, day(1))
    event(make_probe(world.site, "P3", by=supervisor), supervisor, EventKind.WITHDRAWN, day(0))
    client = as_person(supervisor)

    def codes(**query):
        return [row.record.code for row in page(client, "probe_list", **query).context["table"].rows]

    assert codes() == ["P1", "P2"]
    assert codes(fitness="do_not_use") == ["P2"] and codes(fitness="check_first") == ["P1"]
    assert codes(fitness="ok") == [] and "Standing" not in page(client, "probe_list").content.decode()
    assert codes(fitness="do_not_use", use="all") == ["P2", "P3"]
    assert (
        codes(site=world.site.pk) == ["P1"]
        and codes(use="withdrawn") == ["P3"]
        and codes(use="all", code="p") == ["P1", "P2", "P3"]
    )


def test_the_list_goes_on_by_code(as_person, supervisor, world):
    for number in range(60):
        make_probe(world.site, f"Q{number:02d}", by=supervisor)
    client = as_person(supervisor)
    first = page(client, "probe_list")
    rest = client.get(reverse("probe_list") + link_to(first, "Next"))
    shown = [row.record.code for part in (first, rest) for row in part.context["table"].rows]
    assert shown == ["P1", *(f"Q{number:02d}" for number in range(60))]
    assert page(client, "probe_list", **{"from": "junk"}).status_code == 200


def link_to(answer, label) -> str:
    """Where the pager under a list leads."""
    return unescape(re.search(rf'href="([^"]*)">{label}<', answer.content.decode())[1])


def test_the_checks_of_a_probe_go_on_to_older_ones(as_person, supervisor, world):
    for number in range(17):
        unclear(world.probe, supervisor, day(number))
    client = as_person(supervisor)
    first = page(client, "probe_detail", world.probe.pk)
    rest = client.get(reverse("probe_detail", args=[world.probe.pk]) + link_to(first, "Older"))
    assert len(rest.context["checks"].rows) == 2


def cost(client, name, *args):
    page(client, name, *args)
    with CaptureQueriesContext(connection) as captured:
        assert page(client, name, *args).status_code == 200
    return len(captured)


def test_the_list_costs_the_same_for_three_times_as_many(as_person, supervisor, world, cook):
    client = as_person(supervisor)
    good(make_probe(world.site, "A", by=cook), cook, day(0))
    bad(make_probe(world.site, "B", by=cook), cook, day(0))
    before = cost(client, "probe_list")
    for number in range(4):
        bad(make_probe(world.site, f"B{number}", by=cook), cook, day(number))
    assert cost(client, "probe_list") == before


def test_a_probe_costs_the_same_however_long_its_history(as_person, supervisor, probe, cook):
    client = as_person(supervisor)

    def live(first, last):
        for number in range(first, last):
            good(probe, cook, day(number))
            event(probe, cook, EventKind.DROPPED, day(number + 0.5))

    live(0, 2)
    before = cost(client, "probe_detail", probe.pk)
    live(2, 6)
    assert cost(client, "probe_detail", probe.pk) == before


def test_a_probe_tells_whether_it_may_be_used_its_history_and_void_checks(
    as_person, reader, supervisor, probe, cook, clock
):
    good(probe, cook, day(50))
    void_check(by=supervisor, check=bad(probe, cook, day(57)), reason="warm bath")
    event(probe, cook, EventKind.DROPPED, day(52), "off the shelf")
    shown = text(page(as_person(reader), "probe_detail", probe.pk))
    for words in (
        "Check first",
        "is-void",
        "off the shelf",
        "dropped and not checked since",
        "chart-narrow",
        "Alder School",
    ):
        assert words in shown
    assert "Check at zero" not in shown


def test_a_failed_check_says_what_to_do_and_leads_to_the_case(as_person, cook, probe):
    good(probe, cook, day(0))
    failed = bad(probe, cook, day(7))
    shown = text(page(as_person(cook), "check_detail", failed.pk))
    assert "stop using this probe" in shown and "Label it" in shown
    assert reverse("case_detail", args=[f"check-{failed.pk}"]) in shown
    assert "<details" in shown and "What makes it uncertain" in shown and "JCGM 100" in shown


def test_an_inconclusive_check_asks_for_another(as_person, cook, probe):
    shown = text(page(as_person(cook), "check_detail", unclear(probe, cook, day(0)).pk))
    assert "Inconclusive" in shown and "Check it again" in shown and "See the readings" not in shown


def test_a_fahrenheit_site_sees_fahrenheit(as_person, cook, probe):
    type(probe.site).objects.filter(pk=probe.site_id).update(unit="F")
    check = zero(probe, cook, day(0), readings=[(40_000 + i * 10_000, "32.9", "F") for i in range(6)])
    response = page(as_person(cook), "check_detail", check.pk)
    assert "+0.90 °F" in text(response) and not [line for line in response.context["why"] if "°C" in line]


def test_a_certificate_shows_its_laboratory(as_person, manager, probe):
    shown = text(page(as_person(manager), "check_detail", certificate(probe, manager, day(0)).pk))
    assert "Fen Measurement" in shown and "+0.10 ± 0.05 °C" in shown and "F-77" in shown


def certificate_form(**changes):
    return {
        "key": str(uuid.uuid4()),
        "checked_at": "2026-01-05T10:00",
        "stage": "as_found",
        "laboratory": "Fen Measurement",
        "certificate_number": "F-78",
        "reference": "0",
        "error": "−0,3",
        "expanded": "0.05",
        "note": "",
        **changes,
    }


@pytest.mark.usefixtures("soon_after")
def test_a_certificate_is_entered_once(as_person, manager, probe):
    client, form = as_person(manager), certificate_form()
    first = client.post(reverse("certificate_add", args=[probe.pk]), form)
    again = client.post(reverse("certificate_add", args=[probe.pk]), form)
    check = Check.objects.get()
    assert first.url == again.url == reverse("check_detail", args=[check.pk])
    assert (check.error_milli, check.expanded_milli, check.verdict) == (-300, 50, "in_tolerance")


@pytest.mark.usefixtures("soon_after")
def test_another_certificate_from_the_same_form_is_asked_about_and_then_saved(as_person, manager, probe):
    client, form, url = as_person(manager), certificate_form(), reverse("certificate_add", args=[probe.pk])
    client.post(url, form)
    answer = client.post(url, form | {"certificate_number": "F-79"})
    assert "already sent" in text(answer) and 'value="F-79"' in text(answer) and Check.objects.count() == 1
    client.post(url, form | {"certificate_number": "F-79", "key": answer.context["form"].data["key"]})
    assert Check.objects.count() == 2


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"error": "small"}, "not a number"),
        ({"expanded": "0"}, "above zero"),
        ({"checked_at": "2999-01-01T10:00"}, "not come yet"),
    ],
)
def test_a_certificate_that_cannot_be_is_refused_and_nothing_typed_is_lost(as_person, manager, probe, changes, message):
    response = as_person(manager).post(reverse("certificate_add", args=[probe.pk]), certificate_form(**changes))
    assert message in text(response) and 'value="F-78"' in text(response) and not Check.objects.exists()


def test_a_supervisor_voids_a_check_once(as_person, supervisor, check):
    client = as_person(supervisor)
    assert "required" in text(client.post(reverse("check_void", args=[check.pk]), {"reason": " "}))
    assert client.post(reverse("check_void", args=[check.pk]), {"reason": "warm"}).status_code == 302
    assert "already" in text(client.post(reverse("check_void", args=[check.pk]), {"reason": "warm"}))
    assert CheckVoid.objects.get().reason == "warm" and "no longer counts" in text(
        page(client, "check_detail", check.pk)
    )


def correction(client, check, **changes):
    initial = page(client, "check_correct", check.pk).context["form"].initial
    form = {name: initial[name] for name in ("stage", "kind", "points", "readings", "note")}
    form |= {
        "key": str(initial["key"]),
        "checked_at": "2026-01-05T09:00",
        "immersion_mm": "",
        "reason": "typed wrongly",
    }
    return {**form, **changes}


@pytest.mark.usefixtures("soon_after")
def test_a_supervisor_corrects_a_check_from_what_was_recorded(as_person, supervisor, probe, cook):
    old, client = bad(probe, cook, day(0)), as_person(supervisor)
    form = correction(client, old)
    form["readings"] = form["readings"].replace("2.4", "0.4")
    response = client.post(reverse("check_correct", args=[old.pk]), form)
    new = Check.objects.exclude(pk=old.pk).get()
    assert (
        response.url == reverse("check_detail", args=[new.pk])
        and new.error_milli == 400
        and new.preparation == old.preparation
    )
    assert "first written" in text(page(client, "check_detail", new.pk))
    assert client.post(reverse("check_correct", args=[old.pk]), form).url == reverse("check_detail", args=[old.pk])


def test_a_line_that_is_no_reading_is_named(as_person, supervisor, check):
    client = as_person(supervisor)
    response = client.post(
        reverse("check_correct", args=[check.pk]), correction(client, check, readings="5 8.0\nforty 0.3")
    )
    assert "Line 2 should be" in text(response) and "forty 0.3" in text(response) and Check.objects.count() == 1


@pytest.mark.usefixtures("soon_after")
def test_an_event_is_added_and_what_follows_is_said(as_person, cook, probe):
    form = {"kind": "adjusted", "at": "2026-01-06T10:00", "note": "screw"}
    shown = text(as_person(cook).post(reverse("event_add", args=[probe.pk]), form, follow=True))
    assert "as left" in shown and Event.objects.get().kind == "adjusted"


@pytest.mark.usefixtures("soon_after")
def test_an_event_is_put_right(as_person, supervisor, probe, cook):
    wrong = event(probe, cook, EventKind.WITHDRAWN, day(1))
    form = {"reason": "only dropped", "replace": "on", "kind": "dropped", "at": "2026-01-06T09:00", "note": ""}
    as_person(supervisor).post(reverse("event_void", args=[wrong.pk]), form)
    assert wrong.void.replacement.kind == "dropped" and wrong.void.replacement.at == day(1)


def test_a_check_entered_late_says_so(as_person, cook, probe, clock):
    check = good(probe, cook, day(50))
    assert check.recorded_at - check.checked_at > timedelta(days=1)
    assert "Entered late" in text(page(as_person(cook), "check_detail", check.pk))


@pytest.mark.parametrize("name", ["event_add", "event_void", "check_void"])
def test_after_each_save_the_page_leads_on_once(as_person, supervisor, probe, check, cook, name):
    client, onward = as_person(supervisor), reverse("today_next", args=[probe.site_id])
    about = {"event_add": probe.pk, "check_void": check.pk}.get(name) or event(probe, cook, "dropped", day(1)).pk
    form = {"reason": "Chose the wrong probe", "kind": "dropped", "at": "2026-01-07T10:00", "confirmed": ["2026-01-07"]}
    shown = client.post(reverse(name, args=[about]), form, follow=True)
    assert shown.redirect_chain and onward in shown.content.decode()
    assert onward not in client.get(reverse("probe_detail", args=[probe.pk])).content.decode()
