"""The calendar feed: read back with the library, and its bytes held against RFC 5545."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from icalendar import Calendar

from compliance.notices.actions import open_feed, revoke_feed
from compliance.notices.feeds import DueCheck, calendar
from compliance.notices.models import FeedKey
from tests.checks import making
from tests.world import make_probe

NOW = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)
DUE = DueCheck(
    7,
    "probe P1",
    datetime(2026, 3, 18, 9, 0, tzinfo=UTC),
    "every 7 days, at 09:00; " + "long, " * 30,
    "https://a.example/x/",
)


def test_the_bytes_are_a_calendar_as_rfc_5545_has_it():
    made = calendar("Alder; School", 3, "a.example", [DUE], NOW)
    lines = made.split(b"\r\n")
    assert made.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in b"".join(lines)  # 3.1: lines end in CRLF
    assert all(len(line) <= 75 for line in lines)  # 3.1: and are folded at 75 octets
    text = made.replace(b"\r\n ", b"").decode()
    assert re.search(r"^PRODID:", text, re.MULTILINE)  # 3.7.3
    assert re.search(r"^VERSION:2\.0\r$", text, re.MULTILINE)  # 3.7.4
    assert re.search(r"^UID:check-7-20260318T090000Z@a\.example\r$", text, re.MULTILINE)  # 3.8.4.7
    assert re.search(r"^DTSTAMP:20260311T120000Z\r$", text, re.MULTILINE)  # 3.8.7.2: in UTC
    assert re.search(r"^DTSTART:20260318T090000Z\r$", text, re.MULTILINE)  # 3.3.5, form 2
    assert re.search(r"^DURATION:PT15M\r$", text, re.MULTILINE)  # 3.3.6
    assert "SUMMARY:Check probe P1\\, Alder\\; School\r" in text  # 3.3.11: escaped
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT1H\r" in text  # RFC 7986, 5.7


def test_a_check_keeps_its_uid_and_another_due_time_has_another():
    def uid(due_at):
        made = calendar("A", 3, "a.example", [DueCheck(7, "probe P1", due_at, "", "https://a.example/")], NOW)
        return str(Calendar.from_ical(made).events[0]["UID"])

    assert uid(DUE.due_at) == uid(DUE.due_at.astimezone()) != uid(DUE.due_at + timedelta(days=7))


@pytest.fixture
def feed(world, clock):
    return open_feed(by=world.manager, site=world.site, label="The wall")


def fetch(secret):
    return Client().get(reverse("feed", args=[secret]))


def test_who_has_the_secret_sees_the_due_checks_of_that_site_alone(feed, world, clock):
    making.good(world.probe, world.cook, NOW - timedelta(days=1))
    make_probe(world.other_site, "P2", by=world.manager)
    making.good(world.site.probes.get(code="P1"), world.cook, NOW)
    withdrawn = make_probe(world.site, "P9", by=world.manager)
    making.event(withdrawn, world.manager, "withdrawn", NOW)
    answer = fetch(feed[1])
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    (event,) = Calendar.from_ical(answer.content).events
    assert str(event["SUMMARY"]) == "Check probe P1, Alder School"
    assert event.start == datetime(2026, 3, 18, 9, 0, tzinfo=UTC)
    assert str(event["URL"]).endswith(f"/probes/{world.probe.pk}/check/")
    for secret in (world.business.name, world.cook.name, world.cook.email, "P2"):
        assert secret not in answer.content.decode()


def test_the_secret_is_nowhere_in_the_database(feed):
    key, secret = feed
    assert len(secret) >= 43  # 256 bits in base64
    assert secret not in str(FeedKey.objects.filter(pk=key.pk).values().get())


def test_a_wrong_or_revoked_secret_finds_nothing(feed, world):
    key, secret = feed
    assert fetch(secret[:-1] + "x").status_code == 404
    assert fetch(key.digest).status_code == 404
    revoke_feed(by=world.manager, key=key)
    assert fetch(secret).status_code == 404


def test_a_managers_page_shows_the_address_once_and_revokes_it(as_person, world):
    page = reverse("feed_list", args=[world.site.pk])
    client = as_person(world.manager)
    shown = client.post(page, {"label": "The wall"}, follow=True).content.decode()
    address = re.search(r"/feeds/[\w-]+\.ics", shown)[0]
    assert Client().get(address).status_code == 200
    assert address not in client.get(page).content.decode()
    client.post(reverse("feed_revoke", args=[FeedKey.objects.get().pk]))
    assert Client().get(address).status_code == 404
    assert "revoked" in client.get(page).content.decode()


def test_a_cook_makes_no_address(as_person, world):
    assert as_person(world.cook).post(reverse("feed_list", args=[world.site.pk]), {"label": "x"}).status_code == 403
    assert not FeedKey.objects.exists()
