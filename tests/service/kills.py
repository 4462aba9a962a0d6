"""Runs the whole installation again and again while its parts are killed at random moments, and counts what came of it.

`python -m tests.service.kills --runs 50` takes about half a minute a run and prints a report as JSON.
A run has three strikes (strikes.py) while things fall due (works.py) and checks fail (telling.py); all strikes are drawn before
one is drawn again. In the end nothing may be missing, doubled or stuck, and the health page must at no time have called well
what was down, nor unwell what was up (truth.py).
"""

import argparse
import json
import os
import random
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "compliance.settings")
django.setup()  # before the people of the tests, which are models, can be read

from tests.postgres import DURABLE, Postgres  # noqa: E402
from tests.service.installation import Installation  # noqa: E402
from tests.service.programs import until  # noqa: E402
from tests.service.strikes import STRIKES, Scene  # noqa: E402
from tests.service.telling import Telling  # noqa: E402
from tests.service.truth import OFTEN, Evidence, Watch, judge  # noqa: E402
from tests.service.works import SPREAD, Sweeping, Work  # noqa: E402

STRIKES_A_RUN = 3
SETTLES_WITHIN = 120  # seconds
WORKS = [Sweeping, Telling]


@dataclass
class Tally:
    """What came of all runs."""

    struck: Counter = field(default_factory=Counter)
    faulty: list[dict] = field(default_factory=list)
    looks: Counter = field(default_factory=Counter)
    slowest: float = 0.0

    def add(self, number: int, strikes: list[str], faults: list[str], watch: Watch, judged) -> None:
        self.struck.update(strikes)
        self.faulty += [{"run": number, "strikes": strikes, "faults": faults}] * bool(faults)
        self.looks.update(
            {"looks": len(watch.looks), "parts that were down": judged.down, "parts that were up": judged.up}
        )
        self.slowest = max([self.slowest, *(seen.ended - seen.begun for seen in watch.looks)])


def dealt(chance: random.Random, only: Sequence[str] = ()) -> Iterator[Callable[[Scene], None]]:
    """All strikes in a random order, or those that are named, and again."""
    chosen = [strike for strike in STRIKES if not only or strike.__name__ in only]
    while True:
        yield from chance.sample(chosen, len(chosen))


def run_once(scene: Scene, works: list[Work], strikes: list, chance: random.Random) -> tuple[list[str], Watch, object]:
    """What is wrong after these strikes, and what health said meanwhile."""
    scene.forget()
    watch = Watch(scene)
    watch.start()
    for work in works:
        work.prepare(scene, chance)
    faults = []
    for strike in strikes:
        time.sleep(chance.uniform(0, SPREAD / STRIKES_A_RUN))
        try:
            strike(scene)
        except AssertionError as error:
            faults.append(f"{strike.__name__}: {error}")
    faults += settle(scene, works, watch)
    watch.over.set()
    watch.join()
    judged = judge(watch.looks, scene.struck)
    return faults + sorted(watch.wrong | judged.lies), watch, judged


def settle(scene: Scene, works: list[Work], watch: Watch, seconds: float = SETTLES_WITHIN, told=False) -> list[str]:
    """Wait until all is done and every part has been at work after the last strike; gives what is wrong then."""
    begun, stuck, done = time.monotonic(), {"health"}, False
    while (stuck or not done) and time.monotonic() < begun + seconds:
        time.sleep(0.2)
        done = all(work.settled(scene.installation) for work in works) and nothing_waits(scene.installation)
        if done and not told and all_refused(scene.installation):
            told, done = True, False
            scene.something_to_tell([0])  # or nothing would show that the mail server takes letters again
        if seen := watch.last(since=begun):
            stuck = seen.unwell | ({"tasks"} if not seen.done_since(begun) else set())
    faults = [fault for work in works for fault in work.faults(scene)]
    return faults + [f"{part} is not well in the end" for part in sorted(stuck)]


def nothing_waits(installation: Installation) -> bool:
    """Also of what was written before the run."""
    return not installation.rows("SELECT id FROM notices_notice WHERE state = 'waiting' LIMIT 1")


def tells_what_was_overdue(installation: Installation) -> bool:
    """Before the first run, of all that was overdue from the beginning, and has told that it was at work."""
    told = "SELECT 1 FROM notices_notified m WHERE m.kind = 'overdue'"
    done = """SELECT 1 FROM checks_check c
        WHERE c.probe_id = r.probe_id AND c.verdict <> 'inconclusive' AND c.checked_at > r.opens_at"""
    untold = f"""SELECT count(*) FROM plans_reminder r
        WHERE closes_at > now() AND late_at BETWEEN now() - interval '7 days' AND now() AND cancelled_at IS NULL
          AND NOT EXISTS ({told} AND m.number = r.id) AND NOT EXISTS ({done})"""
    begun = installation.rows("SELECT 1 FROM plans_reminder LIMIT 1") and installation.done("notices.fill")
    return bool(begun) and installation.rows(untold) == [(0,)]


def at_rest(installation: Installation) -> bool:
    """What the first due times that were made have brought is told by now, too."""
    return tells_what_was_overdue(installation) and nothing_waits(installation)


def all_refused(installation: Installation) -> bool:
    found = Evidence.of(installation.database_url)
    return found is not None and found.given_up >= OFTEN


def report(runs: int, seed: int, probes: int, only: Sequence[str] = ()) -> dict:
    chance, tally, postgres = random.Random(seed), Tally(), Postgres(DURABLE)
    works, strikes = [work() for work in WORKS], dealt(chance, only)
    with tempfile.TemporaryDirectory() as folder:
        installation = Installation(Path(folder), postgres.url("postgres"), postgres).with_redis().with_post()
        try:
            installation.prepared(probes)
            scene = Scene(installation, chance)
            until(lambda: tells_what_was_overdue(installation), what=installation.last_words())
            faults, _, _ = run_once(scene, [], [], chance)
            assert not faults, (faults, installation.last_words())
            until(lambda: at_rest(installation), what=installation.last_words())
            for number in range(1, runs + 1):
                drawn = [next(strikes) for _ in range(STRIKES_A_RUN)]
                names = [strike.__name__ for strike in drawn]
                faults, watch, judged = run_once(scene, works, drawn, chance)
                print(f"{number:3} {', '.join(names)}: {'; '.join(faults) or 'nothing lost or doubled'}", flush=True)
                tally.add(number, names, faults, watch, judged)
        finally:
            installation.close()
            postgres.stop()
    figures = {name: figure for work in works for name, figure in work.figures().items()}
    return {
        "runs": runs,
        "seed": seed,
        "faulty runs": tally.faulty,
        "strikes": dict(tally.struck),
        "never drawn": sorted({strike.__name__ for strike in STRIKES} - set(tally.struck)),
        **figures,
        "health": dict(tally.looks),
        "slowest look in seconds": round(tally.slowest, 2),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1, help="the same strikes again, though not at the same instant")
    parser.add_argument("--probes", type=int, default=200)
    parser.add_argument("--only", nargs="+", default=(), choices=[strike.__name__ for strike in STRIKES])
    given = parser.parse_args()
    told = report(given.runs, given.seed, given.probes, given.only)
    print(json.dumps(told, indent=2))
    raise SystemExit(bool(told["faulty runs"]))


if __name__ == "__main__":
    main()
