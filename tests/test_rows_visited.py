"""Every page opens and writes nothing; none goes through all readings, checks or reminders, and none visits more rows because
other sites have a longer history.

A supervisor looks at each address and each choice that its page offers, beside 12,000 readings of other sites with checks, spans,
cases and reminders to match. What that asked of the database is asked once more beside 1,000.
"""

from dataclasses import dataclass
from datetime import time, timedelta

import pytest
from django.db import connection, transaction
from django.http import HttpResponseBase
from django.test import Client
from django.urls import resolve
from django.utils import timezone

from compliance.advice import queries as advice
from compliance.checks.models import Standing
from compliance.plans.actions import set_round
from compliance.plans.data import RoundData
from compliance.reminders.planning import settle_all
from shared import clock
from tests import everything
from tests.checks import making
from tests.multiply import Copying, tables
from tests.offered import kind_of, offered
from tests.remembered import remembered
from tests.visited import PostgresPlan, SqlitePlan, Statement, by_indexes, plan_of, watching
from tests.world import make_reading

FEW, MANY = 34, 400  # other sites that are like the one that is looked at
READINGS, WEEKS = 30, 6  # at each
MORE = 1.2  # times as many rows
SLACK = {"postgresql": 100, "sqlite": 2000}  # rows; steps
TURN = {"postgresql": 0, "sqlite": 1}
ADDRESSES = [name for name, _ in everything.ADDRESSES]
# Only for who supervises every area of the business; the stock supervisor has one of two.
FOR_THE_WHOLE_BUSINESS = {"business_edit", "plan_business"}


def add_history(records) -> None:
    """At the one site, so that all others have it too."""
    world, now = records["world"], timezone.now()
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


@dataclass
class Asked:
    """One statement of a page: its plan beside many other sites, and how much history it visits beside few."""

    statement: Statement
    plan: PostgresPlan | SqlitePlan
    few: int = 0

    @property
    def grown(self) -> int:
        return self.plan.history - self.few


@pytest.fixture(scope="module")
def walk(django_db_setup, django_db_blocker):
    """Many other sites are there until all was looked at."""
    with django_db_blocker.unblock(), transaction.atomic(), pytest.MonkeyPatch.context() as patched:
        # A few sites have as many, so that whatever is read beyond them is seen.
        patched.setattr(advice, "MOST_ALIKE", FEW - 2)
        records = remembered(everything.build)
        add_history(records)
        copying = CopyingFewCases(MANY, first_key=10**9)
        for model in tables():
            copying.take(model)
        far = records["world"].far_area.pk
        copying.put((k, far) for k in range(1, FEW))
        few = transaction.savepoint()
        copying.put((k, far) for k in range(FEW, MANY))
        gather_statistics()
        yield Walk(records, few)
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def walked(walk, django_db_blocker):
    with django_db_blocker.unblock():
        walk.open_each(ADDRESSES)
        walk.open_choices()
        transaction.savepoint_rollback(walk.few)
        gather_statistics()
        with by_indexes():
            for each in walk.known.values():
                each.few = plan_of(each.statement).history
    return walk


def gather_statistics() -> None:
    """As PostgreSQL does by itself; nobody has SQLite do it."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


class Walk:
    """Looks at every page, then at what they offered. `found`: by the name of each address, what its page and what each of its
    choices asks. A statement that comes again is known."""

    def __init__(self, records, few: str):
        self.records, self.few = records, few
        self.found: dict[str, dict[str, list[Asked]]] = {name: {} for name in ADDRESSES}
        self.opened: dict[str, int] = {}
        self.files: set[str] = set()
        self.written: dict[str, list[str]] = {}
        self.known: dict[tuple, Asked] = {}
        self.choices: dict[tuple, str] = {}
        self.client = Client()
        self.client.force_login(records["world"].supervisor)

    def open_each(self, names: list[str]) -> None:
        wanted = dict(everything.ADDRESSES)
        for name in (name for name in names if name not in self.opened):
            path = everything.address(name, wanted[name], self.records)
            answer, page = self._look(path)
            self.opened[name] = answer.status_code
            self.files |= set() if answer.headers["Content-Type"].startswith("text/html") else {name}
            self.choices = offered(path.partition("?")[0], page) | self.choices

    def open_choices(self) -> None:
        """But for what differs from an address that was opened in its keys and days alone. Each engine looks at every
        other one."""
        looked_at = {kind_of(address) for page in self.found.values() for address in page}
        for kind in sorted(self.choices.keys() - looked_at)[TURN[connection.vendor] :: 2]:
            self._look(self.choices[kind])

    def _look(self, address: str) -> tuple[HttpResponseBase, str]:
        with watching() as watched:
            answer = self.client.get(address)
            content = b"".join(answer) if answer.streaming else answer.content
        with by_indexes():
            for statement in watched.reads():
                if statement.key not in self.known:
                    self.known[statement.key] = Asked(statement, plan_of(statement))
        name = resolve(address.partition("?")[0]).url_name
        self.found[name][address] = [self.known[statement.key] for statement in watched.reads()]
        if written := watched.writes():
            self.written[address] = written
        return answer, content.decode(errors="replace")


@pytest.mark.parametrize("half", [0, 1])
def test_every_page_opens_for_a_supervisor(half, walk, django_db_blocker):
    """Or it is for posts alone, or nothing is new to a part of a page that asks again. Health says that no schedule is kept."""
    with django_db_blocker.unblock():
        walk.open_each(names := ADDRESSES[half::2])
    closed = {name: walk.opened[name] for name in names if walk.opened[name] not in {200, 204, 302, 405}}
    otherwise = {"health": 503} | dict.fromkeys(FOR_THE_WHOLE_BUSINESS, 403)
    assert closed == {name: status for name, status in otherwise.items() if name in names}


def test_every_other_address_than_those_of_files_is_that_of_a_page(walked):
    assert walked.files == everything.FILES


def test_looking_writes_nothing(walked):
    assert walked.written == {}


def test_no_page_goes_through_all_that_was_ever_recorded(walked):
    found = {
        address: [asked.statement.sql for asked in each if asked.plan.scans()]
        for page in walked.found.values()
        for address, each in page.items()
    }
    assert {address: statements for address, statements in found.items() if statements} == {}


def test_no_page_visits_more_because_other_sites_have_a_longer_history(walked):
    pages = {address: each for page in walked.found.values() for address, each in page.items()}
    assert len(pages) > len(ADDRESSES)
    assert {address: grown(each) for address, each in pages.items() if has_grown(each)} == {}


def has_grown(page: list[Asked]) -> bool:
    few, many = sum(each.few for each in page), sum(each.plan.history for each in page)
    return many > MORE * few + SLACK[connection.vendor]


def grown(page: list[Asked]) -> list[str]:
    """Which statements did, the worst first."""
    worst = sorted((each for each in page if each.grown > 0), key=lambda each: -each.grown)
    return [f"{each.few} → {each.plan.history}: {each.statement.sql}" for each in worst[:3]]
