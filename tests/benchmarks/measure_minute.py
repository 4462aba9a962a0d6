"""The tasks of one minute at noon, of a business of 100,000 probes with weekly plans that fall due all through the week, and a
weekly round at each site: with the rows, checks and readings of one day, then with those of two years.

What a task asks of the database is asked once more by EXPLAIN. PostgreSQL tells rows, SQLite the steps of its machine.
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, time, timedelta
from statistics import median

from django.conf import settings
from django.db import connection, models, transaction
from django.utils import timezone

from compliance.checks.models import Check, ProbeState, Verdict
from compliance.checks.unfinished import store_left
from compliance.limits.models import Limit, LimitVersion
from compliance.notices.delivery import send_waiting
from compliance.notices.enqueue import enqueue_due_notices
from compliance.notices.late_sources import became_late
from compliance.notices.models import KINDS, Notice, Notified, State
from compliance.notices.recipients import Kind
from compliance.plans.models import CheckPlan, Reminder, Round
from compliance.probes.models import Placement, Probe, Sensor
from compliance.readings.models import Reading
from compliance.reminders.planning import settle_all
from sites.models import Site
from tests.benchmarks.engines import know_sizes, processor_seconds
from tests.benchmarks.measure_horizon import peak, row
from tests.checks import making
from tests.visited import Statement, plan_of, watching
from tests.world import LONG_AGO, World, make_reading

AT_A_SITE, TURNS, SLACK, BATCH = 20, 5, 100, 5000
STEPS_A_ROW = 60  # of SQLite's machine, with what is looked up for a row
WEEKS = {"postgresql": 104, "sqlite": 26}
AHEAD = 6  # weeks of rows
NOW = datetime.combine(timezone.now().date(), time(12), UTC)
MINUTE, HOUR, DAY, WEEK = (timedelta(seconds=seconds) for seconds in (60, 3600, 86_400, 604_800))
NOON, A_DAY, A_WEEK, GRACE, LATELY = int(NOW.timestamp()), 86_400, 604_800, 7200, 10_800  # seconds
UNDONE, FAILED, TOLD = 10, 200, 50  # one of so many: not done yet of those lately due; failed; told of as overdue

# Everything falls due at a minute of its own, once a week.
DUE = f"{NOON} - w.n * {A_WEEK} - ({{}}.id % 10080) * 60"
OF_PROBES = f"SELECT p.id AS probe, p.site_id AS site, {DUE.format('p')} AS due FROM probes_probe p CROSS JOIN week w"
OF_ROUNDS = f"""SELECT r.id AS round, l.id AS lim, v.id AS version, l.site_id AS site, {DUE.format("l")} AS due
  FROM plans_round r JOIN limits_limit l ON l.id = r.limit_id JOIN limits_limitversion v ON v.limit_id = l.id CROSS JOIN week w"""
DONE = f"due <= {NOON - 300} AND NOT (due > {NOON - LATELY} AND {{}} % {UNDONE} = 0)"


def moment(seconds: str) -> str:
    return f"datetime({seconds}, 'unixepoch')" if connection.vendor == "sqlite" else f"to_timestamp({seconds})"


def key(*numbers: str) -> str:
    if connection.vendor == "sqlite":
        return f"printf('%016x%016x', {', '.join(numbers)})"
    return f"CAST(lpad(to_hex({numbers[0]}), 16, '0') || lpad(to_hex({numbers[1]}), 16, '0') AS {{}})"


class Filling:
    """Rows by INSERT … SELECT, each like one that is there already but for what is given of it in SQL."""

    def __init__(self, *like: models.Model):
        self.like = {type(each): each.pk for each in like}

    def put(self, model: type[models.Model], origin: str, **given: str) -> None:
        fields = [field for field in model._meta.concrete_fields if field.name != "id"]
        values = ", ".join(given.get(field.name, f's."{field.column}"') for field in fields)
        columns, table = ", ".join(f'"{field.column}"' for field in fields), model._meta.db_table
        said(
            f"INSERT INTO {table} ({columns}) SELECT {values} FROM ({origin}) o CROSS JOIN {table} s "
            f"WHERE s.{model._meta.pk.column} = {self.like[model]} ORDER BY o.due"
        )

    def rows(self, begins: int, ends: int) -> None:
        """What was asked for from a moment on up to another, the checks and readings that were made, and what was told of it."""
        within = f"due > {begins} AND due <= {ends}"
        asked = {
            "opens_at": "o.due - 60",
            "due_at": "o.due",
            "grace_at": f"o.due + {GRACE}",
            "late_at": f"o.due + {GRACE}",
        }
        asked |= {"closes_at": f"o.due + {A_WEEK - 60}", "recorded_at": f"o.due - {4 * A_WEEK}"}
        asked = {"site": "o.site"} | {name: moment(at) for name, at in asked.items()}
        checks, rounds = (f"SELECT * FROM ({origin}) x WHERE {within}" for origin in (OF_PROBES, OF_ROUNDS))
        self.put(Reminder, checks, **asked, probe="o.probe")
        self.put(Reminder, rounds, **asked, probe="NULL", round="o.round", limit="o.lim", point="''")
        self.checks(f"{checks} AND {DONE.format('probe')}")
        made = {"site": "o.site", "taken_at": moment("o.due + 300"), "recorded_at": moment("o.due + 300")}
        own = key("o.lim", "o.due").format("text")
        self.put(Reading, f"{rounds} AND {DONE.format('lim')}", **made, key=own, limit_version="o.version")
        self.told(begins, ends)

    def checks(self, origin: str) -> None:
        """Without what no statement of a minute reads: figures, reasons and budget."""
        made = {"probe": "o.probe", "site": "o.site", "checked_at": moment("o.due + 300")}
        made |= {"recorded_at": made["checked_at"], "key": key("o.probe", "o.due").format("uuid")}
        made |= dict.fromkeys(("budget", "preparation"), "'{}'") | dict.fromkeys(("why", "figures"), "'[]'")
        failed = f"(o.probe * 3 + o.due / 60) % {FAILED} = 0"
        verdict = f"CASE WHEN {failed} THEN '{Verdict.OUT_OF_TOLERANCE}' ELSE s.verdict END"
        self.put(Check, origin, **made, verdict=verdict)

    def told(self, begins: int, ends: int) -> None:
        period = f"> {moment(str(begins))} AND {{}} <= {moment(str(ends))}"
        failed = f"""SELECT id, site_id AS site, checked_at AS due FROM checks_check
          WHERE verdict = '{Verdict.OUT_OF_TOLERANCE}' AND checked_at > {moment(str(begins + 300))}
          AND checked_at <= {moment(str(ends + 300))}"""
        late = f"""SELECT id, due_at AS due FROM plans_reminder WHERE probe_id IS NOT NULL AND id % {TOLD} = 0
          AND due_at {period.format("due_at")} AND due_at < {moment(str(NOON - LATELY))}"""
        midnight = f"d.n * {A_DAY}"
        mornings = f"""SELECT t.id, {midnight} AS due FROM sites_site t CROSS JOIN day d
          WHERE {midnight} > {begins} AND {midnight} <= {ends}"""
        marks = {Kind.FAILED: (failed, "o.due"), Kind.OVERDUE: (late, "o.due"), Kind.DUE: (mornings, moment("o.due"))}
        for kind, (origin, at) in marks.items():
            self.put(Notified, origin, kind=f"'{kind.value}'", number="o.id", at=at)
        self.put(Notice, failed, about="'check ' || o.id", site="o.site", made_at="o.due", sent_at="o.due")


@contextmanager
def in_bulk() -> Iterator[None]:
    """PostgreSQL takes tens of millions of rows in minutes where it looks up and checks nothing for each of them, and makes its
    indexes afterwards."""
    if connection.vendor == "sqlite":
        yield
        return
    own = tuple(model._meta.db_table for model in (Reminder, Check, Reading, Notified, Notice))
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT indexname, indexdef FROM pg_indexes WHERE tablename = ANY(%s)"
            " AND indexname NOT IN (SELECT conname FROM pg_constraint)",
            [list(own)],
        )
        indexes = cursor.fetchall()
    said("SET session_replication_role = replica; SET work_mem = '256MB'; SET maintenance_work_mem = '1GB'")
    for name, _ in indexes:
        said(f'DROP INDEX "{name}"')
    yield
    for _, definition in indexes:
        said(definition)
    said("RESET session_replication_role; RESET work_mem; RESET maintenance_work_mem")


def said(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)


def number(table: str, first: int, last: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TEMPORARY TABLE {table} (n bigint)")
        cursor.executemany(f"INSERT INTO {table} VALUES (%s)", [[n] for n in range(first, last + 1)])


def fill(world: World, probes: int) -> Filling:
    """What is there now: sites, rounds, probes and what each is due for, and the rows ahead."""
    by = {"recorded_by": world.supervisor}
    CheckPlan.objects.create(business=world.business, every_days=7, effective_from=LONG_AGO.date(), **by)
    names = range(probes // AT_A_SITE)
    sites = Site.objects.bulk_create(Site(area=world.area, name=f"S{n}", time_zone="UTC") for n in names)
    limits = Limit.objects.bulk_create(
        Limit(site=site, code="soup", step="Soup", title="Soup", hazard="growth") for site in sites
    )
    version = LimitVersion.objects.get(limit=world.limit)
    like = {
        f.attname: getattr(version, f.attname)
        for f in LimitVersion._meta.concrete_fields
        if f.name not in ("id", "limit")
    }
    LimitVersion.objects.bulk_create(LimitVersion(**like, limit=limit) for limit in limits)
    Round.objects.bulk_create(
        Round(limit=limit, times=["09:00"], effective_from=LONG_AGO.date(), **by) for limit in limits
    )
    kind = {"business": world.business, "sensor": Sensor.THERMISTOR}
    made = (Probe(**kind, site=sites[n // AT_A_SITE], code=f"B{n}") for n in range(probes))
    made = Probe.objects.bulk_create(made, batch_size=BATCH)
    placed = (Placement(probe=probe, site_id=probe.site_id, starts_at=LONG_AGO, **by) for probe in made)
    Placement.objects.bulk_create(placed, batch_size=BATCH)
    filling = Filling(*stock(world))
    ProbeState.objects.bulk_create((state(probe) for probe in made), batch_size=BATCH)
    filling.rows(NOON, NOON + AHEAD * A_WEEK)
    return filling


def state(probe: Probe) -> ProbeState:
    last = NOW - MINUTE * (probe.pk % 10_080)
    waits = last > NOW - timedelta(seconds=300) or (last > NOW - timedelta(seconds=LATELY) and probe.pk % UNDONE == 0)
    return ProbeState(probe=probe, due_at=last if waits else last + WEEK, due_because="every 7 days")


def stock(world: World) -> list[models.Model]:
    """One of each of which many are made."""
    before = NOW - 4000 * DAY
    reminder = row(world.probe, before)
    reminder.save()
    words = dict.fromkeys(("about", "subject", "text", "html"), "Stop using probe P1, it failed its check. " * 2)
    sent = {
        "kind": Kind.FAILED.value,
        "person": world.manager,
        "site": world.site,
        "state": State.SENT,
        "in_page": True,
    }
    return [
        reminder,
        making.good(world.probe, world.cook, before),
        make_reading(world.probe, world.limit, "4.0", before, by=world.cook),
        Notified.objects.create(kind=Kind.FAILED, number=0, at=before),
        Notice.objects.create(**sent, **words, link="/", made_at=before, read_at=before),
    ]


TASKS: dict[str, Callable[[], object]] = {
    "reminders.settle": lambda: (settle_all(), store_left(NOW)),
    "notices.fill": lambda: enqueue_due_notices(NOW),
    "notices.send": lambda: send_waiting(lambda: NOW),
}


def undone(act: Callable[[], object]) -> None:
    with transaction.atomic():
        act()
        transaction.set_rollback(True)


def measure(history: str) -> dict[str, int]:
    """What each task visits."""
    know_sizes()
    counts = {model._meta.model_name: model.objects.count() for model in (Reminder, Check, Reading, Notified, Notice)}
    told(f"{history}: " + ", ".join(f"{count:,} of {name}" for name, count in counts.items()))
    late, found = became_late(NOW - MINUTE, NOW).count(), {}
    most = late + SLACK if connection.vendor == "postgresql" else (late + SLACK) * STEPS_A_ROW
    for name, act in TASKS.items():
        plans = plans_of(act)
        found[name] = sum(rows for rows, _ in plans)
        verdict, before = "met" if found[name] <= most else "NOT met", peak()
        took = median(processor_seconds(lambda act=act: undone(act)) for _ in range(TURNS))
        told(f"  {name}: {found[name]} {unit()} by {len(plans)} statements (goal ≤ {most}: {verdict}), {took:.3f} s")
        for rows, statement in plans:
            if rows > SLACK:
                told(f"    {rows} {unit()}, to look for {looked_for(statement)}")
        assert peak() <= before + 1, "memory"
    told(f"  memory {peak()} MB")
    return found


def plans_of(act: Callable[[], object]) -> list[tuple[int, Statement]]:
    """The statements of a task, each with what it visits, the most first."""
    with watching() as watched:
        undone(act)
    plans = [(plan_of(statement).rows, statement) for statement in watched.reads()]
    return sorted(plans, key=lambda each: -each[0])


def unit() -> str:
    return "rows" if connection.vendor == "postgresql" else "steps"


def looked_for(statement: Statement) -> str:
    return next((kind for kind, _ in KINDS if kind in statement.params), statement.sql[:60])


def told(line: str) -> None:
    print(f"{connection.vendor:11} {line}", flush=True)


def run() -> None:
    settings.MAIL_WORKS, settings.EMAIL_BACKEND = True, "django.core.mail.backends.dummy.EmailBackend"
    probes = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    weeks = int(sys.argv[2]) if len(sys.argv) > 2 else WEEKS[connection.vendor]
    number("week", -AHEAD, weeks)
    number("day", NOON // A_DAY - weeks * 7, NOON // A_DAY + 1)
    filling = fill(World.build(), probes)
    filling.rows(NOON - A_DAY, NOON)
    enqueue_due_notices(NOW - MINUTE)
    send_waiting(lambda: NOW - MINUTE, most=10**6, seconds=10**6)
    short = measure("one day")
    with in_bulk():
        filling.rows(NOON - weeks * A_WEEK, NOON - A_DAY)
    long = measure(f"{weeks} weeks")
    steps = 1 if connection.vendor == "postgresql" else STEPS_A_ROW
    told(
        f"the same for both: {'met' if all(long[name] <= short[name] + SLACK * steps for name in short) else 'NOT met'}"
    )
