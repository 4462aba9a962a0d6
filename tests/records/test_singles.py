"""A probe's life, one case and one day, each printed from its own page."""

import io

import pytest
from django.urls import reverse
from pypdf import PdfReader

from compliance.probes.actions import move
from compliance.quarantine.cases import load_case
from compliance.records.singles import case_scopes, life_scope, write_case, write_probe
from tests.checks import making
from tests.printed_text import words_of
from tests.remembered import remembered

from .making import NOW, at, decide, story, take


@pytest.fixture
def march(world, clock):
    clock.move_to(NOW)
    return remembered(story, world)


def life_of(probe) -> str:
    out = io.BytesIO()
    write_probe(out, life_scope(probe, printed_by="Rue Danby", now=NOW))
    return words_of(PdfReader(io.BytesIO(out.getvalue())))


def print_of(anchor: str, *sites) -> str:
    out = io.BytesIO()
    write_case(out, anchor, case_scopes(load_case(anchor), list(sites), printed_by="Rue Danby", now=NOW))
    return words_of(PdfReader(io.BytesIO(out.getvalue())))


def test_the_life_of_a_probe_holds_its_checks_from_the_first_and_no_other_probe(world, march):
    text = life_of(world.probe)
    assert "Life of probe P1" in text and "Probe P2" not in text
    for check in (march["before"], march["failed"], march["left"]):
        assert f"C{check.pk}" in text
    assert f"E{march['event'].pk}" in text and "Screw turned" in text
    assert f"C{march['unclear'].pk}:" not in text
    assert "kept since" not in text and "Every check of this probe, wherever it was made" in text


def test_the_life_of_a_probe_that_moved_holds_what_was_made_where_it_was(world, march):
    move(by=world.supervisor, probe=world.probe, site=world.other_site, starts_at=at(1, 9, month=4), reason="Lent")
    world.probe.refresh_from_db()
    text = life_of(world.probe)
    assert f"C{march['failed'].pk}" in text and "Birch House from" in text and "Alder School from" in text


def test_a_case_is_printed_with_its_readings_and_decisions_and_no_other_case(world, march):
    second = making.bad(world.probe, world.cook, at(25, 7))
    other = take(world, "3.3", at(9, 18), item="Cheese")  # on the last day of the first case, after its end
    decide(world, f"check:{second.pk}", "discarded", why="Another case")
    text = print_of(march["anchor"], world.site)
    assert f"Case C{march['failed'].pk}" in text and all(f"R{each.pk}" in text for each in march["doubted"])
    assert "Binned 4 kg of soup" in text and "MH" in text
    assert f"R{other.pk}" not in text and "Another case" not in text
    assert "no longer in quarantine" not in text


def test_a_site_without_a_reading_of_the_case_says_so(world, march):
    text = print_of(march["anchor"], world.other_site, world.site)
    assert "At Birch House No reading of this case was taken at this site." in text and "At Alder School" in text


@pytest.mark.parametrize("what", ["probe", "case"])
def test_it_is_one_tap_from_its_page_and_a_stranger_finds_nothing(world, march, as_person, what):
    key = {"probe": world.probe.pk, "case": march["anchor"].replace(":", "-")}[what]
    url, page = reverse(f"{what}_print", args=[key]), reverse(f"{what}_detail", args=[key])
    assert f'href="{url}"' in as_person(world.reader).get(page).content.decode()
    answer = as_person(world.reader).get(url)
    assert b"".join(answer.streaming_content).startswith(b"%PDF")
    assert as_person(world.stranger).get(url).status_code == 404


def test_one_day_is_one_tap_from_its_page(world, march, as_person):
    page = reverse("reminder_list", args=[world.site.pk])
    url = f"{reverse('record_print')}?site={world.site.pk}&amp;from=2026-03-09&amp;to=2026-03-09"
    assert url in as_person(world.reader).get(page, {"day": "2026-03-09"}).content.decode()
    assert "record_print" not in as_person(world.reader).get(page, {"day": "2026-05-09"}).content.decode()
