"""Rows of checks laid a day further ahead for 10,000 probes, or as many as are given; a plan of their business.

Floor, measured in the same run and turn about: the same rows by executemany on SQLite, by COPY on PostgreSQL.
"""

import gc
import resource
import sys
from datetime import UTC, datetime, time, timedelta

from django.db import connection
from django.utils import timezone

from compliance.checks import horizon, planning
from compliance.checks.models import ProbeState
from compliance.checks.planning import settle
from compliance.plans.calendar import DAY
from compliance.plans.data import PlanData
from compliance.plans.models import CheckPlan, Reminder, Unsettled
from compliance.plans.schedule import TICK
from compliance.probes.models import Placement, Probe, Sensor
from compliance.reminders.planning import change_plan
from sites.models import Site
from tests.benchmarks.engines import compare, processor_seconds
from tests.benchmarks.measure_quarantine import settle as let_it_settle
from tests.world import World

TURNS, AT_A_SITE, ROWS = 5, 20, 5
BATCH_GOAL, ANSWER_GOAL = 0.2, 1.0  # seconds
NOW = datetime.combine(timezone.now().date(), time(12), UTC)
LAST = NOW + horizon.AHEAD - timedelta(hours=3)  # the last row that is there; the night lays one more


def fill(world: World, count: int) -> None:
    """So many probes, twenty at a site, each with the last of its rows ahead."""
    sites = Site.objects.bulk_create(
        Site(area=world.area, name=f"S{n}", time_zone="UTC") for n in range(count // AT_A_SITE)
    )
    CheckPlan.objects.create(
        business=world.business, every_days=1, effective_from=(NOW - 9 * DAY).date(), recorded_by=world.supervisor
    )
    probes = Probe.objects.bulk_create(
        (
            Probe(business=world.business, site=sites[n // AT_A_SITE], code=f"B{n}", sensor=Sensor.THERMISTOR)
            for n in range(count)
        ),
        batch_size=5000,
    )
    since = NOW - DAY
    Placement.objects.bulk_create(
        (Placement(probe=p, site_id=p.site_id, starts_at=since, recorded_by=world.supervisor) for p in probes),
        batch_size=5000,
    )
    ProbeState.objects.bulk_create(
        (ProbeState(probe=p, due_at=NOW + DAY, due_because="every day") for p in probes), batch_size=5000
    )
    Reminder.objects.bulk_create((row(p, LAST - DAY * n) for p in probes for n in range(ROWS)), batch_size=5000)


def row(probe: Probe, due: datetime) -> Reminder:
    return Reminder(
        probe=probe,
        site_id=probe.site_id,
        point="zero",
        day=due.date(),
        due_at=due,
        opens_at=due - TICK,
        grace_at=due + timedelta(hours=2),
        closes_at=due + DAY - TICK,
        late_at=due + timedelta(hours=2),
        because="every day",
        recorded_at=NOW - DAY,
    )


def measure(count: int) -> None:
    kept, batches = horizon.put, []
    rows: list[tuple] = []
    horizon.put = lambda some, columns: (rows.extend(some), kept(some, columns))
    horizon.extend(NOW)
    horizon.put = kept
    assert len(rows) == count, f"{len(rows)} rows in place of {count}"
    gc.freeze()  # nobody looks through these again and again at night
    ordinary = horizon._extend_some
    horizon._extend_some = lambda *given: batches.append(processor_seconds(lambda: ordinary(*given)))
    timed: dict[str, list[float]] = {"floor": [], "ours": []}
    before = peak()
    for _ in range(TURNS):
        for name, act in (("floor", lambda: kept(rows, horizon.COLUMNS)), ("ours", lambda: horizon.extend(NOW))):
            empty()
            timed[name].append(processor_seconds(act))
            assert Reminder.objects.filter(due_at__gt=LAST).count() == count, "two different answers"
    horizon._extend_some = ordinary
    compare(timed["floor"], timed["ours"], f"a day further ahead for {count:,} probes", 8, connection.vendor)
    told("the slowest batch", max(batches), BATCH_GOAL)
    told("again, with nothing to lay", processor_seconds(lambda: horizon.extend(NOW)), None)
    print(f"{connection.vendor:11} memory {before} MB before, {peak()} MB after", flush=True)


def measure_plan(world: World) -> None:
    plan = PlanData(business=world.business, every_days=2, reason="Agreed.")
    told("a plan of the business", processor_seconds(lambda: change_plan(by=world.supervisor, data=plan)), ANSWER_GOAL)
    some = list(Unsettled.objects.order_by("pk").values_list("pk", flat=True)[:50])
    batches, ordinary = [], planning._settle_some

    def timed(*given):
        found = []
        batches.append(processor_seconds(lambda: found.append(ordinary(*given))))
        return found[0]

    planning._settle_some = timed
    for pk in some:
        settle(pk)
    planning._settle_some = ordinary
    told(f"the slowest of {len(batches)} batches at fifty sites", max(batches), BATCH_GOAL)


def told(what: str, took: float, goal: float | None) -> None:
    verdict = "" if goal is None else f" (goal ≤ {goal}: {'met' if took <= goal else 'NOT met'})"
    print(f"{connection.vendor:11} {what}: {took:.3f} s{verdict}", flush=True)


def empty() -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM plans_reminder WHERE due_at > %s", [connection.ops.adapt_datetimefield_value(LAST)])
    let_it_settle()


def peak() -> int:
    """The most memory that this process ever held, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def run() -> None:
    world = World.build()
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    fill(world, count)
    measure(count)
    measure_plan(world)
