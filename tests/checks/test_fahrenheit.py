"""At a site in °F every sentence of a check is written for °F, on the page and on paper, and none is lost."""

import pytest
from django.urls import reverse

from sites.models import Site
from tests.records.test_one_check import print_of as printed

from .making import NO_BATH, QUIET, boiling, certificate, day, risen_to, settled_at, zero

MADE = {
    "passed": lambda probe, by: zero(probe, by, day(0), readings=settled_at("32.2", "F")),
    "near the edge": lambda probe, by: zero(probe, by, day(0), readings=settled_at("33.8", "F")),
    "failed low": lambda probe, by: zero(probe, by, day(0), readings=settled_at("28.4", "F")),
    "no bath": lambda probe, by: zero(probe, by, day(0), bath=NO_BATH, readings=settled_at("32.2", "F")),
    "not settled": lambda probe, by: zero(probe, by, day(0), readings=[(5_000, "46.4", "F"), (9_000, "41.0", "F")]),
    "boiled": lambda probe, by: boiling(probe, by, day(0), readings=risen_to("209.1", "F")),
    "boiled wrong": lambda probe, by: boiling(probe, by, day(0), readings=risen_to("200.0", "F")),
    "hardly boiled": lambda probe, by: boiling(probe, by, day(0), pan=QUIET, readings=risen_to("209.1", "F")),
    "by a laboratory": lambda probe, by: certificate(probe, by, day(0)),
}


@pytest.fixture(params=MADE)
def check(request, probe, cook):
    Site.objects.filter(pk=probe.site_id).update(unit="F")
    probe.site.refresh_from_db()
    return MADE[request.param](probe, cook)


def test_no_sentence_speaks_celsius_and_none_is_lost(check, as_person, reader):
    page = as_person(reader).get(reverse("check_detail", args=[check.pk]))
    shown = page.content.decode().split("<main")[1].split("</main")[0]
    on_paper = printed(check, reader)
    own_step = "steps of 0.1 °C"  # of the display of this probe, which shows °C
    assert "°C" not in shown.replace(own_step, "") and "°C" not in on_paper.replace(own_step, "")
    assert len(page.context["why"] + page.context["salt"]) == len(check.why) - 1 and len(
        page.context["figures"]
    ) == len(check.figures)
    for line in page.context["why"] + page.context["salt"]:
        assert line in on_paper, line


def test_a_failed_check_in_fahrenheit_says_what_it_shows_in_ice(probe, cook, as_person, reader):
    Site.objects.filter(pk=probe.site_id).update(unit="F")
    probe.site.refresh_from_db()
    check = MADE["failed low"](probe, cook)
    page = as_person(reader).get(reverse("check_detail", args=[check.pk]))
    assert page.context["why"][0] == "It shows 28.4 °F in melting ice, where ±1.8 °F is allowed."
    assert "to make the ice 3.6 °F colder." in page.content.decode()
    assert page.context["figures"][2].startswith("The bath stands for 32 °F within ")
