"""A sweep over 10,000 and 100,000 probes; the sweep and the page of a day with 1,000 and 1,000,000 past checks.

Floor, measured in the same run and turn about: one bare INSERT … SELECT … ON CONFLICT DO NOTHING of the same rows into the
same table, with NOT EXISTS in front; first with none of them there, then again with every row there.
"""

import resource
import sys
from datetime import UTC, datetime, time, timedelta

from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.checks.models import Check, ProbeState
from compliance.checks.planning import make_slots
from compliance.checks.timeline import recut
from compliance.plans.models import Slot
from compliance.probes.models import Probe, Sensor
from compliance.reminders.models import Reminder
from compliance.reminders.sweep import sweep
from sites.models import Role, Site
from tests.benchmarks.engines import compare, seconds
from tests.benchmarks.measure_quarantine import settle
from tests.checks.making import good
from tests.world import World, make_probe, make_site

TURNS, AT_A_SITE = 7, 20
NOW = datetime.combine(timezone.now().date(), time(12), UTC)
DUE = NOW - timedelta(hours=3)
BARE = """
INSERT INTO plans_reminder (probe_id, site_id, since_at, opens_at, due_at, grace_at, closes_at, because, away)
SELECT s.probe_id, p.site_id, s.due_at, s.opens_at, s.due_at, s.grace_at, %s, s.due_because, s.asks_away
FROM checks_probestate s JOIN probes_probe p ON p.id = s.probe_id
WHERE s.due_at <= %s AND NOT EXISTS (SELECT 1 FROM plans_reminder r WHERE r.probe_id = s.probe_id AND r.due_at = s.due_at)
ON CONFLICT DO NOTHING
"""


def fill(world, count: int) -> None:
    """So many probes, twenty at a site, all due this morning by the plan that every business starts with."""
    sites = Site.objects.bulk_create(
        Site(area=world.area, name=f"S{count}-{n}", time_zone="UTC") for n in range(count // AT_A_SITE)
    )
    days = [NOW.date() + timedelta(days=n) for n in range(-1, 40)]
    slots = (
        Slot(site=site, plan_key=0, day=day, named=True, because="every 7 days",
             due_at=datetime.combine(day, time(9), UTC))
        for site in sites for day in days
    )  # fmt: skip
    Slot.objects.bulk_create(slots, batch_size=5000)
    probes = Probe.objects.bulk_create(
        (Probe(business=world.business, site=sites[n // AT_A_SITE], code=f"B{count}-{n}", sensor=Sensor.THERMISTOR)
         for n in range(count)), batch_size=5000,
    )  # fmt: skip
    week = timedelta(days=7)
    ProbeState.objects.bulk_create(
        (ProbeState(probe=probe, due_at=DUE, due_because="every 7 days", due_day=DUE.date(), grace_minutes=120,
                    grace_at=DUE + timedelta(hours=2),
                    opens_at=DUE - week, next_day=DUE.date() + week, next_key=0, next_days=7) for probe in probes),
        batch_size=5000,
    )  # fmt: skip

    Reminder.objects.bulk_create(
        (Reminder(probe=probe, site_id=probe.site_id, since_at=DUE - week, opens_at=DUE - 2 * week, due_at=DUE - week,
                  grace_at=DUE - week, closes_at=DUE, because="every 7 days") for probe in probes), batch_size=5000,
    )  # fmt: skip


def bare() -> None:
    keep = connection.ops.adapt_datetimefield_value
    with connection.cursor() as cursor:
        cursor.execute(BARE, [keep(NOW + timedelta(days=7)), keep(NOW)])


def measure_sweep(count: int) -> None:
    before = peak()
    timed: dict[str, list[float]] = {"bare first": [], "first": [], "bare again": [], "again": []}
    for _ in range(TURNS):
        for prefix, act in (("bare ", bare), ("", lambda: sweep(NOW))):
            empty()
            timed[f"{prefix}first"].append(seconds(act))
            assert Reminder.objects.filter(due_at=DUE).count() == count, "the benchmark compares two different answers"
            settle()
            timed[f"{prefix}again"].append(seconds(act))
    for turn in ("first", "again"):
        compare(timed[f"bare {turn}"], timed[turn], f"sweep of {count:,} probes, {turn}", 2, connection.vendor)
    with CaptureQueriesContext(connection) as queries:
        sweep(NOW)
    print(
        f"{connection.vendor:11} statements of a sweep: {len(queries)}; memory {before} MB, after them {peak()} MB",
        flush=True,
    )


def peak() -> int:
    """The most memory that this process ever held, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def empty() -> None:
    """Without those that are due; last week's stay, as in use. Into a table that PostgreSQL holds to be empty the bare
    statement is planned as a loop that reads again and again what it writes.
    """
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM plans_reminder WHERE due_at = %s", [connection.ops.adapt_datetimefield_value(DUE)])
    settle()


def add_past(world, probes: list[Probe], count: int) -> None:
    """So many good checks of these probes, one every so often over ten years, and a reminder for each that it cleared."""
    step = max(1, 10 * 365 * 86_400 // max(1, count // len(probes)))
    template = Check.objects.filter(probe=probes[0]).latest("pk")
    fields = [f.column for f in Check._meta.concrete_fields if f.column not in ("id", "key", "probe_id", "checked_at")]
    sqlite = connection.vendor == "sqlite"
    back = "strftime('%%Y-%%m-%%d %%H:%%M:%%S', {at}, '-' || (n.i * %(step)s + {more}) || ' seconds')" if sqlite else (
        "{at} - (n.i * %(step)s + {more}) * interval '1 second'")  # fmt: skip
    key = "lower(hex(randomblob(16)))" if sqlite else "gen_random_uuid()"
    numbers = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %(each)s)"
    start = connection.ops.adapt_datetimefield_value(NOW - timedelta(days=8))
    at = "%(start)s" if sqlite else "CAST(%(start)s AS timestamptz)"
    ids = ", ".join(str(probe.pk) for probe in probes)
    given = {"step": step, "each": count // len(probes), "start": start, "like": template.pk}
    columns = ", ".join(fields)
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO checks_check (key, probe_id, checked_at, {columns}) {numbers} "
            f"SELECT {key}, p.id, {back.format(at=at, more=0)}, {', '.join('c.' + f for f in fields)} "
            f"FROM n, checks_check c, probes_probe p WHERE c.id = %(like)s AND p.id IN ({ids})", given,
        )  # fmt: skip
        cursor.execute(
            "INSERT INTO plans_reminder (probe_id, site_id, since_at, opens_at, due_at, grace_at, closes_at, because, "
            f"away) {numbers} SELECT p.id, p.site_id, {back.format(at=at, more=-60)}, {back.format(at=at, more=60)}, "
            f"{back.format(at=at, more=-60)}, {back.format(at=at, more=-90)}, {back.format(at=at, more=-90)}, 'x', false "
            f"FROM n, probes_probe p WHERE p.id IN ({ids}) ON CONFLICT DO NOTHING", given,
        )  # fmt: skip


def site_with_past(world, name: str, count: int) -> Site:
    site = make_site(world.area, name)
    world.manager.memberships.create(role=Role.MANAGER, site=site)
    probes = [make_probe(site, f"{name}{n}", by=world.manager) for n in range(6)]
    for probe in probes:
        good(probe, world.cook, NOW - timedelta(days=8))
    add_past(world, probes, count)
    make_slots([site.pk])
    return site


def measure_history(world, past: int) -> None:
    """The page of a day of two sites with little and with much behind them, turn about, and a sweep of each database."""
    few, many = site_with_past(world, "Few", 1_000), None
    timed: dict[str, list[float]] = {name: [] for name in ("sweep few", "sweep many", "page few", "page many")}
    settle()
    sweep(NOW)
    browser = Client()
    browser.force_login(world.manager)
    timed["sweep few"] = [seconds(lambda: sweep(NOW)) for _ in range(5 * TURNS)]
    many = site_with_past(world, "Many", past)
    settle()
    sweep(NOW)
    timed["sweep many"] = [seconds(lambda: sweep(NOW)) for _ in range(5 * TURNS)]
    for _ in range(3 * TURNS):
        for name, site in (("page few", few), ("page many", many)):
            address = reverse("today_site", args=[site.pk])
            timed[name].append(seconds(lambda address=address: browser.get(address)))
            assert browser.get(address).status_code == 200
    for what in ("sweep", "page"):
        told = f"{what}, {past:,} past checks against 1,000"
        compare(timed[f"{what} few"], timed[f"{what} many"], told, 1.5, connection.vendor)
    print(
        f"{connection.vendor:11} checks: {Check.objects.count():,}, reminders: {Reminder.objects.count():,}", flush=True
    )


def run() -> None:
    settings.ALLOWED_HOSTS = ["testserver"]
    world = World.build()
    recut(world.probe)
    past = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    for count in (10_000, 100_000):
        ProbeState.objects.update(due_at=None)
        fill(world, count)
        measure_sweep(count)
    ProbeState.objects.update(due_at=None)
    Reminder.objects.all().delete()
    measure_history(world, past)
