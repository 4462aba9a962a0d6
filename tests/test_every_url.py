"""Every address there is, walked as everybody: nobody sees what is not theirs, nothing is written by looking.

What a supervisor sees is looked at in tests/test_every_page.py.
"""

import re
from http.cookies import SimpleCookie
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from compliance import urls
from sites.models import Role
from tests import everything
from tests.everything import ADDRESSES
from tests.remembered import remembered
from tests.visited import watching
from tests.world import make_person

BY_SECRET = {"feed", "new_password"}  # the secret in the address is the door
OPEN_TO_ALL = {"sign_in", "health", "worker", "phone", *BY_SECRET}  # the last two know nothing of anybody
# What a reader may post: each is about nobody but themselves.
OWN_AFFAIRS = {
    "sign_in",
    "kitchen",
    "sign_out",
    "account_password",
    "account_password_told",
    "account_pin",
    "new_password",
    "notice_choices",
    "notice_read_all",
}
# What a cook may post about a record of the site.
FOR_COOKS = {
    "reading_correct",
    "event_add",
    "import_preview",
    "today_together",
    "appliance_out",
    "out_of_use_back",
    "today_round",
} | {
    f"{kind}_check_{tap}"
    for kind in ("zero", "boiling")
    for tap in ("start", "air", "point", "about", "insert", "take_out", "read", "unit", "take_back", "finish", "bath")
}
WITH_RECORDS = [
    (name, wanted) for name, wanted in ADDRESSES if (wanted and name not in OPEN_TO_ALL) or name in everything.QUERIES
]


@pytest.fixture
def records(db):
    return remembered(everything.build)


@pytest.fixture
def world(records):
    return records["world"]


@pytest.fixture
def visit(records):
    """Request one address as somebody; whatever it did to the database is taken back afterwards."""
    client, sessions = Client(raise_request_exception=False), {}

    def sign_in(person):
        client.cookies = SimpleCookie()
        if person not in sessions:
            client.force_login(person)
            sessions[person] = client.cookies[settings.SESSION_COOKIE_NAME].value
        client.cookies[settings.SESSION_COOKIE_NAME] = sessions[person]

    def go(person, method, name, wanted):
        client.cookies = SimpleCookie()
        if person:
            sign_in(person)
        with transaction.atomic():
            answer = getattr(client, method)(everything.address(name, wanted, records))
            answer.content_read = b"".join(answer) if answer.streaming else answer.content
            transaction.set_rollback(True)
        return answer

    go.sign_in = sign_in
    return go


def refusal(status: int):
    return lambda request, exception: HttpResponse(status=status)


@pytest.fixture
def refused_in_short(monkeypatch):
    """Who is refused gets the status alone, where nothing else is looked at: to show the page takes longer than to refuse."""
    for status in (403, 404):
        monkeypatch.setattr(urls, f"handler{status}", refusal(status), raising=False)


def test_there_are_addresses_and_each_has_its_own_name():
    names = [name for name, _ in ADDRESSES]
    assert len(names) > 20
    assert None not in names
    assert len(names) == len(set(names))


def test_somebody_not_signed_in_is_asked_to_sign_in(visit):
    answers = {
        (name, method): visit(None, method, name, wanted)
        for name, wanted in ADDRESSES
        for method in ("get", "post")
        if name not in OPEN_TO_ALL
    }
    sent_on = {key: urlsplit(a.headers.get("Location", "")).path for key, a in answers.items()}
    assert {key: path for key, path in sent_on.items() if path != reverse("sign_in")} == {}


@pytest.mark.usefixtures("refused_in_short")
def test_another_business_finds_nothing_for_every_address_of_a_record_asks_at_the_door(visit, world):
    """405 says nothing of the record; but one of the two methods must have found nothing."""
    answers = {
        name: {visit(world.rival, method, name, wanted).status_code for method in ("get", "post")}
        for name, wanted in WITH_RECORDS
    }
    assert {name: statuses for name, statuses in answers.items() if not {404} <= statuses <= {404, 405}} == {}


@pytest.mark.usefixtures("refused_in_short")
@pytest.mark.parametrize("method", ["get", "post"])
def test_a_manager_of_the_site_next_door_gets_nowhere(method, visit, world):
    """403 is the answer where the role is wanting whatever the record, so it tells a stranger nothing either."""
    neighbour = make_person("Ned Vale", Role.MANAGER, site=world.other_site)
    answers = {name: visit(neighbour, method, name, wanted).status_code for name, wanted in WITH_RECORDS}
    assert {name: status for name, status in answers.items() if status not in {403, 404, 405}} == {}


@pytest.mark.usefixtures("refused_in_short")
def test_a_cook_sets_no_limit_strikes_nothing_out_and_decides_on_nothing(visit, world):
    answers = {
        name: visit(world.cook, "post", name, wanted).status_code
        for name, wanted in WITH_RECORDS
        if name not in FOR_COOKS
    }
    assert {name: status for name, status in answers.items() if status not in {403, 404, 405}} == {}


def test_a_strangers_own_pages_show_nothing_of_this_business(visit, world):
    secrets = [world.business.name, world.site.name, world.probe.code, world.cook.name, "Soup"]
    leaks = []
    for name, wanted in ADDRESSES:
        if (name, wanted) not in WITH_RECORDS and name not in BY_SECRET:
            text = visit(world.stranger, "get", name, wanted).content_read.decode(errors="replace")
            leaks += [(name, secret) for secret in secrets if re.search(rf">\s*{secret}\s*<", text)]
    assert leaks == []


@pytest.mark.usefixtures("refused_in_short")
def test_a_reader_may_not_write(visit, world):
    allowed = {403, 404, 405}
    answers = {
        name: visit(world.reader, "post", name, wanted).status_code
        for name, wanted in ADDRESSES
        if name not in OWN_AFFAIRS
    }
    assert {name: status for name, status in answers.items() if status not in allowed} == {}


@pytest.mark.usefixtures("refused_in_short")
def test_a_reader_may_look_and_looking_writes_nothing(visit, world):
    """That a file writes nothing is seen as a supervisor: there is no other way to make it."""
    visit.sign_in(world.reader)  # which notes the time of signing in
    written, seen = {}, 0
    for name, wanted in ((name, wanted) for name, wanted in ADDRESSES if name not in everything.FILES):
        with watching() as watched:
            seen += visit(world.reader, "get", name, wanted).status_code == 200
        written[name] = watched.writes()
    assert {name: statements for name, statements in written.items() if statements} == {} and seen > 30


def test_who_is_refused_reads_why_and_what_to_do(visit, world):
    wanted = dict(ADDRESSES)
    strange = visit(world.rival, "get", "probe_detail", wanted["probe_detail"])
    refused = visit(world.reader, "get", "event_add", wanted["event_add"])
    assert strange.status_code == 404 and "it belongs to a site that you do not see" in strange.content.decode()
    assert refused.status_code == 403 and "Nothing was saved" in refused.content.decode()
