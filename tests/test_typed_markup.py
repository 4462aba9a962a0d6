"""What people type is text wherever it is shown: no name, reason or note becomes mark-up, and HTMX acts on ours alone."""

import io
from datetime import timedelta

import pytest
from django.conf import settings
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar
from pypdf import PdfReader

from compliance.notices import enqueue
from compliance.notices.models import Notice
from compliance.readings.importing import import_file
from compliance.readings.importing.uploads import keep
from shared.seal import seal_of
from sites.models import Membership, Role
from tests import everything, markup
from tests.everything import ADDRESSES
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


@pytest.fixture
def records(db):
    """One of everything, with mark-up in whatever people type; the supervisor is that of the whole business."""
    made = remembered(everything.build)
    world = made["world"]
    Membership.objects.create(person=world.supervisor, role=Role.SUPERVISOR, area=world.far_area)
    sent = {"file_name": f"{markup.PAYLOADS[1]}.csv", "content": markup.spoilt_file()}
    made |= {"file": import_file(by=world.manager, **sent), "upload": keep(by=world.supervisor, **sent)}
    markup.spoil(world)
    return made


def visitor(person) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(person)
    return client


def opened(client: Client, method: str, path: str, *sent) -> tuple[str, str]:
    """What is shown in the end, and its kind; what was done to the database is taken back, the session's too."""
    with transaction.atomic():
        answer = getattr(client, method)(path, *sent, follow=True)
        content = b"".join(answer) if answer.streaming else answer.content
        transaction.set_rollback(True)
    assert answer.status_code < 500 or path == reverse("health"), f"{method} {path}: {answer.status_code}"
    return content.decode(errors="replace"), answer.headers.get("Content-Type", "")


def form_of(path: str, typed: dict[str, list[str]]) -> tuple:
    """Where it is sent, and what with, but for what is another each time, and for which mark-up is typed."""
    once = ("csrfmiddlewaretoken", "key")
    return path, *(
        (name, markup.SIGN if markup.SIGN in values[0] else tuple(values))
        for name, values in typed.items()
        if name not in once
    )


def test_no_page_makes_markup_of_what_was_typed(records):
    """Each page, and each form sent with mark-up, so that it comes back with what is wrong, or leads on to what was done. One
    that stands on several pages is sent once."""
    person = records["world"].supervisor
    client, seal = visitor(person), seal_of(person)
    found, sent, shown = {}, set(), 0
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    for name, wanted in ADDRESSES:
        path = everything.address(name, wanted, records)
        page, kind = opened(client, "get", path)
        if not kind.startswith("text/html"):
            continue
        shown += "&lt;zq" in page
        found[name] = markup.strange_in(page, seal)
        for action, typed in markup.posts_of(page):
            form = form_of(action or path, typed)
            if action != reverse("sign_out") and form not in sent:
                client.cookies[settings.SESSION_COOKIE_NAME] = session
                sent.add(form)
                found[form] = markup.strange_in(opened(client, "post", action or path, typed)[0], seal)
    assert {key: strange for key, strange in found.items() if strange} == {}
    assert len(sent) > 80 and shown >= 60


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
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(b"".join(answer))).pages)
    assert markup.SIGN in text and "&lt;" not in text
