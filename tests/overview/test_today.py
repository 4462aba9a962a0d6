"""The page of a day: what is to do at a site, the most urgent first."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.overview.queries import end_of_today
from compliance.readings.models import Deviation
from tests.checks.making import bad, good
from tests.world import make_probe, make_reading, make_site


def days_ago(number):
    return timezone.now() - timedelta(days=number)


def today(client, site):
    return client.get(reverse("today_site", args=[site.pk])).content.decode()


def test_the_way_in_leads_to_my_own_site(as_person, manager, site):
    assert as_person(manager).get(reverse("today")).url == reverse("today_site", args=[site.pk])


def test_a_probe_never_checked_is_to_be_checked_now(as_person, manager, site, probe):
    text = today(as_person(manager), site)
    assert reverse("zero_check", args=[probe.pk]) in text
    assert "Overdue" in text


def test_a_probe_checked_today_asks_for_nothing(as_person, world):
    good(world.probe, world.cook, days_ago(0.01))
    text = today(as_person(world.manager), world.site)
    assert reverse("zero_check", args=[world.probe.pk]) not in text
    assert "All done" in text


@pytest.mark.parametrize(("passed", "asked"), [(8, True), (6.9, True), (5, False)])
def test_a_check_falls_due_a_week_after_the_last_one(as_person, world, clock, passed, asked):
    good(world.probe, world.cook, days_ago(passed))
    text = today(as_person(world.manager), world.site)
    assert (reverse("zero_check", args=[world.probe.pk]) in text) is asked


def test_readings_in_quarantine_are_counted_and_lead_to_their_case(as_person, world):
    good(world.probe, world.cook, days_ago(7))
    make_reading(world.probe, world.limit, "4.0", days_ago(3), by=world.cook)
    check = bad(world.probe, world.cook, days_ago(1))
    text = today(as_person(world.manager), world.site)
    assert "1 reading to decide on" in text
    assert reverse("case_detail", args=[f"check-{check.pk}"]) in text


def test_an_open_deviation_is_shown_until_somebody_acts(as_person, world):
    reading = make_reading(world.probe, world.limit, "9.0", days_ago(1), by=world.cook)
    deviation = Deviation.objects.create(reading=reading, why="above the limit", recorded_by=world.cook)
    assert reverse("deviation_detail", args=[deviation.pk]) in today(as_person(world.manager), world.site)


def test_all_open_deviations_are_counted_though_ten_are_shown(as_person, world):
    for number in range(11):
        reading = make_reading(world.probe, world.limit, "9.0", days_ago(number), by=world.cook)
        Deviation.objects.create(reading=reading, why="above the limit", recorded_by=world.cook)
    text = today(as_person(world.manager), world.site)
    assert '<span class="tile-value">11</span>' in text
    assert "All deviations" in text


def test_a_reader_sees_the_day_without_anything_to_tap(as_person, world):
    text = today(as_person(world.reader), world.site)
    assert "Check now" not in text
    assert reverse("reading_add") not in text


def test_a_stranger_finds_nothing(as_person, stranger, site):
    assert as_person(stranger).get(reverse("today_site", args=[site.pk])).status_code == 404


def failed_probe(world, code):
    probe = make_probe(world.site, code, by=world.manager)
    good(probe, world.cook, days_ago(9))
    make_reading(probe, world.limit, "4.0", days_ago(8), by=world.cook)
    beyond = make_reading(probe, world.limit, "9.0", days_ago(7), by=world.cook)
    Deviation.objects.create(reading=beyond, why="above the limit", recorded_by=world.cook)
    bad(probe, world.cook, days_ago(2))


def test_the_number_of_queries_does_not_grow_with_the_probes(as_person, world):
    client = as_person(world.manager)
    failed_probe(world, "Q0")
    today(client, world.site)
    with CaptureQueriesContext(connection) as few:
        today(client, world.site)
    for number in range(1, 4):
        failed_probe(world, f"Q{number}")
    with CaptureQueriesContext(connection) as many:
        today(client, world.site)
    assert len(many) == len(few)


def test_a_day_ends_at_midnight_on_the_clock_of_the_site(area):
    site = make_site(area, "Dawn Kitchen")
    site.time_zone = "Pacific/Auckland"
    assert end_of_today(site, datetime(2026, 7, 1, 13, 0, tzinfo=UTC)) == datetime(2026, 7, 2, 12, 0, tzinfo=UTC)
