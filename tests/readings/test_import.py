"""A file of readings: all good rows in, bad rows named by line, twice adds nothing."""

from datetime import timedelta

import pytest
from django.urls import reverse

from compliance.readings.actions import void
from compliance.readings.importing import FileRefused, import_file, import_parts, preview
from compliance.readings.importing.book import Book
from compliance.readings.importing.layout import read_through
from compliance.readings.models import Deviation, Import, Reading
from shared.audit.models import Entry
from sites.access import sites_of
from tests.readings.files import HEADER, START, csv_file, many, row
from tests.readings.helpers import take
from tests.world import make_area, make_limit, make_person, make_probe, make_site, make_version

pytestmark = pytest.mark.usefixtures("clock")
SAME = "is the same reading as line {}"


def bring(by, content, name="fridges.csv"):
    return import_file(by=by, file_name=name, content=content)


def why_refused(by, *rows, header=HEADER) -> str:
    made = bring(by, csv_file(*rows, header=header))
    assert made.added == 0 and not Reading.objects.exists()
    return made.refused[0][1]


def test_all_good_rows_go_in_and_bad_rows_are_named_by_line(world):
    content = csv_file(row(), row(probe="P9", value="warm"), row(item="soup", value="6.5"), row(item=""))
    made = bring(world.manager, content)
    assert (made.rows, made.added, made.known, made.refused_count) == (4, 2, 0, 2)
    assert [line for line, _ in made.refused] == [3, 5]
    assert "no probe “P9”" in made.refused[0][1] and "“warm” is not a number" in made.refused[0][1]
    assert sorted(Reading.objects.values_list("item", "value_milli")) == [("milk", 4000), ("soup", 6500)]


def test_of_all_that_somebody_may_write_to_only_the_sites_that_a_file_names_are_read(world):
    mentioned = read_through(csv_file(row(site=" ALDER school "), row(site="North / Nowhere", taken_by="")))
    book = Book(world.supervisor, mentioned)
    assert {place.pk for [place] in book.places.read.exact.values()} == {world.site.pk}
    assert list(book.people.read.exact) == [""]  # nobody is named, so nobody is looked up
    assert world.other_site in sites_of(world.supervisor)


def test_every_fact_of_a_row_arrives(world):
    bring(
        world.manager,
        csv_file(
            row(
                item='"pie, fish"',
                value="39.4",
                unit="F",
                taken_at="2026-01-05T08:00:05+02:00",
                held_s="15",
                note="top shelf",
                taken_by="COL.ESKER@example.test",
            )
        ),
    )
    reading = Reading.objects.get()
    assert (reading.item, reading.typed, reading.unit, reading.value_milli) == ("pie, fish", "39.4", "F", 4111)
    assert (reading.hold_s, reading.note, reading.taken_by, reading.recorded_by) == (
        15,
        "top shelf",
        world.cook,
        world.manager,
    )
    assert reading.taken_at.isoformat() == "2026-01-05T06:00:05+00:00"
    assert (reading.probe, reading.site, reading.limit_version.limit) == (world.probe, world.site, world.limit)
    assert reading.source == Import.objects.get()


def test_the_same_file_twice_adds_nothing(world):
    bring(world.manager, many(30, value="6"))
    again = bring(world.manager, many(30, value="6"))
    assert (again.added, again.known, again.breaches) == (0, 30, 0)
    assert (Reading.objects.count(), Deviation.objects.count()) == (30, 30)


def test_a_reading_taken_on_the_page_is_known_to_a_file(world):
    reading = take(world)
    content = csv_file(
        row(taken_at=reading.taken_at.isoformat()), row(item="soup", taken_at=reading.taken_at.isoformat())
    )
    assert (bring(world.manager, content).added, Reading.objects.count()) == (1, 2)


def test_a_reading_that_was_struck_out_does_not_come_back(world):
    bring(world.manager, many(1))
    void(by=world.manager, reading=Reading.objects.get(), reason="measured by nobody")
    assert bring(world.manager, many(1)).added == 0


def test_breaches_open_deviations_in_words(world):
    made = bring(world.manager, csv_file(row(value="5.0"), row(item="cream", value="5.1")))
    assert made.breaches == 1
    deviation = Deviation.objects.get()
    assert (deviation.reading.item, deviation.why) == ("cream", "5.1 °C is above the limit of at most 5 °C")


def test_a_row_is_judged_by_the_version_of_its_time(world):
    make_version(world.limit, by=world.manager, value="3", effective_from="2026-01-06T00:00Z")
    bring(world.manager, csv_file(row(taken_at="2026-01-05T23:59Z"), row(taken_at="2026-01-06T00:00Z")))
    assert [d.reading.taken_at.day for d in Deviation.objects.all()] == [6]


def test_the_trail_and_the_import_say_what_happened(world):
    made = bring(world.manager, csv_file(row(), row(item="")))
    entry = Entry.objects.get(action="reading.import")
    assert (entry.actor_id, entry.subject_id, entry.site_id) == (world.manager.pk, made.pk, world.site.pk)
    assert (entry.data["added"], entry.data["refused"]) == (1, 1)


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"site": "Nowhere"}, "no site “Nowhere”"),
        ({"probe": "P9"}, "no probe “P9”"),
        ({"limit": "x"}, "short name “x”"),
        ({"item": "  "}, "item is missing"),
        ({"item": "x" * 121}, "longer than 120"),
        ({"value": ""}, "value is missing"),
        ({"value": "4..0"}, "not a number"),
        ({"value": "-300"}, "colder than anything"),
        ({"unit": "K"}, "write C or F"),
        ({"taken_at": ""}, "time is missing"),
        ({"taken_at": "2026-01-05"}, "time of day"),
        ({"taken_at": "5 Jan 2026 noon"}, "cannot be read"),
        ({"taken_at": "2026-03-11T12:01Z"}, "has not come yet"),
        ({"taken_at": "1989-01-05T10:00"}, "before 1990"),
        ({"held_s": "-3"}, "whole seconds"),
        ({"held_s": "9" * 9}, "whole seconds"),
        ({"taken_by": "nobody@example.test"}, "nobody here"),
        ({"taken_at": "2019-12-31T23:59Z"}, "not in force"),
    ],
)
def test_a_bad_cell_is_named(world, cells, words):
    assert words in why_refused(world.manager, row(**cells))


def test_a_row_with_a_comma_too_many_says_so(world):
    assert "quotation marks" in why_refused(world.manager, row(item="pie, fish"))


def test_a_row_twice_in_one_file_comes_in_once(world):
    made = bring(world.manager, csv_file(row(), row(item="soup"), row(value="4.00")))
    assert made.refused == [[4, SAME.format(2)]] and made.added == 2


def test_hours_that_the_clocks_skip_or_repeat_are_refused_in_words(world):
    made = bring(
        world.manager,
        csv_file(
            row(taken_at="2025-03-30T01:30"),
            row(taken_at="2025-10-26T01:30"),
            row(taken_at="2025-10-26T01:30+01:00"),
            row(taken_at="2025-10-26T00:30"),
            row(taken_at="2025-10-26T02:30"),
            row(taken_at="2025-07-01T12:00"),
        ),
    )
    assert [line for line, _ in made.refused] == [2, 3]
    assert "skipped" in made.refused[0][1] and "+01:00" in made.refused[1][1]
    taken = Reading.objects.order_by("taken_at").values_list("taken_at", flat=True)
    assert [f"{at:%d %H:%M}" for at in taken] == ["01 11:00", "25 23:30", "26 00:30", "26 02:30"]


def test_doubts_are_accepted_and_mentioned(world):
    make_probe(world.other_site, "P2", by=world.manager)
    made = bring(
        world.manager,
        csv_file(
            row(value="-45"),
            row(taken_at="2024-05-01T10:00Z"),
            row(probe="P2"),
            row(item="soup"),
            row(item="stew", value="165", unit="C"),
        ),
    )
    assert made.added == 5 and [line for line, _ in made.doubts] == [2, 3, 4, 6]
    assert made.doubts[-1][1].startswith("165 °C is hotter than food gets: is the display in °F?")
    told = " ".join(words for _, words in made.doubts)
    assert "outside the working range" in told and "not been placed anywhere yet" in told and "another site" in told


def test_rows_of_a_site_where_i_may_not_record_are_refused(world):
    make_limit(world.other_site, by=world.manager)
    made = bring(world.cook, csv_file(row(), row(site="Birch House"), row(site="Elsewhere Canteen")))
    assert [line for line, _ in made.refused] == [3, 4] and made.added == 1
    assert bring(world.supervisor, csv_file(row(site="Birch House"))).added == 1
    assert bring(world.reader, csv_file(row(item="eggs"))).added == 0


def test_sites_of_one_name_are_told_apart_by_their_area(world):
    twin = make_site(make_area(world.business, "West"), "Alder School")
    make_limit(twin, by=world.manager)
    both = make_person("Ada Quill", 40, area=twin.area)
    both.memberships.create(role=40, area=world.area)
    made = bring(both, csv_file(row(), row(site="West / Alder School"), row(site="north / alder school")))
    assert [line for line, _ in made.refused] == [2] and "area before it" in made.refused[0][1]
    assert set(Reading.objects.values_list("site", flat=True)) == {twin.pk, world.site.pk}
    assert made.site is None and made.sites == sorted([world.site.pk, twin.pk])


def test_a_preview_writes_nothing(world):
    found = preview(csv_file(row(), row(value="9", item="ham"), row(value="x")), world.manager)
    assert (found.good, found.rows, found.breaches, len(found.bad), found.before) == (2, 3, 1, 1, None)
    assert not Reading.objects.exists() and not Import.objects.exists()


def test_a_file_of_more_than_one_batch_goes_in_whole(world, monkeypatch):
    monkeypatch.setattr("compliance.readings.importing.rows.batches.__defaults__", (7,))
    assert bring(world.manager, many(20)).added == 20
    assert bring(world.manager, many(25)).added == 5


def test_a_file_with_too_many_rows_is_refused_whole(world, monkeypatch):
    monkeypatch.setattr("compliance.readings.importing.rows.batches.__defaults__", (2,))
    monkeypatch.setattr("compliance.readings.importing.layout.MOST_ROWS", 5)
    with pytest.raises(FileRefused, match="Split it"):
        bring(world.manager, many(6))
    assert not Reading.objects.exists() and not Entry.objects.exists()


@pytest.fixture
def in_sevens(monkeypatch):
    """Files come in seven rows at a time."""
    monkeypatch.setattr("compliance.readings.importing.rows.batches.__defaults__", (7,))


def test_each_piece_of_a_long_file_says_what_became_of_its_rows(world, in_sevens):
    take(world, item="milk", typed="4.0", taken_at=START)  # the first row
    rows = many(20).decode().splitlines()
    made = bring(world.manager, "\n".join([*rows, row(item=""), rows[1]]).encode())
    assert (made.rows, made.added, made.known, made.refused_count) == (22, 19, 1, 2)
    assert made.refused == [[22, "the item is missing: say which food or unit was measured"], [23, SAME.format(2)]]
    assert [(part.part_of, part.rest_after) for part in made.parts] == [
        (None, 8),
        (made.first, 15),
        (made.first, 22),
        (made.first, None),
    ]
    told = Entry.objects.filter(action="reading.import").order_by("pk").values_list("subject_id", "data")
    assert [(pk, data["rows"], data["added"], data["known"], data["refused"]) for pk, data in told] == [
        (part.pk, part.rows, part.added, part.known, part.refused_count) for part in made.parts
    ]
    assert [part.readings.count() for part in made.parts] == [6, 7, 6, 0]


def test_a_file_that_was_stopped_half_way_says_where_and_comes_in_again_with_the_rest(world, in_sevens, as_person):
    content, client = many(20, value="6"), as_person(world.manager)
    coming = import_parts(by=world.manager, file_name="week.csv", content=content)
    first = next(coming)
    coming.close()
    assert (Reading.objects.count(), Deviation.objects.count()) == (7, 7)
    page = client.get(reverse("import_detail", args=[first.pk])).content.decode()
    assert "Stopped after line 8" in page and "only the rest is added" in page
    assert preview(content, world.manager).before.rest_after == 8
    again = bring(world.manager, content)
    assert (again.added, again.known, again.rest_after) == (13, 7, None)
    assert (Reading.objects.count(), Deviation.objects.count()) == (20, 20)
    page = client.get(reverse("import_detail", args=[again.parts[-1].pk])).content.decode()
    assert "Stopped" not in page and preview(content, world.manager).before.rest_after is None


def test_what_is_entered_while_a_file_comes_in_is_not_doubled(world, in_sevens):
    coming = import_parts(by=world.manager, file_name="week.csv", content=many(14))
    next(coming)
    take(world, item="milk", typed="4.0", taken_at=START + timedelta(minutes=10))
    assert [(part.added, part.known) for part in coming] == [(6, 1)]
    assert Reading.objects.count() == 14


def test_whoever_has_a_role_at_one_site_of_a_long_file_sees_it_by_any_piece(world, in_sevens, as_person):
    make_limit(world.other_site, by=world.manager)
    lines = [*many(7).decode().splitlines(), row(site="Birch House")]
    made = bring(world.supervisor, "\n".join(lines).encode())
    assert made.sites == sorted([world.site.pk, world.other_site.pk]) and made.site is None
    for part in made.parts:
        assert as_person(world.reader).get(reverse("import_detail", args=[part.pk])).status_code == 200
        assert as_person(world.stranger).get(reverse("import_detail", args=[part.pk])).status_code == 404


def test_no_more_reasons_are_kept_than_may_be_and_all_are_counted(world, in_sevens, monkeypatch):
    monkeypatch.setattr("compliance.readings.importing.bring.SentFile.__init__.__defaults__", (None, 9, 9))
    made = bring(world.manager, many(20, item=""))
    assert (len(made.refused), made.refused_count) == (9, 20)
