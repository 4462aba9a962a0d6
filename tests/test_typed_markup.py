"""What people type is text wherever it goes: no name, reason or note becomes mark-up or a property. Pages and forms are looked
at in tests/test_every_page.py.
"""

import io
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar
from pypdf import PdfReader

from compliance.notices import enqueue
from compliance.notices.models import Notice
from compliance.readings.importing import import_file
from tests import everything, markup
from tests.printed_text import words_of
from tests.remembered import remembered

PROPERTIES = {
    "UID",
    "DTSTAMP",
    "DTSTART",
    "DURATION",
    "SEQUENCE",
    "STATUS",
    "SUMMARY",
    "DESCRIPTION",
    "LOCATION",
    "CATEGORIES",
    "URL",
    "TRANSP",
}


def build() -> dict:
    made = everything.build()
    sent = {"file_name": f"{markup.PAYLOADS[1]}.csv", "content": markup.spoilt_file()}
    import_file(by=made["world"].manager, **sent)
    markup.spoil(made["world"])
    return made


@pytest.fixture
def records(db):
    """One of everything, with mark-up in whatever people type."""
    return remembered(build)


def visitor(person) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(person)
    return client


def test_no_mail_makes_markup_of_what_was_typed(records, settings):
    settings.MAIL_WORKS, settings.DEFAULT_FROM_EMAIL = True, "book@kitchen.example"
    Notice.objects.all().delete()
    for days in (0, 1, 2, 8, 15):
        enqueue.enqueue_due_notices(timezone.now() + timedelta(days=days))
    written = list(Notice.objects.all())
    assert len({notice.kind for notice in written}) >= 3
    for notice in written:
        assert "&lt;zq" in notice.html and markup.strange_in(notice.html) == []
        assert markup.SIGN in notice.text and "&lt;" not in notice.text + notice.subject


def test_no_calendar_makes_properties_of_what_was_typed(records):
    answer = Client().get(reverse("feed", args=[records["feed_secret"]]))
    events = Calendar.from_ical(answer.content).events
    assert events
    for event in events:
        assert set(event) <= PROPERTIES
        assert markup.SIGN in event["SUMMARY"] and "&lt;" not in event["SUMMARY"] + event["DESCRIPTION"]


def test_a_printed_record_shows_what_was_typed_as_it_was_typed(records):
    path = everything.address("record_print", [], records)
    answer = visitor(records["world"].supervisor).get(path)
    text = words_of(PdfReader(io.BytesIO(b"".join(answer))))
    assert markup.SIGN in text and "&lt;" not in text
