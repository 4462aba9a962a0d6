"""The list of days, the sheet that is read and signed, and where a day that nobody reviewed stands."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.notices.digests import digests
from compliance.notices.models import Notified
from compliance.notices.recipients import Kind
from compliance.readings import actions as readings
from compliance.readings.data import ActData
from compliance.readings.models import Deviation
from compliance.records.sections import reviews, summary
from compliance.reviews.models import Review
from tests.checks import making
from tests.records.making import scope_of, sections_of
from tests.world import make_reading

NOON = datetime(2026, 3, 11, 12, tzinfo=UTC)
DAY = "first=2026-03-11&last=2026-03-11"


@pytest.fixture
def day(world, clock):
    clock.move_to(NOON)
    reading = make_reading(world.probe, world.limit, "7.2", NOON, by=world.cook)
    Deviation.objects.create(reading=reading, why="2.2 °C above the limit", recorded_by=world.cook)
    clock.move_to(NOON + timedelta(days=20))


@pytest.fixture
def sheet(world):
    return f"{reverse('review_sheet', args=[world.site.pk])}?{DAY}"


def text(answer) -> str:
    return answer.content.decode()


def test_the_sheet_tells_the_day_and_is_signed_by_who_made_none_of_it(world, day, sheet, as_person):
    shown = text(as_person(world.supervisor).get(sheet))
    assert (
        "2.2 °C above the limit" in shown and "Nothing is recorded of what was done." in shown and "Col Esker" in shown
    )
    sent = as_person(world.supervisor).post(sheet, {"meaning": "reviewed", "remarks": "Seen.", "after": "1"})
    assert sent.status_code == 302
    shown = text(as_person(world.supervisor).get(sheet))
    assert "Sol Venn" in shown and "made none of them" in shown and ">Sign</button>" not in shown


def test_a_reading_in_quarantine_is_seen_to_be_one(world, clock, sheet, as_person):
    clock.move_to(NOON + timedelta(days=2))
    making.good(world.probe, world.cook, NOON - timedelta(days=1))
    make_reading(world.probe, world.limit, "3.0", NOON, by=world.cook)
    assert "Quarantined" not in text(as_person(world.supervisor).get(sheet))
    making.bad(world.probe, world.cook, NOON + timedelta(days=1))
    assert "Quarantined" in text(as_person(world.supervisor).get(sheet))


def test_who_made_a_record_is_told_whose_records_stand_in_the_way(world, clock, sheet, as_person):
    clock.move_to(NOON + timedelta(days=2))
    make_reading(world.probe, world.limit, "3.0", NOON, by=world.manager)
    assert "you made some of the readings" in text(as_person(world.manager).get(sheet))
    refused = as_person(world.manager).post(sheet, {"meaning": "reviewed", "after": "1"})
    assert refused.status_code == 422 and not Review.objects.exists()


def test_a_cook_reads_the_sheet_and_signs_nothing(world, day, sheet, as_person):
    assert ">Sign</button>" not in text(as_person(world.cook).get(sheet))
    assert as_person(world.cook).post(sheet, {"meaning": "reviewed"}).status_code == 403


def test_a_day_that_nobody_reviewed_stands_on_the_lists_of_those_who_can(world, day, as_person):
    today, area = reverse("today_site", args=[world.site.pk]), reverse("area_detail", args=[world.area.pk])
    assert "1 not reviewed in time" in text(as_person(world.manager).get(today))
    assert "1 not reviewed in time" not in text(as_person(world.cook).get(today))
    assert "day not reviewed in time" in text(as_person(world.supervisor).get(area))
    assert "Not reviewed in time" in text(as_person(world.reader).get(reverse("review_list", args=[world.site.pk])))


def test_the_message_of_the_week_names_the_days_to_review(world, day, clock):
    Notified.objects.create(kind=Kind.DIGEST, number=world.area.pk, at=timezone.now() - timedelta(days=1))
    [message] = [message for gathered in digests(timezone.now()) for message in gathered.messages]
    [item] = [item for item in message.items if "review" in item.title]
    assert (item.title, item.says) == ("Alder School: 1 day to review", "1 not reviewed in time.")
    assert item.link == reverse("review_list", args=[world.site.pk])


def test_the_first_page_counts_the_days_and_a_section_names_who_signed(world, day, sheet, as_person):
    scope = scope_of(world.site, date(2026, 3, 9), date(2026, 3, 13))
    assert "1 waiting for review, 1 of them not reviewed in time" in sections_of(scope, summary)
    as_person(world.supervisor).post(sheet, {"meaning": "reviewed", "remarks": "Fridge door mended.", "after": "1"})
    told = sections_of(scope_of(world.site, date(2026, 3, 9), date(2026, 3, 13)), summary, reviews)
    assert "1 day reviewed." in told and "Fridge door mended." in told and "Sol Venn" in told


def test_a_longer_list_asks_no_more_often(world, clock, day, as_person):
    def asked(address) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert as_person(world.supervisor).get(address).status_code == 200
        return len(queries)

    addresses = [reverse("review_list", args=[world.site.pk]), f"{reverse('review_sheet', args=[world.site.pk])}?{DAY}"]

    def more(number: int) -> None:
        reading = make_reading(world.probe, world.limit, "7.9", NOON + timedelta(minutes=number), by=world.cook)
        Deviation.objects.create(reading=reading, why="2.9 °C above the limit", recorded_by=world.cook)
        act = ActData(
            action="Moved it", cause="Door was open", disposition="discarded", done_at=reading.taken_at, note="Nobody"
        )
        readings.act_on_deviation(by=world.manager, deviation=reading.deviation, data=act)
        readings.void(by=world.manager, reading=make_again(reading), reason="Entered twice")
        making.good(world.probe, world.cook, NOON + timedelta(hours=3, minutes=number))

    def make_again(reading):
        return make_reading(world.probe, world.limit, "3.0", reading.taken_at, by=world.cook)

    more(1)
    [asked(address) for address in addresses]
    before = [asked(address) for address in addresses]
    for number in range(2, 5):
        more(number)
    assert [asked(address) for address in addresses] == before
