"""Whatever is sent to any address, the answer is a page with a sentence, and every page still opens afterwards.

A sample, the same each time, is sent in the suite: to a sixth of the pages, of the catalogue one value to every other field.
`BAD_INPUT=20` in the environment sends twenty to each field of each page, which takes many minutes.
"""

import os
import re
import sys
from datetime import timedelta
from itertools import chain
from typing import NamedTuple
from urllib.parse import urljoin, urlsplit
from zlib import crc32

import pytest
from django.core.signals import got_request_exception
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from compliance.checks import drafts
from compliance.checks.kinds import GUIDANCE
from compliance.checks.models import CheckKind, Stage
from tests import everything
from tests.engines import Run
from tests.everything import ADDRESSES, FILES
from tests.nasty import BY_KIND, CATALOGUE, forms_in, parameters_read
from tests.remembered import remembered

DRAWN = int(os.environ.get("BAD_INPUT", "1"))
PAGES, TURNS = (6, 2) if DRAWN == 1 else (1, 1)  # each engine looks at another sixth, and sends another half
WHO, TURN = ("manager", 0) if Run.engine == "sqlite" else ("supervisor", 1)
ALTITUDE = {"source": "altitude", "pressure_pa": None, "altitude_m": 0}


def half_way(found) -> dict[str, object]:
    """One of everything, and a check of each guided kind half way."""
    world, begun = found["world"], timezone.now() - timedelta(minutes=5)
    for kind in (CheckKind.ZERO, CheckKind.BOILING):
        draft = drafts.begin(world.manager, world.probe, GUIDANCE[kind].usual, Stage.AS_FOUND, begun, kind)
        draft.inserted_at, draft.readings = begun, [[60_000, "0.1", "C"]]
        draft.surroundings = ALTITUDE if kind == CheckKind.BOILING else {}
        draft.save()
    return found


@pytest.fixture
def records(db):
    return remembered(half_way, remembered(everything.build))


@pytest.fixture
def broken():
    """What went wrong on our side."""
    found = []

    def note(sender, **kwargs):
        found.append(sys.exc_info()[1])

    got_request_exception.connect(note)
    yield found
    got_request_exception.disconnect(note)


class Visitor:
    """Sends and looks; whatever that did to the database is taken back."""

    def __init__(self, person):
        self.client = Client(raise_request_exception=False)
        self.client.force_login(person)

    def look(self, path, query=None):
        """The code and, of a page, what it holds."""
        answer = self.client.get(path, query_params=query)
        # A file that is not read to its end keeps its place.
        body = b"".join(answer) if answer.streaming else answer.content
        if not answer.get("Content-Type", "").startswith("text/html"):
            return answer.status_code, ""
        return answer.status_code, body.decode(errors="replace")

    def send(self, method, path, data) -> list[int]:
        """The answer and, where something was taken, that of the page which shows it."""
        with transaction.atomic():
            if method == "get":
                codes = [self.look(path, data)[0]]
            else:
                answer = self.client.post(path, data)
                shown = [answer["Location"]] if answer.status_code == 302 else []
                codes = [answer.status_code, *(self.look(page)[0] for page in shown)]
            transaction.set_rollback(True)
        return codes


def lot(label: str) -> int:
    """The same whatever numbers and keys the records have."""
    return crc32(re.sub(r"[0-9a-f-]{36}|\d+", "0", label).encode())


def chosen(label: str, values: dict) -> dict:
    """Those that the label draws."""
    names = sorted(values, key=lambda name: (lot(label) + crc32(name.encode())) % 2**32)
    return {name: values[name] for name in names[:DRAWN]}


def looks(name, path, query):
    """Every parameter at once, and one alone: a bad one that is refused hides what comes after it."""
    read = parameters_read()
    for called, value in chosen(name, CATALOGUE).items():
        yield f"GET {name}, all {called}", "get", path, query | dict.fromkeys(read, value)
    for called, value in chosen(f"{name} alone", CATALOGUE).items():
        one = read[crc32(f"{name} {called}".encode()) % len(read)]
        yield f"GET {name}, {one} {called}", "get", path, query | {one: value}


def forms(path, html, seen):
    """The forms of a page as they are, and with one of their fields spoilt."""
    for method, action, fields, kinds in forms_in(html):
        to = urlsplit(urljoin(path, action))
        whole = f"{to.path}?{to.query}" if to.query else to.path
        if (method, to.path, *fields) in seen or to.path == reverse("sign_out"):
            continue
        seen.add((method, to.path, *fields))
        yield f"{method} {whole} as it is", method, whole, fields
        for field, kind in kinds.items():
            for called, value in chosen(f"{whole} {field}", BY_KIND.get(kind, CATALOGUE)).items():
                yield f"{method} {whole}, {field} {called}", method, whole, fields | {field: value}


class Looked(NamedTuple):
    path: str
    status: int
    html: str


def its_turn(label: str, turns: int) -> bool:
    return lot(label) % turns == TURN % turns


def looked_at(visitor, records) -> dict[str, Looked]:
    found = {}
    for name, wanted in ((name, wanted) for name, wanted in ADDRESSES if its_turn(name, PAGES)):
        path = reverse(name, kwargs=everything.arguments(name, wanted, records))
        found[name] = Looked(path, *((200, "") if name in FILES else visitor.look(path)))
    return found


def tries(pages, records):
    seen = set()
    for name, (path, status, html) in pages.items():
        query = everything.QUERIES.get(name, lambda records: {})(records)
        if status != 405:
            yield from chain(looks(name, path, query), forms(path, html, seen))
        for called, value in chosen(f"bare {name}", CATALOGUE).items():
            if name != "sign_out":
                yield f"POST {name}, all {called}", "post", path, dict.fromkeys(parameters_read(), value)


def test_bad_input_gets_an_answer_and_leaves_the_page_that_shows_it_open(records, broken):
    wrong, count, visitor = [], 0, Visitor(getattr(records["world"], WHO))
    for label, method, path, data in tries(looked_at(visitor, records), records):
        if not its_turn(label, TURNS):
            continue
        codes, count = visitor.send(method, path, data), count + 1
        if broken or (max(codes) >= 500 and path != reverse("health")):
            wrong.append(f"{label}: {codes} {[f'{type(error).__name__}: {error}'[:200] for error in broken]}")
        broken.clear()
    print(f"{WHO}: {count} requests")
    assert "\n".join(wrong) == ""
    assert count > 35
