"""The head of the record at the foot of each printed page; the annex and the page that list who changed what."""

import io
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from compliance.records.check_record import write_check
from compliance.records.sections import annex
from compliance.records.trail_words import ACTS, PRIVATE
from shared.audit.chain import newest_of
from shared.audit.opening import seal_what_is_there
from shared.audit.trail import registry
from shared.audit.verifying import findings, standing_of
from tests.checks.making import good
from tests.printed_text import text_on
from tests.records.making import NOW, at, correct, printed, scope_of, section, sections_of, take
from tests.remembered import remembered

HEAD = re.compile(r"Record head (\d+), \d+ \w+ 2026 \d\d:\d\d \w+: ((?:[0-9a-f]{8} ?){8})")


@pytest.fixture
def kept(world, clock):
    clock.move_to(NOW)
    return remembered(corrected, world)


def corrected(world):
    """A reading, and another that was corrected, which is given."""
    seal_what_is_there()
    take(world, "3.1", at(3))
    wrong = take(world, "44.0", at(20), item="Yoghurt")
    correct(world, wrong, "4.4", "Point was missed")
    return wrong


def heads_of(reader: PdfReader) -> list[str]:
    return [found[2].replace(" ", "") for page in reader.pages if (found := HEAD.search(text_on(page)))]


def test_each_page_bears_the_head_and_the_command_takes_it(world, kept):
    reader = printed(scope_of(world.site))
    heads = heads_of(reader)
    assert len(heads) == len(reader.pages)
    assert set(heads) == {newest_of(world.business.pk).hash}
    assert standing_of(heads[0], findings()).stands


def test_the_record_of_a_check_bears_it_too(world, kept):
    check, out = good(world.probe, world.cook, at(25)), io.BytesIO()
    write_check(out, check, printed_by="Rue Danby", now=timezone.now())
    assert set(heads_of(PdfReader(out))) == {newest_of(world.business.pk).hash}


def test_the_annex_lists_what_was_changed_and_counts_the_work_of_each_day(world, kept):
    told = section(sections_of(scope_of(world.site, last=NOW.date()), annex), "Annex: changes to the record")
    assert f"R{kept.pk} Yoghurt" in told
    assert "Point was missed" in told
    assert "recorded the reading: 2" in told


def rows(client, **query):
    return client.get(reverse("record_trail"), query).content.decode()


def test_the_trail_is_there_for_who_may_read_and_for_nobody_else(world, kept, as_person):
    for person in (world.reader, world.supervisor):
        assert "Point was missed" in rows(as_person(person))
    assert "Yoghurt" not in rows(as_person(world.stranger))


SHOWN = [{"who": "Esker"}, {"what": "reading"}, {"record": "Yoghurt"}, {"first": "2026-04-01"}]
HIDDEN = [{"who": "Holt"}, {"what": "limit"}, {"record": "R999999"}, {"last": "2026-03-01"}, {"record": "R" + "9" * 20}]


def test_the_trail_is_filtered_by_who_what_when_and_which_record(world, kept, as_person):
    client = as_person(world.reader)
    assert [query for query in (*SHOWN, *HIDDEN) if "Point was missed" in rows(client, **query)] == SHOWN


def test_an_entry_leads_to_its_record(world, kept, as_person):
    page = rows(as_person(world.reader), record=f"R{kept.pk}")
    assert f'href="{reverse("reading_detail", args=[kept.pk])}"' in page
    assert "replaced it with a correction" in page


def test_the_trail_asks_no_more_for_more_rows(world, kept, as_person, django_assert_num_queries):
    client = as_person(world.supervisor)
    rows(client)
    with CaptureQueriesContext(connection) as before:
        rows(client)
    for _ in range(9):
        take(world, "3.1", at(3))
    with django_assert_num_queries(len(before)):
        rows(client)


def test_each_action_is_told_in_words_or_is_private():
    assert set(registry) <= {*ACTS, *PRIVATE}
