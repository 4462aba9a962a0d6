"""A walk over every page as a supervisor, and over each choice that they offer: beside many sites that are alike, with mark-up in
whatever people type, after those who wrote it were given another name. tests/test_every_page.py asks what was seen.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import time, timedelta

from django.db import connection, transaction
from django.http import HttpResponseBase
from django.test import Client
from django.urls import resolve
from django.utils import timezone

from compliance.checks.models import Standing
from compliance.plans.actions import set_round
from compliance.plans.data import RoundData
from compliance.quarantine.actions import sign
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from compliance.quarantine.models import Fate
from compliance.readings.importing import import_file
from compliance.readings.importing.uploads import keep
from compliance.reminders.planning import settle_all
from shared import clock
from shared.audit.trail import registry
from sites.actions import grant, rename_person
from sites.models import PasswordLink, Person, Role
from sites.password_links import tokens
from tests import everything, markup
from tests.audit.samples import SAMPLES
from tests.checks import making
from tests.multiply import Copying, tables
from tests.offered import kind_of, offered
from tests.quarantine.making import decide
from tests.remembered import remembered
from tests.visited import PostgresPlan, SqlitePlan, Statement, by_indexes, plan_of, watching
from tests.world import World, make_person, make_reading

FEW, MANY = 34, 400  # other sites that are like the one that is looked at
READINGS, WEEKS = 30, 6  # at each
TURN = {"postgresql": 0, "sqlite": 1}
WRITTEN = (
    "check.void",
    "check.correct",
    "event.void",
    "closure.add",
    "advice.accept",
    "round.set",
    "opening.set",
    "limit.change",
    "deviation.act",
    "feed.open",
    "reading.correct",
)
OLD = ("Col Esker", "Mara Holt", "Ada Reeve")  # a cook, a manager and a supervisor, who wrote it
NEW = "Zyx"


def build() -> tuple[dict, str]:
    """One of everything, and many other sites with a history as long; the name of the savepoint where they are but few. What
    tells of people, and the mark-up, is at the one site alone."""
    records = remembered(everything.build)
    world, sent = records["world"], {"file_name": f"{markup.PAYLOADS[1]}.csv", "content": markup.spoilt_file()}
    records |= {"file": import_file(by=world.manager, **sent), "upload": keep(by=world.supervisor, **sent)}
    add_history(world)
    copying = CopyingFewCases(MANY, first_key=10**9)
    for model in tables():
        copying.take(model)
    write_and_rename(records)
    markup.spoil(world)
    records["password_token"] = tokens.make_token(PasswordLink.objects.get(pk=records["password_link"].pk))
    return records, put(copying, world.far_area.pk)


def put(copying: Copying, area: int) -> str:
    copying.put((k, area) for k in range(1, FEW))
    few = transaction.savepoint()
    copying.put((k, area) for k in range(FEW, MANY))
    gather_statistics()
    return few


def write_and_rename(records) -> None:
    """The stock supervisor, who will look, writes nothing of it."""
    world: World = records["world"]
    head, other = (make_person(name, Role.SUPERVISOR, area=world.area) for name in ("Ida Moss", OLD[2]))
    records["head"] = grant(by=None, person=head, role=Role.SUPERVISOR, area=world.far_area).person
    decide_on_all(records)
    sign(by=other, anchor=f"check:{records['check'].pk}")
    for name in WRITTEN:
        given = SAMPLES[name](world)
        given |= {"by": other} if given["by"] == world.supervisor else {}
        given.pop("call", registry[name])(**given)
    decide_on_all(records)  # so that it is to be signed anew
    making.dead(world.probe, world.cook, timezone.now())  # it may not be used, and has its tag
    for person in (world.cook, world.manager, other):
        called = f"{person.name.split()[0]} {NEW}"
        rename_person(by=head, person=person, name=called, initials="ZZ", reason="Married.")


def decide_on_all(records) -> None:
    """Of the one case."""
    case, whole = load_case(f"check:{records['check'].pk}"), Selection(sites=(records["site"].pk,))
    decide(
        by=records["world"].manager, case=case, selection=whole, fate=Fate.DISCARDED, why="All of it was thrown away."
    )


def add_history(world: World) -> None:
    now = timezone.now()
    with clock.pretend(now - timedelta(weeks=WEEKS)):
        set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8)]))
        settle_all()
    for week in range(2, WEEKS):
        making.good(world.probe, world.cook, now - timedelta(weeks=week))
    for number in range(1, READINGS):
        make_reading(world.probe, world.limit, "4.1", now - timedelta(days=number, hours=1), by=world.cook)


class CopyingFewCases(Copying):
    """What is in doubt is rare, so pages begin there and look whose it is in the end: only the first of the others have cases."""

    def _special(self) -> dict[str, str]:
        found = super()._special()
        rare, doubted = f"c.k < {FEW}", f"s.standing = '{Standing.QUARANTINED}'"
        return found | {
            "checks.span.anchor": f"CASE WHEN {rare} THEN {found['checks.span.anchor']} ELSE '' END",
            "checks.span.standing": f"CASE WHEN {doubted} AND NOT {rare} THEN '{Standing.PROVEN}' ELSE s.standing END",
        }


def gather_statistics() -> None:
    """As PostgreSQL does by itself; nobody has SQLite do it."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


@dataclass
class Asked:
    """One statement of a page: its plan beside many other sites, and how much history it visits beside few."""

    statement: Statement
    plan: PostgresPlan | SqlitePlan
    few: int = 0

    @property
    def grown(self) -> int:
        return self.plan.history - self.few


@dataclass
class Page:
    path: str
    person: Person  # who looked
    status: int
    html: str


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


class Walk:
    """Looks at every page, then at what they offered. `found`: by the name of each address, what its page and what each of its
    choices asks of what grows with time. A statement that comes again is known."""

    def __init__(self, records, few: str):
        self.records, self.few = records, few
        self.found: dict[str, dict[str, list[Asked]]] = {name: {} for name, _ in everything.ADDRESSES}
        self.opened: dict[str, int] = {}
        self.pages: dict[str, Page] = {}
        self.written: dict[str, list[str]] = {}
        self.known: dict[tuple, Asked] = {}
        self.choices: dict[tuple, str] = {}
        self.person = records["world"].supervisor
        self.client = signed_in(self.person)

    def open_each(self, names: list[str]) -> None:
        wanted = dict(everything.ADDRESSES)
        for name in (name for name in names if name not in self.opened):
            path = everything.address(name, wanted[name], self.records)
            answer, page = self._look(path)
            self.opened[name] = answer.status_code
            if answer.headers["Content-Type"].startswith("text/html"):
                self.pages[name] = Page(path, self.person, answer.status_code, page)
            self.choices = offered(path.partition("?")[0], page) | self.choices

    def open_choices(self) -> None:
        """But for what differs from an address that was opened in its keys and days alone. Each engine looks at every
        other one."""
        looked_at = {kind_of(address) for page in self.found.values() for address in page}
        for kind in sorted(self.choices.keys() - looked_at)[TURN[connection.vendor] :: 2]:
            self._look(self.choices[kind])

    def open_as_head(self, names: Iterable[str]) -> None:
        """What is only for who supervises every area: the stock supervisor has one of two."""
        client = signed_in(head := self.records["head"])
        for name in names:
            answer = client.get(path := self.pages[name].path)
            self.pages[name] = Page(path, head, answer.status_code, answer.content.decode())

    def leave_few(self) -> None:
        """Takes most of the other sites away, and asks once more."""
        transaction.savepoint_rollback(self.few)
        gather_statistics()
        with by_indexes():
            for each in self.known.values():
                each.few = plan_of(each.statement).history

    def named(self) -> Iterator[tuple[str, str]]:
        """Each page that opens, without what there is to choose from."""
        for name, page in self.pages.items():
            if page.status == 200:
                yield name, re.sub(r"<option.*?</option>", "", page.html, flags=re.DOTALL)

    def _look(self, address: str) -> tuple[HttpResponseBase, str]:
        with watching() as watched:
            answer = self.client.get(address)
            content = b"".join(answer) if answer.streaming else answer.content
        asked = [statement for statement in watched.reads() if statement.asks_history]
        with by_indexes():
            for statement in asked:
                if statement.key not in self.known:
                    self.known[statement.key] = Asked(statement, plan_of(statement))
        name = resolve(address.partition("?")[0]).url_name
        self.found[name][address] = [self.known[statement.key] for statement in asked]
        if written := watched.writes():
            self.written[address] = written
        return answer, content.decode(errors="replace")
