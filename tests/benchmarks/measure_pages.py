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
from compliance.quarantine.cases import doubts  # noqa: E402
from compliance.readings.importing.uploads import keep  # noqa: E402
from compliance.readings.models import Deviation, Import  # noqa: E402
from compliance.reminders.models import Reminder  # noqa: E402
from compliance.reminders.planning import take_out_of_use  # noqa: E402
from sites.access import sites_of  # noqa: E402
from sites.actions import make_password_link  # noqa: E402
from sites.kitchen_actions import register_device  # noqa: E402
from sites.models import Area, Membership, Person, Role, Site  # noqa: E402
from sites.password_links import tokens  # noqa: E402
from tests import everything  # noqa: E402
from tests.benchmarks.engines import server_seconds  # noqa: E402
from tests.offered import offered  # noqa: E402
from tests.readings.files import csv_file, row  # noqa: E402
from tests.rows import fill  # noqa: E402
from tests.visited import plan_of, watching  # noqa: E402

PEOPLE = ("manager", "reader", "supervisor", "eastreach", "head")
SLOW = 150
PATIENCE = 30  # seconds for a statement; the service gives it less
# By hand, for what the page lists; `{sites}` are those that the person may see, or those of the area that the page is about.
STANDING = """SELECT r.id, r.item, r.value_milli, r.taken_at, p.code, s.name,
 (SELECT standing FROM checks_span c WHERE c.probe_id = r.probe_id AND c.ends_at >= r.taken_at ORDER BY c.ends_at LIMIT 1)
 FROM readings_reading r JOIN probes_probe p ON p.id = r.probe_id JOIN sites_site s ON s.id = r.site_id"""
# Of PostgreSQL, which puts them side by side as a whole; SQLite looks them up one by one.
LATELY = {"postgresql": "AND {0}.site_id IN ({{sites}}) AND {0}.{1} > '{{early}}'", "sqlite": ""}
MISSED = """FROM plans_reminder m WHERE m.site_id IN ({sites}) AND m.due_at >= '{since}' AND m.closes_at <= '{now}'
 AND m.cancelled_at IS NULL AND NOT EXISTS (SELECT 1 FROM reminders_excuse e WHERE e.reminder_id = m.id)
 AND NOT EXISTS (SELECT 1 FROM checks_check c WHERE c.probe_id = m.probe_id AND c.checked_at > m.opens_at
  AND c.checked_at <= m.closes_at AND c.verdict <> 'inconclusive' {c_lately}
  AND NOT EXISTS (SELECT 1 FROM checks_checkvoid v WHERE v.voids_id = c.id))
 AND NOT EXISTS (SELECT 1 FROM readings_reading r JOIN limits_limitversion l ON l.id = r.limit_version_id
  WHERE r.site_id = m.site_id AND l.limit_id = m.limit_id AND r.taken_at > m.opens_at AND r.taken_at <= m.closes_at
  AND (m.appliance_id IS NULL OR m.appliance_id = r.appliance_id) {r_lately}
  AND NOT EXISTS (SELECT 1 FROM readings_readingvoid v WHERE v.voids_id = r.id))"""
FLOORS = {
    "area_detail": f"SELECT m.site_id, count(m.probe_id), count(m.limit_id) {MISSED} GROUP BY m.site_id",
    "area_missed": f"SELECT m.*, count(*) OVER () {MISSED} ORDER BY m.due_at DESC, m.id DESC LIMIT 51",
    "reading_list": STANDING + " WHERE r.site_id IN ({sites}) ORDER BY r.taken_at DESC, r.id DESC LIMIT 51",
    "deviation_list": """SELECT d.id, d.why, r.item, r.taken_at FROM readings_deviation d
 JOIN readings_reading r ON r.id = d.reading_id WHERE r.site_id IN ({sites})
 AND NOT EXISTS (SELECT 1 FROM readings_correctiveaction a WHERE a.deviation_id = d.id)
 AND NOT EXISTS (SELECT 1 FROM readings_readingvoid v WHERE v.voids_id = r.id) ORDER BY r.taken_at DESC, d.id DESC LIMIT 51""",
    "case_list": """SELECT c.anchor, r.site_id, count(*) FROM checks_span c JOIN readings_reading r ON r.probe_id = c.probe_id
 AND r.taken_at > c.starts_at AND r.taken_at <= c.ends_at WHERE c.anchor <> '' AND r.site_id IN ({sites})
 GROUP BY c.anchor, r.site_id""",
    "probe_list": """SELECT p.id, p.code, s.name, t.standing, t.due_at FROM probes_probe p JOIN sites_site s ON s.id = p.site_id
 JOIN checks_probestate t ON t.probe_id = p.id WHERE p.site_id IN ({sites}) AND NOT p.withdrawn ORDER BY t.due_at LIMIT 51""",
    "reading_export": STANDING + " WHERE r.site_id IN ({sites}) ORDER BY r.taken_at",
    "site_list": "SELECT s.id, s.name, a.name FROM sites_site s JOIN sites_area a ON a.id = s.area_id WHERE s.id IN ({sites})"
    " ORDER BY a.name, s.name LIMIT 51",
    "people": "SELECT DISTINCT p.id, p.name FROM sites_person p JOIN sites_membership m ON m.person_id = p.id"
    " WHERE m.site_id IN ({sites}) ORDER BY p.name LIMIT 51",
}
SEEN = """SELECT id FROM sites_site WHERE id IN (SELECT site_id FROM sites_membership WHERE person_id = {0})
 UNION SELECT s.id FROM sites_site s JOIN sites_membership m ON m.area_id = s.area_id WHERE m.person_id = {0}"""
QUERIES = everything.QUERIES | {"record_print": lambda records: {"site": records["site"].pk} | last_month()}
OF_AREA = "SELECT id FROM sites_site WHERE area_id = {}"
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

    def __init__(self, person: Person, only: str, without: str):
        self.person, self.only, self.without = person, only, without.split(",")
        self.client = Client(raise_request_exception=False)
        self.client.force_login(person)

    def walk(self) -> None:
        records, choices = records_of(self.person), {}
        self.area = records["area"]
        for name, wanted in everything.ADDRESSES:
            if not self._wanted(name):
                continue
            path = reverse(name, kwargs=everything.arguments(name, wanted, records))
            query = QUERIES.get(name, lambda records: {})(records)
            look = self.show(name, f"{path}?{urlencode(query)}" if query else path)
            if look.status == 200:
                choices = offered(path, look.html) | choices
        for address in choices.values():
            name = resolve(address.partition("?")[0]).url_name
            if self._wanted(name):
                self.show(name, address)

    def _wanted(self, name: str) -> bool:
        return self.only in ("", name) and name not in self.without

    def show(self, name: str, address: str) -> Look:
        look = look_at(self.client, address)
        if look.own_ms > SLOW:  # the first of a process loads what it draws or fits with
            look = look_at(self.client, address)
        if look.status not in (302, 403, 404, 405):
            shown = name if "?" not in address else f"{name} {address.partition('?')[2]}"
            floor = "" if "?" in address else best(name, self.person, self.area)
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


def best(name: str, person: Person, area: Area) -> str:
    """Milliseconds of the best statement by hand, the second time; of the processor, as those of a page."""
    if name not in FLOORS:
        return ""
    seen = OF_AREA.format(area.pk) if name.startswith("area_") else SEEN.format(person.pk)
    lately = LATELY[connection.vendor]
    sql = FLOORS[name].replace("{c_lately}", lately.format("c", "checked_at"))
    sql = sql.replace("{r_lately}", lately.format("r", "taken_at"))
    if connection.vendor == "postgresql":
        sql = sql.replace("IN ({sites})", "= ANY (ARRAY({sites}))")
    now = timezone.now().replace(tzinfo=None)
    sql = sql.format(sites=seen, now=now, since=now - 28 * DAY, early=now - 42 * DAY)
    for _ in range(2):
        with connection.cursor() as cursor:
            begun, server = time.process_time(), server_seconds()
            cursor.execute(sql)
            if connection.vendor == "sqlite":
                cursor.fetchall()
            took = server_seconds() - server or time.process_time() - begun
    return f"{took * 1000:.0f}"


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
    only, without, people = sys.argv[1], sys.argv[2], sys.argv[3].split(",") if sys.argv[3] else PEOPLE
    settings.ALLOWED_HOSTS = ["testserver"]
    if connection.vendor == "postgresql":
        settings.DATABASES["default"]["OPTIONS"]["options"] += f" -c statement_timeout={PATIENCE}s"
        # All is done by the one process of the server that is looked at.
        settings.DATABASES["default"]["OPTIONS"]["options"] += " -c max_parallel_workers_per_gather=0"
    print(f"\n{connection.vendor}, {Site.objects.count():,} sites\n\n{HEAD}", flush=True)
    for who in people:
        person = Person.objects.filter(email=f"{who}@quillwood.example").first()
        if person:
            with transaction.atomic():
                Pages(person, only, without).walk()
                transaction.set_rollback(True)


if __name__ == "__main__":
    run()
