"""What befalls an installation. Each strike is over, or its part replaced, when it returns; health is told what was down when."""

import random
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext

import psycopg

from tests.engine.clocks import HOUR
from tests.engine.installation import Installation
from tests.engine.post import MODES
from tests.engine.programs import Program, until


class Scene:
    """The programs of a run, and what is known to be down from when to when."""

    def __init__(self, installation: Installation, chance: random.Random):
        self.installation, self.chance = installation, chance
        self.workers = [installation.worker(), installation.worker()]
        self.beats = [installation.beat()]
        self.web = installation.start()
        self.down: list[tuple[str, float, float]] = []
        self.interruptions = 0  # senders that may have had an answer on its way

    @contextmanager
    def without(self, part: str) -> Iterator[None]:
        begun = time.monotonic()
        yield
        self.down.append((part, begun, time.monotonic()))

    def one(self, programs: list[Program]) -> Program:
        return self.chance.choice(programs)

    def forget(self) -> None:
        """Before the next run."""
        self.down.clear()
        self.interruptions = 0

    def kill(self, worker: Program, alone: bool = False) -> None:
        self.interruptions += 1
        worker.kill(alone=alone)

    def another_worker(self, dead: Program) -> None:
        self.workers[self.workers.index(dead)] = self.installation.worker()


def worker_killed(scene: Scene) -> None:
    """At any moment, with or without the process it works in."""
    dead = scene.one(scene.workers)
    scene.kill(dead, alone=scene.chance.random() < 0.5)
    scene.another_worker(dead)


def workers_killed_in_mid_sweep(scene: Scene) -> None:
    """All of them, while the statement that writes reminders is under way: it waits for a table that is held."""
    with psycopg.connect(scene.installation.database_url) as holding:
        holding.execute("LOCK TABLE reminders_reminder IN EXCLUSIVE MODE")
        until(lambda: sweeping(scene.installation), what="a sweep to begin")
        for dead in list(scene.workers):
            scene.kill(dead)
    for dead in list(scene.workers):
        scene.another_worker(dead)


def sweeping(installation: Installation) -> bool:
    waiting = "wait_event_type = 'Lock' AND query LIKE '%INSERT INTO reminders_reminder%' AND pid <> pg_backend_pid()"
    return bool(installation.rows(f"SELECT pid FROM pg_stat_activity WHERE {waiting}"))


def workers_killed_in_mid_send(scene: Scene) -> None:
    """All of them, while the mail server has a message in hand and does not answer."""
    post = scene.installation.post
    before, post.mode = post.asked["hang"], "hang"
    try:
        until(lambda: post.asked["hang"] > before or nothing_to_send(scene.installation), what="a message to be sent")
        for dead in list(scene.workers):
            scene.kill(dead)
    finally:
        post.mode = "accept"
    for dead in list(scene.workers):
        scene.another_worker(dead)


def nothing_to_send(installation: Installation) -> bool:
    return not installation.rows("SELECT id FROM notices_notice WHERE state IN ('waiting', 'leased') LIMIT 1")


def mail_server(mode: str) -> Callable[[Scene], None]:
    def strike(scene: Scene) -> None:
        scene.installation.post.mode = mode
        time.sleep(scene.chance.uniform(1, 4))
        scene.installation.post.mode = "accept"

    strike.__name__ = f"mail_server_{mode}s"
    return strike


def mail_server_away(scene: Scene) -> None:
    scene.installation.post.shut()
    time.sleep(scene.chance.uniform(1, 4))
    scene.installation.post.open()


def beat_killed(scene: Scene) -> None:
    dead = scene.one(scene.beats)
    dead.kill()
    scene.beats[scene.beats.index(dead)] = scene.installation.beat()


def second_beat(scene: Scene) -> None:
    if len(scene.beats) < 2:
        scene.beats.append(scene.installation.beat())


def broker_emptied(scene: Scene) -> None:
    """Killed, away for a while, back with nothing in it."""
    redis = scene.installation.redis
    redis.kill()
    with scene.without("broker"):
        time.sleep(scene.chance.uniform(0, 4))
    redis.start()


def broker_frozen(scene: Scene) -> None:
    scene.installation.redis.freeze()
    with scene.without("broker"):
        time.sleep(scene.chance.uniform(0, 4))
    scene.installation.redis.thaw()


def database_crashed(scene: Scene) -> None:
    scene.interruptions += len(scene.workers)  # each may have been about to note an answer
    scene.installation.postgres.restart(away=round(scene.chance.uniform(0, 3), 2))


def database_frozen(scene: Scene) -> None:
    """Connections stay open and are answered when it goes on, if anybody waits so long."""
    scene.interruptions += len(scene.workers)  # each may have been about to note an answer
    scene.installation.postgres.freeze()
    with scene.without("database"):
        time.sleep(scene.chance.uniform(1, 8))
    scene.installation.postgres.thaw()


def network_swallows(scene: Scene) -> None:
    """What is sent to the database meanwhile is lost, and so are the connections that it was sent by."""
    scene.interruptions += len(scene.workers)
    scene.installation.network.swallow()
    with scene.without("database"):
        time.sleep(scene.chance.uniform(1, 8))
    scene.installation.network.carry()


def clocks_set(name: str, *hours: int) -> Callable[[Scene], None]:
    """Of our programs, of the database, or of all machines; by so many hours one after the other, and then put right."""

    def strike(scene: Scene) -> None:
        clocks = scene.installation.clocks
        moved = clocks.all if name == "all" else [getattr(clocks, name)]
        if scene.chance.random() < 0.5:  # its lease ends by another clock than it was granted by
            beat_killed(scene)
        try:
            for ahead in hours:
                for clock in moved:
                    clock.set(ahead * HOUR)
                with scene.without("clocks") if name != "all" and ahead else nullcontext():
                    time.sleep(scene.chance.uniform(1, 4))
                    told = scene.installation.ahead(scene.web)
                    expected = {"web": name != "database", "database": name != "programs", "broker": name == "all"}
                    wrong = {part for part, struck in expected.items() if round(told[part] / HOUR) != ahead * struck}
                    assert not wrong, f"the clocks of {wrong} did not move: {told}"
        finally:
            clocks.put_right()

    strike.__name__ = f"clocks_of_{name}_set_{'_and_'.join('back' if ahead < 0 else 'forward' for ahead in hours)}"
    return strike


STRIKES: list[Callable[[Scene], None]] = [
    worker_killed,
    workers_killed_in_mid_sweep,
    beat_killed,
    second_beat,
    broker_emptied,
    broker_frozen,
    database_crashed,
    database_frozen,
    network_swallows,
    clocks_set("programs", -1),
    clocks_set("programs", 1, -1),
    clocks_set("database", -1),
    clocks_set("database", 1, -1),
    clocks_set("all", -1),
    clocks_set("all", 1, -1),
    workers_killed_in_mid_send,
    mail_server_away,
    *(mail_server(mode) for mode in MODES if mode != "accept"),
]
