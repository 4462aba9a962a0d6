"""The HACCP page: each limit that was in force with its monitoring; what the book does not hold is said to be missing."""

import io
from datetime import date

import pytest
from django.urls import reverse
from pypdf import PdfReader

from compliance.limits.models import Limit
from compliance.plans.models import Round
from compliance.readings.models import OfferedActs
from compliance.records.haccp import write_haccp
from sites.actions import grant, revoke
from sites.models import Area, Membership, Role
from tests.printed_text import words_of
from tests.world import make_limit, make_person, make_version

from .making import at, scope_of

NBSP = "\N{NO-BREAK SPACE}"


@pytest.fixture(autouse=True)
def now(clock):
    clock.move_to(at(2, 12, month=4))


def page_of(site, **fields) -> str:
    out = io.BytesIO()
    write_haccp(out, scope_of(site, **fields))
    return words_of(PdfReader(io.BytesIO(out.getvalue()))).replace(NBSP, " ")


def set_round(world, first: date, *times: str, limit=None, **fields) -> Round:
    limit = limit or world.limit
    return Round.objects.create(limit=limit, effective_from=first, times=times, recorded_by=world.manager, **fields)


def test_a_limit_is_told_with_its_hazard_its_figure_its_source_and_what_is_done(world):
    text = page_of(world.site)
    for words in (
        "Hazard: growth of bacteria",
        "at most 5 °C",
        "The site's own. Its source, as the site gave it: House rule.",
        "no source",
        "Move it.",
        "from 1 Jan 2020",
    ):
        assert words in text


def test_what_the_book_does_not_hold_is_said_to_be_missing(world):
    Limit.objects.update(hazard="")
    text = page_of(world.site)
    assert "Hazard: not recorded here" in text
    assert "training of these people is not recorded here" in text
    assert "how long records must be kept is not recorded here" in text
    assert "how often is not recorded here" in text


def test_it_says_that_it_is_no_hazard_analysis(world):
    assert "This page is no hazard analysis and no HACCP plan" in page_of(world.site)


def test_a_round_that_was_changed_in_the_period_is_told_with_its_days(world):
    set_round(world, date(2026, 1, 5), "08:00")
    set_round(world, date(2026, 3, 10), "07:00")
    set_round(world, date(2026, 3, 10), "09:00", "15:00")
    text = page_of(world.site)
    assert "At 08:00; from 5 Jan 2026 to 9 Mar 2026, set by MH." in text
    assert "At 09:00 and 15:00; from 10 Mar 2026, set by MH." in text and "07:00" not in text


def test_a_limit_that_ended_before_or_begins_after_the_period_is_not_told(world):
    make_version(world.limit, by=world.manager, value="4", effective_from=at(5, month=2))
    make_version(world.limit, by=world.manager, value="3", effective_from=at(10, 14))
    make_version(world.limit, by=world.manager, value="2", effective_from=at(1, 9, month=4))
    make_limit(world.site, by=world.manager, code="new-step", effective_from=at(1, 10, month=4))
    text = page_of(world.site)
    assert "at most 4 °C" in text and "until 10 Mar 2026 14:00" in text
    assert "at most 3 °C" in text and "until 1 Apr 2026" in text
    assert "at most 5 °C" not in text and "at most 2 °C" not in text and "New step" not in text


def test_a_limit_that_was_taken_off_ends_there(world):
    make_version(world.limit, by=world.manager, in_force=False, effective_from=at(10, 14))
    assert page_of(world.site).count("at most 5 °C") == 1
    assert "No limit was in force" in page_of(world.site, first=date(2026, 3, 11))


def test_the_actions_offered_are_those_of_the_site_and_without_a_list_the_usual_ones(world):
    assert "The usual ones (common practice, no source)." in page_of(world.site)
    lists = {"warm_actions": ["Moved to the cellar"], "cool_actions": ["Heated on"], "dispositions": ["discarded"]}
    OfferedActs.objects.create(site=world.site, recorded_by=world.manager, recorded_at=at(9), **lists)
    text = page_of(world.site)
    assert "no source), until 9 Mar 2026 09:00." in text
    assert "From 9 Mar 2026 09:00, set by Mara Holt (MH). Too warm: Moved to the cellar." in text


def test_people_are_told_with_their_role_and_from_when_until_when(world, clock):
    newcomer = make_person("Ada Brook")
    clock.move_to(at(3, 8))
    grant(by=world.supervisor, person=newcomer, role=Role.COOK, site=world.site)
    grant(by=world.supervisor, person=newcomer, role=Role.READER, site=world.other_site)
    clock.move_to(at(20, 17))
    revoke(by=world.supervisor, membership=Membership.objects.get(person=newcomer, site=world.site))
    clock.move_to(at(2, 12, month=4))
    text = page_of(world.site)
    assert "AB Ada Brook cook 3 Mar 2026 08:00 20 Mar 2026 17:00" in text
    assert "CE Col Esker cook not recorded here still at printing" in text
    assert "SV Sol Venn area supervisor" in text and "Rue Danby reader" not in text
    assert "Ada Brook" not in page_of(world.site, first=date(2026, 3, 21))


def test_people_of_another_business_with_an_area_of_the_same_name_are_not_told(world, clock):
    clock.move_to(at(20, 9))
    Area.objects.filter(pk=world.foreign_site.area_id).update(name=world.area.name)
    world.foreign_site.area.refresh_from_db()
    role = grant(by=world.rival, person=world.stranger, role=Role.SUPERVISOR, area=world.foreign_site.area)
    clock.move_to(at(21, 9))
    revoke(by=None, membership=role)
    assert "Nye Farrow" not in page_of(world.site)


def test_a_reader_prints_it_and_a_stranger_finds_nothing(world, as_person):
    url, asked = reverse("record_haccp"), {"site": world.site.pk, "from": "2026-03-01", "to": "2026-03-31"}
    answer = as_person(world.reader).get(url, asked)
    assert b"".join(answer.streaming_content).startswith(b"%PDF") and "haccp-record" in answer["Content-Disposition"]
    assert as_person(world.stranger).get(url, asked).status_code == 404
    assert url in as_person(world.reader).get(reverse("record_form")).content.decode()
