"""Measures every page on the big set of this process. Whatever looking makes is taken back."""

import logging
import sys
import time
from dataclasses import dataclass
from types import SimpleNamespace
from urllib.parse import urlencode

import django

django.setup()

from django.conf import settings  # noqa: E402
from django.db import Error, connection, transaction  # noqa: E402
from django.test import Client  # noqa: E402
from django.urls import resolve, reverse  # noqa: E402
from django.utils import timezone  # noqa: E402

from compliance.appliances.data import OutOfUseData  # noqa: E402
from compliance.limits.models import Rule  # noqa: E402
from compliance.notices.actions import open_feed  # noqa: E402
from compliance.notices.models import Notice  # noqa: E402
from compliance.plans.calendar import DAY  # noqa: E402
from compliance.plans.models import Closure  # noqa: E402
from compliance.quarantine.cases import Doubts, doubts, unsigned  # noqa: E402
from compliance.readings.importing.uploads import keep  # noqa: E402
from compliance.readings.models import Deviation, Import  # noqa: E402
from compliance.reminders.models import Reminder  # noqa: E402
from compliance.reminders.planning import take_out_of_use  # noqa: E402
from sites.access import keys_of_sites, sites_of  # noqa: E402
from sites.actions import make_password_link  # noqa: E402
from sites.kitchen_actions import register_device  # noqa: E402
from sites.models import Membership, Person, Role, Site  # noqa: E402
from sites.password_links import tokens  # noqa: E402
from tests import everything  # noqa: E402
from tests.benchmarks.by_hand import PAGES, ByHand  # noqa: E402
from tests.benchmarks.engines import server_seconds  # noqa: E402
from tests.offered import offered  # noqa: E402
from tests.readings.files import csv_file, row  # noqa: E402
from tests.rows import fill  # noqa: E402
from tests.visited import plan_of, watching  # noqa: E402

PEOPLE = ("manager", "reader", "supervisor", "eastreach", "head")
SLOW = 150
PATIENCE = 30  # seconds for a statement; the service gives it less
QUERIES = everything.QUERIES | {"record_print": lambda records: {"site": records["site"].pk} | last_month()}
HEAD = "| who | page | answer | queries | own ms | database ms | best ms | kB | rows visited |\n" + 9 * "|---" + "|"


@dataclass(frozen=True)
class Look:
    """One answer and what it took."""

    status: int
    queries: int
    own_ms: float
    database_ms: float
    kilobytes: float
    rows: int | None
    html: str


class Pages:
    """Everything that one person can open."""

    def __init__(self, person: Person, only: str, without: str, plain: bool):
        self.person, self.plain, self.without = person, plain, without.split(",")
        self.only = only.split(",") if only else []
        self.client = Client(raise_request_exception=False)
        self.client.force_login(person)

    def walk(self) -> None:
        records, choices = records_of(self.person), {}
        self.by_hand = ByHand(self.person, records["area"], self.client.session.session_key)
        for name, wanted in everything.ADDRESSES:
            if not self._wanted(name):
                continue
            path = reverse(name, kwargs=everything.arguments(name, wanted, records))
            query = QUERIES.get(name, lambda records: {})(records)
            look = self.show(name, f"{path}?{urlencode(query)}" if query else path)
            if look.status == 200:
                choices = offered(path, look.html) | choices
        for address in () if self.plain else choices.values():
            name = resolve(address.partition("?")[0]).url_name
            if self._wanted(name):
                self.show(name, address)

    def _wanted(self, name: str) -> bool:
        return (not self.only or name in self.only) and name not in self.without

    def _best(self, name: str) -> str:
        """What it takes by hand, which has to count the same cases."""
        took, cases = self.by_hand.milliseconds(name), unsigned(Doubts(keys_of_sites(self.person)))
        assert cases == self.by_hand.cases, (
            f"the benchmark compares two different answers: {cases}, {self.by_hand.cases}"
        )
        return f"{took:.0f}"

    def show(self, name: str, address: str) -> Look:
        look = look_at(self.client, address)
        if look.own_ms > SLOW:  # the first of a process loads what it draws or fits with
            look = look_at(self.client, address)
        if look.status not in (302, 403, 404, 405):
            shown = name if "?" not in address else f"{name} {address.partition('?')[2]}"
            floor = self._best(name) if "?" not in address and name in PAGES else ""
            rows = "" if look.rows is None else f"{look.rows:,}"
            who = self.person.email.partition("@")[0]
            print(
                f"| {who} | {shown[:90]} | {look.status} | {look.queries} | {look.own_ms:.0f} | {look.database_ms:.0f} | {floor} "
                f"| {look.kilobytes:.0f} | {rows} |",
                flush=True,
            )
        return look


def look_at(client: Client, address: str) -> Look:
    with transaction.atomic():
        begun, started, server = time.process_time(), time.perf_counter(), server_seconds()
        with watching() as watched:
            answer = client.get(address)
            # A file may be larger than there is memory.
            size, content = (sum(map(len, answer)), b"") if answer.streaming else (len(answer.content), answer.content)
        own, lasted = time.process_time() - begun, time.perf_counter() - started
        database = server_seconds() - server
        if connection.vendor == "sqlite":  # which works in this process
            database = watched.worked
            own -= database
        rows = rows_of(watched) if answer.status_code == 200 and lasted < PATIENCE else None
        transaction.set_rollback(True)
    html = content.decode(errors="replace")
    return Look(answer.status_code, len(watched.statements), own * 1000, database * 1000, size / 1000, rows, html)


def rows_of(watched) -> int | None:
    try:
        with transaction.atomic():
            return sum(plan_of(statement).rows for statement in watched.reads())
    except Error:
        return None


def records_of(person: Person) -> dict[str, object]:
    """One record of each kind at a site of the person, as the addresses name them."""
    site = sites_of(person).order_by("pk").first()
    probe, limit = site.probes.order_by("pk").first(), site.limits.order_by("pk").first()
    members = Membership.objects.filter(site=site).select_related("person")
    cook, manager = members.get(role=Role.COOK), members.get(role=Role.MANAGER).person
    here = SimpleNamespace(
        business=site.area.business, area=site.area, site=site, probe=probe, limit=limit, manager=manager
    )
    reading, head = site.readings.latest("taken_at"), Person.objects.get(email="head@quillwood.example")
    content = csv_file(row(site=site.name, probe=probe.code, limit=limit.code))
    link, (key, secret) = (
        make_password_link(by=head, person=cook.person),
        open_feed(by=manager, site=site, label="Wall"),
    )
    measured, broken = site.appliances.order_by("pk")[:2]
    of_site = Deviation.objects.filter(reading__site=site).order_by("-pk").first()
    return {
        "appliance": measured,
        "out_of_use": take_out_of_use(by=manager, appliance=broken, data=OutOfUseData(why="broken")),
        "device": register_device(by=manager, site=site, name="Tablet at the pass")[0],
        "area": site.area,
        "site": site,
        "person": cook.person,
        "membership": cook,
        "password_link": link,
        "password_token": tokens.make_token(link),
        "rule": Rule.objects.earliest("pk"),
        "limit": limit,
        "probe": probe,
        "check": probe.checks.latest("checked_at"),
        "event": fill(probe.events.model, here),
        "reading": reading,
        "deviation": of_site,
        "file": fill(Import, here),
        "upload": keep(by=person, file_name="new.csv", content=content),
        "feed_key": key,
        "feed_secret": secret,
        "notice": notice(person, site),
        "case": case_of(person),
        "closure": fill(Closure, here),
        "reminder": Reminder.objects.filter(site=site).earliest("due_at"),
    }


def last_month() -> dict[str, str]:
    today = timezone.localdate()
    return {"from": f"{today - 30 * DAY}", "to": f"{today}"}


def notice(person: Person, site: Site) -> Notice:
    told = {"subject": "Stop", "link": "/", "in_page": True, "state": "failed"}
    return Notice.objects.create(kind="failed", person=person, about="1", site=site, **told)


def case_of(person: Person) -> str:
    sites = list(sites_of(person).values_list("pk", flat=True)[:200])
    found = next(iter(doubts(sites)), None)
    return found.anchor.replace(":", "-") if found else "check-1"


def run() -> None:
    logging.disable(logging.CRITICAL)
    only, without, people, plain = sys.argv[1:5]
    settings.ALLOWED_HOSTS = ["testserver"]
    if connection.vendor == "postgresql":
        settings.DATABASES["default"]["OPTIONS"]["options"] += f" -c statement_timeout={PATIENCE}s"
        # All is done by the one process of the server that is looked at.
        settings.DATABASES["default"]["OPTIONS"]["options"] += " -c max_parallel_workers_per_gather=0"
    print(f"\n{connection.vendor}, {Site.objects.count():,} sites\n\n{HEAD}", flush=True)
    for who in people.split(",") if people else PEOPLE:
        person = Person.objects.filter(email=f"{who}@quillwood.example").first()
        if person:
            with transaction.atomic():
                Pages(person, only, without, bool(plain)).walk()
                transaction.set_rollback(True)


if __name__ == "__main__":
    run()
