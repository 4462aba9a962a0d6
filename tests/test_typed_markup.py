"""What people type is text wherever it is shown: no name, reason or note becomes mark-up, and HTMX acts on ours alone."""

import io
from dataclasses import dataclass
from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.messages import get_messages
from django.db import transaction
from django.http import HttpResponseBase
from django.test import Client
from django.urls import resolve, reverse
from django.utils import timezone
from django.utils.safestring import SafeData
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


@dataclass
class Page:
    path: str
    html: str


@pytest.fixture(scope="module")
def kept():
    """The pages, once they were looked at: each test of this file finds the records that they show."""
    return {}


@pytest.fixture
def pages(records, kept) -> dict[str, Page]:
    """What each address shows, but for files: to open one is enough."""
    client = visitor(records["world"].supervisor)
    for name, wanted in () if kept else ADDRESSES:
        if name == "record_print":  # below
            continue
        path = everything.address(name, wanted, records)
        answer, page = opened(client, "get", path)
        if answer.headers.get("Content-Type", "").startswith("text/html"):
            kept[name] = Page(path, page)
    return kept


def visitor(person) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(person)
    return client


def opened(client: Client, method: str, path: str, *sent) -> tuple[HttpResponseBase, str]:
    answer = getattr(client, method)(path, *sent)
    content = b"".join(answer) if answer.streaming else answer.content
    assert answer.status_code < 500 or path == reverse("health"), f"{method} {path}: {answer.status_code}"
    return answer, content.decode(errors="replace")


def form_of(path: str, typed: dict[str, list[str]]) -> tuple:
    """Where it is sent, and what with, but for what is another each time, and for which mark-up is typed."""
    once = ("csrfmiddlewaretoken", "key")
    return path, *(
        (name, markup.SIGN if markup.SIGN in values[0] else tuple(values))
        for name, values in typed.items()
        if name not in once
    )


def forms_on(pages: dict[str, Page]) -> dict[tuple, tuple[str, dict]]:
    """One that stands on several pages once."""
    found = {}
    for page in pages.values():
        for action, typed in markup.posts_of(page.html):
            path = action or page.path
            if path != reverse("sign_out"):
                found.setdefault(form_of(path, typed), (path, typed))
    return found


def test_no_page_makes_markup_of_what_was_typed(records, pages):
    seal = seal_of(records["world"].supervisor)
    strange = {name: markup.strange_in(page.html, seal) for name, page in pages.items()}
    assert {name: found for name, found in strange.items() if found} == {}
    assert sum("&lt;zq" in page.html for page in pages.values()) >= 60


@pytest.mark.parametrize("half", [0, 1])
def test_no_form_sent_with_markup_makes_markup_of_it(half, records, pages):
    """It comes back with what is wrong, or leads on to what was done."""
    person, strange, shown = records["world"].supervisor, {}, set()
    client, forms = visitor(person), forms_on(pages)
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    for number, (form, (path, typed)) in enumerate(forms.items()):
        if number % 2 == half:
            client.cookies[settings.SESSION_COOKIE_NAME] = session
            with transaction.atomic():
                strange[form] = markup.strange_in(what_is_shown(client, path, typed, shown), seal_of(person))
                transaction.set_rollback(True)
    assert {form: found for form, found in strange.items() if found} == {}
    assert len(forms) > 80 and len(strange) > 40


def what_is_shown(client: Client, path: str, typed: dict, shown: set[str]) -> str:
    """In the end. Where several forms lead on to one page, it is shown to the first of them, if all that it is to say to the
    others is text: it may say that to them in the same way."""
    answer, page = opened(client, "post", path, typed)
    while answer.status_code == 302:
        path, said = answer["Location"], get_messages(answer.wsgi_request)
        name = resolve(path.partition("?")[0].partition("#")[0]).url_name
        if name in shown and not any(isinstance(each.message, SafeData) for each in said._queued_messages):
            return ""
        shown.add(name)
        answer, page = opened(client, "get", path)
    return page


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
