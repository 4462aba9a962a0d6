"""Pages, paper, what people typed, and what a record costs the database."""

import re
import uuid
from dataclasses import dataclass
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.probes.models import Event
from compliance.readings.models import Reading
from compliance.records.people import People
from shared.prepared import Prepared
from sites.names import Name
from tests.checks import making as checks
from tests.records import making
from tests.records.making import at, printed, scope_of, words_of
from tests.remembered import remembered
from tests.world import make_limit, make_probe, make_reading

SIZES = {"A4": (595, 842), "Letter": (612, 792)}
NASTY = (
    "<b>bold</b> &amp; <script>alert(1)</script>",
    ") Tj ET Q (",
    "\\)\\(",
    "%%EOF",
    "{{ site }} {% now %}",
    "/Page 9 of 9",
    "‮drowkcab",
    "text\x08with\x07bells",
    "=1+1",
    "x" * 118,
)


@dataclass
class Print:
    sizes: set[tuple[int, int]]
    pages: list[str]
    begun: list[float]  # where its lines begin


@pytest.fixture
def prints(clock, world) -> dict[str, Print]:
    """The record on each paper; nothing is written meanwhile."""
    clock.move_to(making.NOW)
    return remembered(on_each_paper, world)


def on_each_paper(world) -> dict[str, Print]:
    making.story(world)
    with CaptureQueriesContext(connection) as queries:
        prints = {paper: read(printed(scope_of(world.site, paper=paper))) for paper in SIZES}
    verbs = {query["sql"].split()[0].upper() for query in queries}
    assert verbs <= {"SELECT", "WITH", "DECLARE", "FETCH", "CLOSE"}
    return prints


def read(reader) -> Print:
    begun = []

    def note(text, cm, tm, *rest):
        if text.strip():
            begun.append(cm[0] * tm[4] + cm[4])

    pages = [" ".join(page.extract_text(visitor_text=note).split()) for page in reader.pages]
    return Print({tuple(map(round, page.mediabox[2:])) for page in reader.pages}, pages, begun)


def test_the_record_comes_on_the_paper_that_was_asked_for_between_its_margins(prints):
    for paper, made in prints.items():
        assert made.sizes == {SIZES[paper]}
        assert min(made.begun) > 41 and max(made.begun) < SIZES[paper][0] - 42


def test_both_papers_say_the_same(prints):
    typed = [set(re.findall(r"[RCDE]\d+", " ".join(made.pages))) for made in prints.values()]
    assert typed[0] == typed[1] != set()


def test_each_page_says_which_it_is_of_what_and_who_printed_it(prints):
    pages = prints["A4"].pages
    for number, text in enumerate(pages, start=1):
        assert re.findall(r"Page (\d+) of (\d+)", text) == [(str(number), str(len(pages)))]
        assert "Printed by Rue Danby, 2 Apr 2026 12:00 BST" in text
        assert "Alder School" in text and "1 Mar 2026 to 31 Mar 2026" in text


def test_what_people_typed_is_text_and_nothing_else(clock, world, site):
    clock.move_to(at(30))
    for text in NASTY:
        making.take(world, "3.0", at(20), item=text, note=text)
    Event.objects.create(probe=world.probe, kind="dropped", at=at(20), note=NASTY[0], recorded_by=world.cook)
    reader = printed(scope_of(site))
    text = words_of(reader)
    for typed in (NASTY[0], *NASTY[1:6], "=1+1"):
        assert text.count(typed) >= 2
    assert "[U+202E]drowkcab" in text and "text[U+0008]with[U+0007]bells" in text
    assert text.replace(" ", "").count("x" * 118) == 2
    marks = [mark.get_object() for page in reader.pages for mark in page.get("/Annots", ())]
    inside = {page.indirect_reference.idnum for page in reader.pages}
    assert marks and all(mark["/Subtype"] == "/Link" and mark["/Dest"][0].idnum in inside for mark in marks)
    assert all("/A" not in mark for mark in marks) and all("/AA" not in page for page in reader.pages)
    root = reader.trailer["/Root"]
    assert set(root["/Names"]) == {"/EmbeddedFiles"} and "/AcroForm" not in root


def fill(world, number: int) -> None:
    """More of everything that a record has rows of."""
    for n in range(number):
        at_n = at(3) + timedelta(hours=6 * n)
        probe = make_probe(world.site, uuid.uuid4().hex[:8], by=world.manager)
        limit = make_limit(world.site, by=world.manager, code=uuid.uuid4().hex[:8])
        checks.good(probe, world.cook, at_n - timedelta(days=2))
        doubted = make_reading(probe, limit, "3.0", at_n, by=world.cook)
        making.correct(world, making.take(world, "9.0", at_n, probe=probe, limit=limit), "4.0", "Typed wrong")
        making.take(world, "9.0", at_n, probe=probe, limit=limit)
        failed = checks.bad(probe, world.cook, at_n + timedelta(hours=1))
        making.decide(world, f"check:{failed.pk}", "discarded", ids=(doubted.pk,), why=f"Binned {n}")
        checks.event(probe, world.cook, "dropped", at_n, note="On the floor")
        void = checks.unclear(probe, world.cook, at_n + timedelta(hours=2))
        checks.actions.void_check(by=world.supervisor, check=void, reason="Bath was wrong")


def test_three_times_as_much_takes_the_same_number_of_queries(clock, world, site):
    clock.move_to(at(30))
    counts = []
    for more in (1, 2):
        fill(world, more)
        with CaptureQueriesContext(connection) as queries:
            printed(scope_of(site))
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_readings_are_streamed_and_never_gathered(clock, world, site, monkeypatch):
    clock.move_to(at(30))
    for n in range(20):
        making.take(world, "9.0" if n < 5 else "4.0", at(3 + n))
    query_set, gathered = type(Reading.objects.all()), []
    fetch = query_set._fetch_all

    def watched(self):
        fetch(self)
        gathered.append((self.model.__name__, len(self._result_cache)))

    rows = Prepared.rows

    def asked(self, *keys, **values):
        found = rows(self, *keys, **values)
        gathered.append(("rows", len(found)))
        return found

    monkeypatch.setattr(query_set, "_fetch_all", watched)
    monkeypatch.setattr(Prepared, "rows", asked)
    printed(scope_of(site))
    assert gathered and [found for found in gathered if found[1] >= 20] == []


def test_two_people_with_the_same_initials_are_told_apart():
    people = People({1: Name("Mara Holt", "MH"), 2: Name("Miles Harrow", "MH"), 3: Name("Sol Venn", "SV")})
    assert [people.initials(pk, at(1)) for pk in (2, 1, 2, 3)] == ["MH", "MH2", "MH", "SV"]
    assert people.full(1, at(1)) == "Mara Holt (MH2)"
    assert people.key() == [("MH", "Miles Harrow"), ("MH2", "Mara Holt"), ("SV", "Sol Venn")]
