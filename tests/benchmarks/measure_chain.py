"""How long writers of one business wait for each other because of the chain: the clock of four processes that record readings
at once, in turn with the chain and without. What a process itself works for the chain is in it, too."""

import multiprocessing
import time
import uuid
from collections.abc import Callable
from statistics import median
from unittest.mock import patch

from django.db import connection, transaction
from django.utils import timezone

from compliance.readings.actions import record
from compliance.readings.data import ReadingData
from shared.audit.chain import Unsealed
from tests.world import World, make_probe

WRITERS, ROUNDS, TIMES, GOAL = 4, 12, 40, 1.3


def store_as_they_come(unsealed: Unsealed) -> None:
    for entry, *_ in unsealed.entries:
        entry.save()


def run() -> None:
    world = World.build()
    for pk in range(WRITERS):
        make_probe(world.site, f"W{pk}", by=world.manager, limits=[world.limit])
    transaction.get_connection().close()
    start, told = multiprocessing.Barrier(WRITERS), multiprocessing.Queue()
    writers = [multiprocessing.Process(target=write, args=(world, n, start, told)) for n in range(WRITERS)]
    for writer in writers:
        writer.start()
    taken = [told.get() for _ in range(WRITERS * ROUNDS)]
    for writer in writers:
        writer.join()
    with_chain, without = ([each for chained, each in taken if chained is which] for which in (True, False))
    for share, words in ((0.5, "half"), (0.95, "19 of 20")):
        own, floor = (
            sorted(t for each in found for t in each)[int(share * TIMES * len(found))]
            for found in (with_chain, without)
        )
        print(
            f"{connection.vendor:11} {words} of the readings within {1000 * own:.1f} ms, without {1000 * floor:.1f}",
            flush=True,
        )
    own, floor = (median(sum(each) for each in found) for found in (with_chain, without))
    verdict = "met" if own <= GOAL * floor else "NOT met"
    print(
        f"{connection.vendor:11} {TIMES} readings each: {own / floor:.2f} × without (goal ≤ {GOAL}: {verdict})",
        flush=True,
    )


def write(world: World, number: int, start, told) -> None:
    probe = world.business.probes.get(code=f"W{number}")
    for turn in range(ROUNDS):
        chained = bool(turn % 2)
        start.wait()
        if chained:
            told.put((True, [timed(lambda: take(world, probe)) for _ in range(TIMES)]))
        else:
            with patch("shared.audit.trail.seal", store_as_they_come):
                told.put((False, [timed(lambda: take(world, probe)) for _ in range(TIMES)]))


def take(world: World, probe) -> None:
    data = ReadingData(
        key=uuid.uuid4(),
        probe=probe,
        site=world.site,
        limit=world.limit,
        item="milk",
        unit="C",
        typed="4.0",
        taken_at=timezone.now(),
    )
    record(by=world.cook, data=data)


def timed(act: Callable[[], object]) -> float:
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun
