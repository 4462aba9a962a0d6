"""Readings that a phone kept without network: recorded once, with their own time, under the name of who took them."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client

from compliance.plans.actions import set_round
from compliance.plans.data import RoundData
from compliance.probes.models import EventKind
from compliance.readings.models import Reading
from shared.kept_pages import mark_of
from tests.checks import making
from tests.phone.sending import Phone
from tests.reminders.making import come

pytestmark = pytest.mark.django_db
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


def on(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 3, 11, hour, minute, tzinfo=UTC)


@pytest.fixture
def phone(clock, client, world):
    """At noon; the probe passed a check in the morning."""
    making.good(world.probe, world.cook, on(7))
    return Phone(client, world, world.cook)


def test_it_is_taken_when_it_was_typed_and_says_how_the_phone_had_it(phone, world, as_person):
    answer = phone.reading(on(9, 12))
    reading = Reading.objects.get()
    assert answer == {"recorded": f"/readings/{reading.pk}/", "look": False}
    assert (reading.taken_at, reading.recorded_at, reading.taken_by) == (on(9, 12), on(12), world.cook)
    assert reading.phone == {"at": "2026-03-11T09:12:02+00:00", "off_s": 2}
    page = as_person(world.cook).get(answer["recorded"]).content.decode()
    assert "11 Mar 2026 09:12 GMT by its own clock, which was 2 s ahead" in page
    assert "11 Mar 2026 12:00 GMT by Col Esker" in page


def test_one_beyond_its_limit_opens_a_deviation_that_is_to_be_looked_at(phone):
    assert phone.reading(on(9), typed="9.4")["look"] is True
    assert phone.reading(on(9), typed="9.4")["look"] is True
    assert Reading.objects.filter(deviation__isnull=False).count() == 2


def test_sent_again_it_is_recorded_once_also_where_the_first_answer_was_lost(phone, world):
    sent = {"key": uuid.uuid4().hex}
    assert phone.reading(on(9), **sent) == phone.reading(on(9), **sent)
    phone.ahead += 3 * HOUR  # whose clock was set meanwhile
    assert "recorded" in phone.reading(on(9), **sent)
    assert Reading.objects.count() == 1


def test_one_that_reached_the_server_before_the_network_went_keeps_the_time_it_has_there(phone, world, client):
    sent = {"key": uuid.uuid4().hex}
    client.force_login(world.cook)
    form = {"probe": world.probe.pk, "limit": world.limit.pk, "item": "milk", "typed": "4.0", "unit": "C", **sent}
    client.post(f"/readings/add/?site={world.site.pk}", form)
    assert "recorded" in phone.reading(on(11, 59), **sent)
    reading = Reading.objects.get()
    assert (reading.taken_at, reading.phone) == (on(12), None)


def test_another_reading_under_a_key_that_was_used_is_asked_about(phone):
    sent = {"key": uuid.uuid4().hex}
    phone.reading(on(9), **sent)
    answer = phone.reading(on(9), typed="5.0", **sent)
    assert answer["question"] == "another" and "already sent" in answer["refused"]
    assert Reading.objects.count() == 1


def test_what_is_refused_comes_back_with_its_reason(phone, world):
    making.bad(world.probe, world.cook, on(8))
    assert "Do not use P1" in phone.reading(on(9))["refused"]
    assert "recorded" in phone.reading(on(9), used_despite="No other one was in the walk-in.")
    assert phone.reading(on(9), typed="four")["refused"].startswith("Temperature on the display: ")
    assert Reading.objects.count() == 1


def test_one_that_looks_mistyped_comes_back_until_somebody_says_that_it_is_right(phone):
    for hour in (8, 9, 10):
        phone.reading(on(hour))
    answer = phone.reading(on(11), typed="400")
    assert answer["question"] == "all_the_same" and answer["refused"]
    assert "recorded" in phone.reading(on(11), typed="400", all_the_same="on")


def test_nothing_is_recorded_under_another_name(phone, world):
    told = {"person": mark_of(world.manager)}
    assert phone.reading(on(9), **told) == {"other": True}
    assert not Reading.objects.exists()


def test_who_may_record_nothing_there_gets_nowhere(phone, world, client):
    for person, status in ((world.reader, 403), (world.stranger, 404)):
        client.force_login(person)
        told = {"what": "reading", "person": mark_of(person), **phone.times(on(9))}
        assert client.post(f"/phone/send/?site={world.site.pk}", told).status_code == status
    assert Client().post("/phone/send/", {"what": "reading"}).headers["Location"].startswith("/sign-in/")


def test_a_clock_far_off_is_asked_about_and_what_was_answered_holds(phone):
    phone.ahead = 47 * MINUTE
    assert phone.reading(on(9)) == {"asks": "now"}
    assert not Reading.objects.exists()
    phone.reading(on(9), phone_said=46 * 60_000)
    reading = Reading.objects.get()
    assert reading.taken_at == on(9, 1)
    assert reading.phone == {"at": "2026-03-11T09:47:00+00:00", "off_s": 47 * 60, "said_s": 46 * 60}


def test_a_time_that_makes_no_sense_is_refused_in_words(phone):
    assert "time of the phone" in phone.reading(on(9), phone_at="soon")["refused"]
    assert "time of the phone" in phone.reading(on(9), phone_at=str(1 << 53))["refused"]


def test_of_two_phones_with_one_round_both_are_kept_and_the_earlier_clears(clock, client, world):
    making.good(world.probe, world.cook, on(7))
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[on(8).time()], grace_minutes=60))
    clock.move_to(on(8) + timedelta(days=1, hours=3))
    later, earlier = Phone(client, world, world.manager), Phone(client, world, world.cook)
    day = timedelta(days=1)
    later.reading(on(8, 20) + day, typed="4.4")
    earlier.reading(on(8, 10) + day, typed="4.1")
    assert list(Reading.objects.order_by("taken_at").values_list("typed", flat=True)) == ["4.1", "4.4"]
    [row] = come(due_at=on(8) + day)
    assert (row.status, row.cleared_at) == ("cleared", on(8, 10) + day)


def test_a_probe_that_failed_on_another_phone_meanwhile_clears_no_round(phone, world):
    making.event(world.probe, world.cook, EventKind.ADJUSTED, on(8))
    phone.reading(on(9), used_despite="The only one.")
    assert Reading.objects.get().vouched is False
