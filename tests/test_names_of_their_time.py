"""Whatever was written before somebody was given another name tells of the name of its time: prints, files and lists. (Pages are
walked by tests/test_every_page.py.)
"""

import csv
import io
import re
from collections import namedtuple
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from compliance.checks.access import get_check
from compliance.records.check_record import write_check
from compliance.records.people import People
from sites.actions import grant, rename_person
from sites.models import Person, Role
from sites.names import Name
from tests.checks import making
from tests.printed_text import words_of
from tests.records.making import at, correct, record_of, section, take
from tests.world import make_person

NEW = "Zyx"
Changed = namedtuple("Changed", "recorded_at name initials former_name former_initials")


@pytest.fixture
def head(world):
    person = make_person("Ida Moss", Role.SUPERVISOR, area=world.area)
    grant(by=None, person=person, role=Role.SUPERVISOR, area=world.far_area)
    return person


def rename(by, *people, initials="ZZ"):
    for person in people:
        given = person.name.split()[0]
        rename_person(by=by, person=person, name=f"{given} {NEW}", initials=initials, reason="Married.")


@pytest.fixture
def renamed(world, head, clock):
    """A cook who checked, read and corrected as Col Esker until 20 March, 15:00, and as Col Zyx since."""
    clock.move_to(at(10, 12))
    made = {"check": making.good(world.probe, world.cook, at(10, 7)), "wrong": take(world, "4.0", at(10, 9))}
    made["right"] = correct(world, made["wrong"], "4.1", "Mistyped")
    clock.move_to(at(20, 15))
    rename(head, world.cook)
    world.cook.refresh_from_db()
    clock.move_to(at(25, 12))
    made["after"] = take(world, "3.0", at(25, 9), item="Cream")
    making.good(world.probe, world.cook, at(25, 7))
    clock.move_to(at(2, 12, month=4))
    return made


def test_a_record_printed_later_gives_each_line_the_name_of_its_time(renamed, world):
    text = record_of(world.site)
    checks = section(text, "Probes and their checks")
    assert "In tolerance CE" in checks and "In tolerance ZZ" in checks
    readings = section(text, "Readings")
    assert re.search(r"Struck out by CE, 10 Mar 2026 12:00", readings) and re.search(r"Cream .* ZZ ", readings)
    people = section(text, "People named in this record")
    assert "CE Col Esker" in people and "ZZ Col Zyx" in people
    changed = people.split("Changes of name")[1]
    assert "20 Mar 2026 15:00 Col Esker (CE) Col Zyx (ZZ) Ida Moss (IM) Married." in changed


def test_a_record_that_ends_before_the_change_prints_the_name_of_then_and_what_came_of_it(renamed, world):
    people = section(record_of(world.site, last=at(15).date()), "People named in this record")
    assert "CE Col Esker" in people and "20 Mar 2026 15:00 Col Esker (CE) Col Zyx (ZZ)" in people
    later = section(record_of(world.site, first=at(21).date()), "People named in this record")
    assert "ZZ Col Zyx" in later and "Col Esker" not in later


def test_one_mark_for_two_names_with_the_same_initials():
    changes = {1: [Changed(at(5), "Mara Hart", "MH", "Mara Holt", "MH")]}
    people = People({1: Name("Mara Hart", "MH"), 2: Name("Miles Harrow", "MH")}, changes)
    assert [people.initials(1, at(6)), people.initials(1, at(4)), people.initials(2, at(4))] == ["MH", "MH", "MH2"]
    assert [people.full(1, at(5)), people.full(1, at(6))] == ["Mara Holt (MH)", "Mara Hart (MH)"]
    assert people.key() == [("MH", "Mara Holt, then Mara Hart"), ("MH2", "Miles Harrow")]


def test_the_print_of_a_check_gives_the_name_of_its_time_and_the_one_since(renamed, head):
    out = io.BytesIO()
    write_check(out, get_check(head, renamed["check"].pk), printed_by=head.name, now=timezone.now())
    text = words_of(PdfReader(io.BytesIO(out.getvalue())))
    assert (
        "By Col Esker" in text
        and "by Col Esker Stage" in text
        and "Name changed Col Esker is called Col Zyx since 20 Mar 2026 15:00" in text
    )
    assert text.count(NEW) == 1 and "Col Esker" in text.split("Signatures")[1]


def test_a_file_of_readings_gives_the_name_of_its_time(renamed, head, as_person):
    answer = as_person(head).get(reverse("reading_export"))
    rows = list(csv.DictReader(io.StringIO(b"".join(answer).decode("utf-8-sig"))))
    assert [(row["value"], row["taken_by_name"]) for row in rows] == [("4.1", "Col Esker"), ("3.0", "Col Zyx")]


def people_who_changed(world, head, clock, number):
    """So many cooks who each checked, read, and had something happen to the probe, before they got another name."""
    hour = timezone.now() - timedelta(hours=30)
    for each in range(number):
        cook = make_person(f"Cook Nr{Person.objects.count()}", Role.COOK, site=world.site)
        making.good(world.probe, cook, hour + timedelta(minutes=each))
        making.event(world.probe, cook, "dropped", hour + timedelta(minutes=each, seconds=5))
        take(world, "9.0", hour + timedelta(minutes=each, seconds=30), by=cook)
        clock.shift(1)
        rename(head, cook)


LISTS = ["probe_detail", "deviation_list", "reading_export", "record"]


def test_names_of_three_times_as_many_people_take_no_more_queries(world, head, as_person, clock):
    client = as_person(head)

    def asked(name):
        with CaptureQueriesContext(connection) as caught:
            if name == "record":
                text = record_of(world.site)
            else:
                args = [world.probe.pk] if name == "probe_detail" else []
                answer = client.get(reverse(name, args=args))
                text = (b"".join(answer) if answer.streaming else answer.content).decode()
        assert "Cook Nr" in text, name
        return len(caught)

    people_who_changed(world, head, clock, 1)
    for name in LISTS:
        asked(name)  # what is kept from the first time on
    before = {name: asked(name) for name in LISTS}
    people_who_changed(world, head, clock, 2)
    assert {name: asked(name) for name in LISTS} == before
