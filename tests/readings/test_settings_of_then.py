"""Pages and files about the past name the probe and the site as they were then, on the clock and in the unit of then."""

import csv
import io
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.checks.instruments import amend_probe
from compliance.probes.models import Probe
from compliance.reminders.planning import change_site
from sites.models import Site
from tests.checks import making
from tests.readings.files import csv_file, row
from tests.records.making import at, take
from tests.world import make_probe

WHY = "Agreed with the inspector."


def change(world, **given):
    amend_probe(
        by=world.manager, probe=Probe.objects.get(pk=world.probe.pk), changes={"code": "Z9"}, reason=WHY, **given
    )
    changes = {"name": "Elder Annexe", "unit": "F", "time_zone": "Pacific/Auckland"}
    change_site(by=world.supervisor, site=Site.objects.get(pk=world.site.pk), changes=changes, reason=WHY, **given)


@pytest.fixture
def made(world, clock):
    """A check and a reading beyond its limit, on 10 March at noon in London."""
    clock.move_to(at(10, 13))
    return {
        "check_detail": making.good(world.probe, world.cook, at(10, 12)),
        "reading_detail": take(world, "9.5", at(10, 12)),
    }


def page(client, name, *args) -> str:
    return client.get(reverse(name, args=args)).content.decode().split("<main")[1]


@pytest.mark.parametrize("name", ["check_detail", "reading_detail"])
def test_the_page_of_an_act_says_what_was_set_when_it_was_done(world, made, clock, as_person, name):
    clock.move_to(at(12, 9))
    client, pk = as_person(world.supervisor), made[name].pk
    before = page(client, name, pk)
    change(world)
    after = page(client, name, pk)
    assert "P1" in after and "12:00" in after and "Alder School" in after and "GMT" in after
    assert "Z9" not in after.replace("Check Z9 now", "").replace("Measure again with Z9", "") and "Elder" not in after
    assert ("°F" in after) == ("°F" in before)


def test_lists_say_it_of_each_line(world, made, clock, as_person):
    clock.move_to(at(12, 9))
    change(world)
    take(world, "44.0", at(12, 9), unit="F")
    client = as_person(world.supervisor)
    listed = page(client, "reading_list")
    listed = listed.split("<table")[1]
    assert listed.count("P1") == listed.count("Z9") == 1 and "9.5 °C" in listed and "44.0 °F" in listed
    assert "12:00" in listed and "22:00" in listed
    assert "12:00" in page(client, "deviation_list")


def test_a_correction_is_what_the_page_says(world, made, as_person):
    change(world, corrects=True)
    told = page(as_person(world.supervisor), "reading_detail", made["reading_detail"].pk)
    assert "Z9" in told and "Elder Annexe" in told and "P1" not in told and "NZDT" in told


def test_a_file_names_them_as_they_are_called_now_and_beside_it_as_then(world, made, clock, as_person):
    clock.move_to(at(12, 9))
    change(world)
    answer = as_person(world.supervisor).get(reverse("reading_export"))
    (line,) = csv.DictReader(io.StringIO(b"".join(answer).decode("utf-8-sig")))
    assert (line["site"], line["probe"], line["taken_at"]) == ("Elder Annexe", "Z9", "2026-03-10T12:00:00+00:00")
    assert (line["site_then"], line["probe_then"]) == ("Alder School", "P1")


def test_the_working_range_of_then_is_asked_of_a_reading_of_then(world, made, clock, as_person):
    clock.move_to(at(12, 9))
    amend_probe(by=world.manager, probe=world.probe, changes={"lowest_milli": 0, "highest_milli": 5_000}, reason=WHY)
    assert "outside the working range" not in page(
        as_person(world.supervisor), "reading_detail", made["reading_detail"].pk
    )


def test_the_list_is_as_quick_for_three_times_as_many_probes_that_were_changed(world, made, clock, as_person):
    counts = []
    clock.move_to(at(12, 9))
    for numbers in (range(2), range(2, 8)):
        for number in numbers:
            probe = make_probe(world.site, f"K{number}", by=world.manager, limits=[world.limit])
            take(world, "3.0", timezone.now(), probe=probe)
            clock.shift(timedelta(minutes=1))
            amend_probe(by=world.manager, probe=probe, changes={"code": f"L{number}"}, reason=WHY)
        client = as_person(world.supervisor)
        with CaptureQueriesContext(connection) as queries:
            listed = page(client, "reading_list").split("<table")[1]
        counts.append(len(queries))
    assert counts[0] == counts[1] and "K7" in listed and "L7" not in listed


@pytest.mark.parametrize(("code", "known"), [("Z9", True), ("P1", False)])
def test_a_file_names_a_probe_by_the_code_that_it_has_now(world, made, clock, as_person, code, known):
    clock.move_to(at(12, 9))
    change(world)
    content = csv_file(row(site="Elder Annexe", probe=code, taken_at="2026-03-10T08:00"))
    upload = io.BytesIO(content)
    upload.name = "readings.csv"
    looked = as_person(world.supervisor).post(reverse("reading_import"), {"file": upload}, follow=True).content.decode()
    assert ("there is no probe “P1” in this business" in looked) is not known
