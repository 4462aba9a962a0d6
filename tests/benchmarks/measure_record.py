"""Recording a reading (asked whether the form came before, judged by the limit in force then and by what its probe is worth,
stored with its entry in the trail), and the whole answer to the form, against two floors of the same run: the same two rows
inserted by the database's own driver, and saved by Django's models.

Processor time, of this process and of the server process behind its connection: what waiting takes depends on the machine.
"""

import time
import uuid
from collections.abc import Callable
from statistics import median

from django.conf import settings
from django.db import connection, models, transaction
from django.test import Client
from django.utils import timezone

from compliance.readings.actions import record
from compliance.readings.data import ReadingData
from compliance.readings.models import Reading
from shared.audit.models import Entry
from tests.benchmarks.engines import know_sizes, server_seconds
from tests.world import World

ROUNDS, TIMES, GOAL = 5, 100, 5


class Ways:
    """The ways in which one more reading gets into the database."""

    def __init__(self):
        self.world, self.client = World.build(), Client()
        self.client.force_login(self.world.cook)
        made = self.action()
        entry = Entry.objects.get(subject_type="readings.reading", subject_id=made.pk)
        self.reading, self.entry = _values(Reading.objects.get(pk=made.pk)), _values(entry) | {"number": None}
        self.bare_reading, self.bare_entry = _prepared(Reading, self.reading), _prepared(Entry, self.entry)

    def bare(self) -> None:
        cursor = connection.connection.cursor()  # the driver's own
        cursor.execute("BEGIN IMMEDIATE" if connection.vendor == "sqlite" else "BEGIN")
        number = _insert(cursor, Reading, self.bare_reading | {"key": uuid.uuid4().hex})
        _insert(cursor, Entry, self.bare_entry | {"subject_id": number})
        cursor.execute("COMMIT")

    def saved(self) -> None:
        with transaction.atomic():
            reading = Reading(**self.reading | {"key": uuid.uuid4().hex})
            reading.save()
            Entry(**self.entry | {"subject_id": reading.pk}).save()

    def action(self) -> Reading:
        world = self.world
        told = {"probe": world.probe, "site": world.site, "limit": world.limit, "item": "milk", "unit": "C"}
        data = ReadingData(key=uuid.uuid4(), typed="4.0", taken_at=timezone.now(), **told)
        return record(by=world.cook, data=data)

    def page(self) -> None:
        world = self.world
        typed = {"probe": world.probe.pk, "limit": world.limit.pk, "item": "milk", "typed": "4.0", "unit": "C"}
        left = dict.fromkeys(("taken_at", "note", "hold_s", "since_start_s"), "")
        sent = {"key": uuid.uuid4().hex, "taken_by": world.cook.pk, **typed, **left}
        if self.client.post(f"/readings/add/?site={world.site.pk}", sent).status_code != 302:
            raise RuntimeError("The reading was not saved.")


def _values(row: models.Model) -> dict:
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields if not field.primary_key}


def _prepared(model: type[models.Model], values: dict) -> dict:
    """As the driver takes them."""
    return {name: model._meta.get_field(name).get_db_prep_save(value, connection) for name, value in values.items()}


def _insert(cursor, model: type[models.Model], row: dict) -> int:
    marks = ", ".join(["?" if connection.vendor == "sqlite" else "%s"] * len(row))
    sql = f"INSERT INTO {model._meta.db_table} ({', '.join(row)}) VALUES ({marks}) RETURNING id"
    cursor.execute(sql, list(row.values()))
    return cursor.fetchone()[0]


def run() -> None:
    settings.ALLOWED_HOSTS = ["testserver"]
    ways = Ways()
    acts = {name: getattr(ways, name) for name in ("bare", "saved", "action", "page")}
    taken = {name: [] for name in acts}
    know_sizes()
    for _ in range(ROUNDS + 1):
        for name, act in acts.items():
            taken[name].append(processor_ms(act))
    told = {name: [median(each) for each in zip(*found[1:], strict=True)] for name, found in taken.items()}
    floor, saved = sum(told["bare"]), sum(told["saved"])
    for name, (own, server) in told.items():
        both = own + server
        words = (
            f"{own:.2f} ms own, {server:.2f} ms of the server: {both / floor:.1f} × bare, {both / saved:.1f} × saved"
        )
        print(f"{connection.vendor:11} {name:7} {words}", flush=True)
    verdict = "met" if sum(told["action"]) <= GOAL * floor else "NOT met"
    print(f"{connection.vendor:11} goal of the action: ≤ {GOAL} × bare: {verdict}", flush=True)


def processor_ms(act: Callable[[], object]) -> tuple[float, float]:
    """Of one of many: this process's, and that of the server process of this connection. SQLite has none."""
    before = time.process_time(), server_seconds()
    for _ in range(TIMES):
        act()
    return tuple(
        1000 * (now - then) / TIMES for now, then in zip((time.process_time(), server_seconds()), before, strict=True)
    )
