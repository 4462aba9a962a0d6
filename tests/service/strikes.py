"""What befalls an installation. Each strike is over, or its part replaced, when it returns; the scene keeps what was down when,
and how long health may take to notice.
"""

import random
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

import psycopg

from tests.service.installation import Installation
from tests.service.post import MODES
from tests.service.programs import Program, until
from tests.service.telling import hurry
from tests.service.truth import KNOWN_BY_DATABASE, PATIENCE, Struck
from tests.service.visitor import Visitor

STALE = PATIENCE + 1.5  # seconds after its last moment in which a part that is dead is found to be silent
LONG = STALE + 3
NO_DATABASE = dict.fromkeys(("database", *KNOWN_BY_DATABASE), 0.2)  # without it, all that it tells of is unknown
READS_FOR = 0.1  # seconds that the mail server has a letter before it says so, in which the sender may die


class Scene:
    """The programs of a run, and what is known to be down from when to when. `hasty` leaves nothing down for long."""

    def __init__(self, installation: Installation, chance: random.Random, workers: int = 2, hasty: bool = False):
        self.installation, self.chance, self.hasty = installation, chance, hasty
        # Seconds in which whoever has claimed a notice and lives has let it go: a task is ended after three, or was frozen.
        self.claimed_for = 10 if hasty else 20
        installation.post.reads_for = READS_FOR
        self.web = installation.start()
        self.web.says("celery -A compliance beat")  # that nobody works for it yet
        self.workers = [installation.worker() for _ in range(workers)]
        self.beats = [installation.beat()]
        self.dead: list[Program] = []  # pages that were killed
        self.struck: list[Struck] = []
        self.kills: list[tuple[float, float]] = []  # of senders, which may have had an answer on its way
        self.something_to_tell: Callable[[list[float]], None] = lambda waits: None
        self.visitor: Visitor | None = None

    def signed_in(self) -> Visitor:
        """The same for all who record, for looking at a password takes half a second; another once a page did not come."""
        self.visitor = visitor = self.visitor or Visitor(self.installation.address(self.web))
        return visitor

    @contextmanager
    def without(self, name: str, down: Mapping[str, float], touches=()) -> Iterator[None]:
        """While these parts are down, health has to say so after so many seconds of each; others may suffer."""
        struck = Struck(name, time.monotonic(), down, frozenset((*down, *touches)))
        self.struck.append(struck)
        try:
            yield
        finally:
            struck.ended = time.monotonic()

    def some_time(self, longest: float = 4, long: float = LONG) -> float:
        """Often too short for health to notice, sometimes longer than it may take."""
        if self.hasty:
            return self.chance.uniform(0, 1)
        return long if self.chance.random() < 0.4 else self.chance.uniform(0, longest)

    def one(self, programs: list[Program]) -> Program:
        return self.chance.choice(programs)

    def forget(self) -> None:
        """What was before the last run: what struck right before may be felt yet."""
        self.struck = [each for each in self.struck if each.ended > time.monotonic() - 60]
        self.kills.clear()

    def kill(self, worker: Program, alone: bool = False) -> None:
        begun = time.monotonic()
        worker.kill(alone=alone)
        self.kills.append((begun, time.monotonic()))

    def kill_workers(self) -> None:
        for dead in self.workers:
            self.kill(dead)

    def new_workers(self) -> None:
        self.workers = [self.installation.worker() for _ in self.workers]

    def another_worker(self, dead: Program) -> None:
        self.workers[self.workers.index(dead)] = self.installation.worker()


def worker_killed(scene: Scene) -> None:
    """At any moment, with or without the process it works in; the other goes on."""
    dead = scene.one(scene.workers)
    with scene.without("a worker killed", {}, touches=["tasks"]):
        scene.kill(dead, alone=scene.chance.random() < 0.5)
        scene.another_worker(dead)


def workers_dead(scene: Scene) -> None:
    with scene.without("workers dead", {"tasks": STALE + 1}, touches=["mail"]):
        scene.kill_workers()
        time.sleep(scene.some_time())
    scene.new_workers()


def workers_frozen(scene: Scene) -> None:
    """And awake again, to go on where they were."""
    with scene.without("workers frozen", {"tasks": STALE}, touches=["mail"]):
        for worker in scene.workers:
            worker.freeze()
        time.sleep(scene.some_time())
        for worker in scene.workers:
            worker.thaw()


def workers_killed_while_they_tell(scene: Scene) -> None:
    """All of them, while the statement that marks what is told is under way: it waits for a table that is held."""
    with scene.without("workers killed while they tell", {}, touches=["tasks", "mail"]):
        with psycopg.connect(scene.installation.database_url) as holding:
            holding.execute("LOCK TABLE notices_watermark IN EXCLUSIVE MODE")
            until(lambda: telling(scene.installation), what="what is late to be told")
            scene.kill_workers()
        scene.new_workers()


def telling(installation: Installation) -> bool:
    waiting = "wait_event_type = 'Lock' AND query LIKE '%INSERT INTO%notices_watermark%' AND pid <> pg_backend_pid()"
    return bool(installation.rows(f"SELECT pid FROM pg_stat_activity WHERE {waiting}"))


def workers_killed_in_mid_send(scene: Scene) -> None:
    """All of them, while the mail server has a message in hand and does not answer."""
    post = scene.installation.post
    before, post.mode = post.asked["hang"], "hang"
    with scene.without("workers killed in mid send", {}, touches=["tasks", "mail"]):
        try:
            scene.something_to_tell([0])
            until(lambda: post.asked["hang"] > before, what="a message to be sent")
            scene.kill_workers()
        finally:
            post.mode = "accept"
        scene.new_workers()


def workers_killed_at_the_answer(scene: Scene) -> None:
    """All of them, when the mail server has taken a message over and is about to say so."""
    post = scene.installation.post
    before, post.reads_for = len(post.letters), 2
    with scene.without("workers killed at the answer", {}, touches=["tasks", "mail"]):
        scene.something_to_tell([0])
        end = time.monotonic() + 20
        while len(post.letters) == before and time.monotonic() < end:
            time.sleep(0.005)
        scene.kill_workers()
        post.reads_for = READS_FOR
        scene.new_workers()


def mail_server(mode: str, slows=()) -> Callable[[Scene], None]:
    def strike(scene: Scene) -> None:
        with scene.without(f"mail server {mode}s", {}, touches=["mail", *slows]):
            scene.installation.post.mode = mode
            while_nothing_goes_out(scene, longest=10)
            scene.installation.post.mode = "accept"

    strike.__name__ = f"mail_server_{mode}s"
    return strike


def while_nothing_goes_out(scene: Scene, longest: float) -> None:
    """Things to tell come all the time, and are tried again at once: what health has to say follows from the rows."""
    seconds = scene.some_time(long=longest)
    end = time.monotonic() + seconds
    scene.something_to_tell([1] * int(seconds / 3))
    while time.monotonic() < end:
        time.sleep(0.3)
        hurry(scene)


def mail_server_away(scene: Scene) -> None:
    with scene.without("mail server away", {}, touches=["mail"]):
        scene.installation.post.shut()
        while_nothing_goes_out(scene, longest=14)
        scene.installation.post.open()


def beat_killed(scene: Scene) -> None:
    with scene.without("a beat killed", {}, touches=["tasks"]):
        dead = scene.one(scene.beats)
        dead.kill()
        scene.beats[scene.beats.index(dead)] = scene.installation.beat()


def beats_dead(scene: Scene) -> None:
    with scene.without("beats dead", {"tasks": STALE + 1}, touches=["mail"]):
        for beat in scene.beats:
            beat.kill()
        time.sleep(scene.some_time())
    scene.beats = [scene.installation.beat() for _ in scene.beats]


def beats_frozen(scene: Scene) -> None:
    """And awake again, to send all that they have missed."""
    with scene.without("beats frozen", {"tasks": STALE + 1}, touches=["mail"]):
        for beat in scene.beats:
            beat.freeze()
        time.sleep(scene.some_time())
        for beat in scene.beats:
            beat.thaw()


def second_beat(scene: Scene) -> None:
    if len(scene.beats) < 2:
        scene.beats.append(scene.installation.beat())


def broker_emptied(scene: Scene) -> None:
    """Killed, away for a while, back with nothing in it."""
    redis = scene.installation.redis
    redis.kill()
    with scene.without("broker away", {"broker": 0.2}, touches=["tasks", "mail"]):
        time.sleep(scene.some_time())
    redis.start()


def broker_frozen(scene: Scene) -> None:
    redis = scene.installation.redis
    redis.freeze()
    with scene.without("broker frozen", {"broker": 0.2}, touches=["tasks", "mail"]):
        time.sleep(scene.some_time())
    redis.thaw()


def database_crashed(scene: Scene) -> None:
    """Down from the crash on for so long at least; it comes back when the server has read its log."""
    away = round(scene.some_time(3, long=6), 2)
    struck = Struck("database crashed", time.monotonic(), dict.fromkeys(NO_DATABASE, 1.5), frozenset(NO_DATABASE))
    struck.ended = struck.begun + away
    scene.struck.append(struck)
    with scene.without("database coming back", {}, touches=NO_DATABASE):
        scene.installation.postgres.restart(away=away)


def database_frozen(scene: Scene) -> None:
    """Connections stay open and are answered when it goes on, if anybody waits so long."""
    scene.installation.postgres.freeze()
    with scene.without("database frozen", NO_DATABASE):
        time.sleep(scene.some_time(8))
    scene.installation.postgres.thaw()


def web_killed(scene: Scene) -> None:
    """While people record: what was being written is there whole or not at all, and is sent again."""
    scene.something_to_tell([0, 0])
    time.sleep(scene.chance.uniform(0, 1))
    scene.dead.append(scene.web)
    scene.web.kill()
    scene.web = scene.installation.start()
    scene.installation.address(scene.web)


STRIKES: list[Callable[[Scene], None]] = [
    worker_killed,
    workers_dead,
    workers_frozen,
    workers_killed_while_they_tell,
    workers_killed_in_mid_send,
    workers_killed_at_the_answer,
    beat_killed,
    beats_dead,
    beats_frozen,
    second_beat,
    broker_emptied,
    broker_frozen,
    database_crashed,
    database_frozen,
    web_killed,
    mail_server_away,
    *(mail_server(mode, ["tasks"] if mode == "hang" else ()) for mode in MODES if mode != "accept"),
]
