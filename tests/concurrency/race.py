"""People who act on the same thing at the same moment, each in a thread with a connection of its own.

`python -m tests.concurrency.race`, a process of its own on empty tables, prints what came of each contest as JSON.
"""

import json
import threading
import uuid
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from itertools import pairwise

import django
from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

django.setup()  # before the models below can be read

from compliance.advice import actions as advice  # noqa: E402
from compliance.advice.models import Acceptance  # noqa: E402
from compliance.checks.check_rows import differing  # noqa: E402
from compliance.checks.horizon import extend  # noqa: E402
from compliance.checks.instruments import register_probe  # noqa: E402
from compliance.checks.models import Check, Span  # noqa: E402
from compliance.checks.timeline import TOLD, lock, recut  # noqa: E402
from compliance.limits import actions as limits  # noqa: E402
from compliance.limits.data import OwnLimit  # noqa: E402
from compliance.limits.models import Limit  # noqa: E402
from compliance.probes.models import Probe  # noqa: E402
from compliance.quarantine import actions as quarantine  # noqa: E402
from compliance.quarantine.assessing import Selection  # noqa: E402
from compliance.quarantine.models import Decision, Fate  # noqa: E402
from compliance.readings import actions as readings  # noqa: E402
from compliance.readings.data import ActData, ReadingData  # noqa: E402
from compliance.readings.importing.bring import import_file  # noqa: E402
from compliance.readings.models import CorrectiveAction, Import, Reading, ReadingVoid  # noqa: E402
from compliance.readings.queries import sent_before  # noqa: E402
from compliance.reminders.actions import excuse_reminder  # noqa: E402
from compliance.reminders.models import Reminder  # noqa: E402
from shared.audit.models import Entry  # noqa: E402
from sites.actions import add_area, add_person, add_site  # noqa: E402
from sites.data import NewPerson  # noqa: E402
from sites.models import Area, Person, Site  # noqa: E402
from tests.checks.making import bad, day, event, good  # noqa: E402
from tests.concurrency import ROUNDS  # noqa: E402
from tests.concurrency.baths import left_and_finished, one_bath_finished_twice  # noqa: E402
from tests.concurrency.sign_ins import Slow, links_at_once, tries_at_once  # noqa: E402
from tests.plans.making import days_of  # noqa: E402
from tests.quarantine.making import case_of, failed_after  # noqa: E402
from tests.readings.files import many  # noqa: E402
from tests.world import World, make_probe  # noqa: E402


def at_once(*acts: Callable) -> list[str]:
    """Run them from one starting shot; gives what went wrong, in words."""
    shot, wrong = threading.Barrier(len(acts)), []

    def run(act):
        try:
            shot.wait()
            act()
        except Exception as error:  # whatever it is, the test is to see it
            wrong.append(f"{type(error).__name__}: {error}")
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[act]) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return wrong


def spans_of(probe) -> list[tuple]:
    return list(Span.objects.filter(probe=probe).order_by("ends_at").values_list("ends_at", *TOLD))


def cut_afresh(probe) -> list[tuple]:
    with transaction.atomic():
        Span.objects.filter(probe=probe).delete()
        recut(probe)
    return spans_of(probe)


def checks_on_one_probe(world) -> dict:
    """Two people whose checks interleave in time, and a third who adjusts the probe."""
    probe = make_probe(world.site, "RACE1", by=world.manager, limits=[world.limit])
    wrong = []
    for n in range(ROUNDS):
        wrong += at_once(
            lambda n=n: good(probe, world.cook, day(n)),
            lambda n=n: bad(probe, world.manager, day(n + 0.5)),
            lambda n=n: event(probe, world.manager, "adjusted", day(n + 0.25)),
        )
    stored = spans_of(probe)
    return {
        "wrong": wrong,
        "checks": Check.objects.filter(probe=probe).count(),
        "spans": len(stored),
        "touching": all(before[0] == after[1] for before, after in pairwise(stored)),
        "as_cut_afresh": stored == cut_afresh(probe),
    }


def decisions_on_one_case(world) -> dict:
    """A manager and a supervisor decide on the same readings, in opposite ways, again and again."""
    anchor = failed_after(world, *["3.0"] * 15)
    wrong = []
    case = case_of(anchor)
    discarded = quarantine.DecisionData(fate=Fate.DISCARDED, why="two litres")
    reworked = quarantine.DecisionData(fate=Fate.REWORKED, why="Heated to 75 °C")
    everything = {"case": case, "selection": Selection(sites=tuple(case.sites))}
    for _ in range(ROUNDS):
        wrong += at_once(
            lambda: quarantine.decide(by=world.manager, data=discarded, **everything),
            lambda: quarantine.decide(by=world.supervisor, data=reworked, **everything),
        )
    current = Decision.objects.filter(replaced_by__isnull=True).values_list("reading_id", flat=True)
    return {
        "wrong": wrong,
        "decisions": Decision.objects.count(),
        "current": len(current),
        "readings": len(set(current)),
    }


def one_form_twice(world) -> dict:
    """The same key from two connections: a check, a reading, a correction, a corrective action, a file; and two files that
    tell the same readings otherwise."""
    probe = make_probe(world.site, "RACE2", by=world.manager, limits=[world.limit])
    wrong = []
    for n in range(ROUNDS):
        key = uuid.uuid4()
        wrong += at_once(*[lambda n=n, key=key: good(probe, world.cook, day(n), key=key)] * 2)
        wrong += at_once(*[lambda n=n, key=key: take(world, probe, key, day(n), "9.0")] * 2)
        reading = sent_before(world.site, key)
        done = ActData(action="Binned.", cause="Door left open.", disposition="discarded", done_at=day(n + 0.1))
        told = {"by": world.cook, "deviation": reading.deviation, "data": done}
        wrong += at_once(*[lambda told=told: readings.act_on_deviation(**told)] * 2)
        another = uuid.uuid4()
        wrong += at_once(*[lambda r=reading, key=another: mend(world, r, key)] * 2)
    content, before = many(300), Reading.objects.count()
    wrong += at_once(*[lambda: import_file(by=world.manager, file_name="week.csv", content=content)] * 2)
    imported = Reading.objects.count() - before
    apart = [many(300, "4.5", note=note) for note in ("top shelf", "door")]
    wrong += at_once(*[lambda c=c: import_file(by=world.manager, file_name="apart.csv", content=c) for c in apart])
    return {
        "wrong": wrong,
        "imported": imported,
        "told_apart": sorted((i.added, i.refused_count) for i in Import.objects.filter(file_name="apart.csv")),
        "checks": Check.objects.filter(probe=probe).count(),
        "readings": Reading.objects.filter(probe=probe).count(),
        "voids": ReadingVoid.objects.filter(voids__probe=probe).count(),
        "actions": CorrectiveAction.objects.count(),
        "told": Entry.objects.filter(action="reading.record").count(),
    }


def advice_on_one_probe(world) -> dict:
    """Two people accept from the same page, with other days each: the second is told that the days are others now."""
    probe = make_probe(world.site, "RACE3", by=world.manager)
    told = []
    for _ in range(ROUNDS):
        shown = days_of(probe)
        first, second = [days for days in (2, 3, 4) if days != shown][:2]
        told += at_once(
            lambda shown=shown, days=first: accept(world.manager, probe.pk, shown, days),
            lambda shown=shown, days=second: accept(world.supervisor, probe.pk, shown, days),
        )
    chain = list(Acceptance.objects.filter(probe=probe).order_by("pk").values_list("days_before", "days_accepted"))
    return {
        "wrong": [text for text in told if "Somebody has set the checks to" not in text],
        "refused": len(told),
        "accepted": len(chain),
        "linked": all(before[1] == after[0] for before, after in pairwise(chain)),
        "in_force": chain[-1][1] == days_of(probe),
    }


def accept(person, pk, shown, days):
    told = {"days_before": shown, "days_advised": days, "days_accepted": days, "target": 95, "figures": {}}
    return advice.accept(by=person, probe=Probe.objects.get(pk=pk), advised=advice.Advised(**told))


def take(world, probe, key, at, typed):
    data = ReadingData(
        key=key, probe=probe, site=world.site, limit=world.limit, item="milk", typed=typed, unit="C", taken_at=at
    )
    return readings.record(by=world.cook, data=data)


def mend(world, reading, key):
    data = ReadingData(
        key=key,
        probe=reading.probe,
        site=world.site,
        limit=world.limit,
        item="milk",
        typed="4.0",
        unit="C",
        taken_at=reading.taken_at,
    )
    return readings.correct(by=world.cook, reading=reading, reason="misread", data=data)


def one_name_twice(world) -> dict:
    """Two people give the same name at once, to a probe, a limit, a site, an area, a person: one has it, the other is told."""
    told = []
    limit = {
        "step": "x",
        "title": "x",
        "hazard": "x",
        "direction": "at_most",
        "value": Decimal(5),
        "unit": "C",
        "usual_action": "x",
    }
    begins = {"site": world.site, "effective_from": day(0)}
    person = {"name": "Two Ames", "initials": "TA", "password": "quiet-lantern-47"}
    role = {"role": 20, "site": world.site}
    for n in range(ROUNDS):
        name = f"twice-{n}"
        for act in (
            lambda by, name=name: register_probe(by=by, site=world.site, code=name, sensor="unknown"),
            lambda by, name=name: limits.add(by=by, own=OwnLimit(code=name, **limit), **begins),
            lambda by, name=name: add_site(by=by, area=world.area, name=name),
            lambda by, name=name: add_area(by=by, business=world.business, name=name),
            lambda by, name=name: add_person(by=by, data=NewPerson(email=f"{name}@example.test", **person), **role),
        ):
            told += at_once(*[lambda by=by, act=act: act(by) for by in (world.manager, world.supervisor)])
    made = {"code__startswith": "twice-"}
    return {
        "wrong": [text for text in told if not text.startswith("ValidationError")],
        "refused": len(told),
        "made": [
            Probe.objects.filter(**made).count(),
            Limit.objects.filter(**made).count(),
            *(model.objects.filter(name__startswith="twice-").count() for model in (Site, Area)),
            Person.objects.filter(email__startswith="twice-").count(),
        ],
    }


def nights_at_once(world) -> dict:
    """Rows are laid ahead twice at once, and a cook checks one of the probes in the middle; then two excuse the same reminder."""
    probes = [make_probe(world.site, f"NIGHT{n}", by=world.manager, limits=[world.limit]) for n in range(6)]
    for probe in probes:
        with transaction.atomic():
            recut(lock(probe))
    wrong, now, began = [], timezone.now(), timezone.now() - timedelta(days=5)
    for n in range(ROUNDS):
        later = now + timedelta(days=7 * n)
        wrong += at_once(
            lambda later=later: extend(later),
            lambda later=later: extend(later),
            lambda n=n: good(probes[n], world.cook, began),
        )
    extend(later)
    laid = Reminder.objects.filter(probe__in=probes, due_at__gt=now)
    differs = [f"{row} {what}" for _, row, what in differing(probes, now)]
    reminder = Reminder.objects.filter(probe=probes[-1]).earliest("due_at")
    told = at_once(
        *[
            lambda by=by: excuse_reminder(by=by, reminder=reminder, reason="mistyped")
            for by in (world.manager, world.supervisor)
        ]
    )
    return {
        "wrong": wrong + [text for text in told if "excused this already" not in text],
        "differs": differs,
        "fewest": min(laid.filter(probe=probe).count() for probe in probes),
        "excuses": reminder.excuses.count(),
        "refused": len(told),
    }


def main() -> None:
    settings.PASSWORD_HASHERS = [f"{Slow.__module__}.{Slow.__name__}"]
    world = World.build()
    contests = (
        checks_on_one_probe,
        decisions_on_one_case,
        one_form_twice,
        advice_on_one_probe,
        one_name_twice,
        nights_at_once,
    )
    left = {contest.__name__: contest(world) for contest in contests}
    in_other_files = (left_and_finished, one_bath_finished_twice, tries_at_once, links_at_once)
    left |= {contest.__name__: contest(world, at_once) for contest in in_other_files}
    print(json.dumps(left))


if __name__ == "__main__":
    main()
