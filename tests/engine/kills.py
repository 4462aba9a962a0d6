"""Runs the whole engine again and again while its parts are killed at random moments, and counts what came of it.

`python -m tests.engine.kills --runs 50` takes about a quarter of a minute a run and prints a report as JSON.
A run has three strikes (strikes.py) while things fall due (works.py). In the end nothing may be missing, doubled or stuck,
and the health page must at no time have called well what was down.
"""

import argparse
import json
import random
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tests.engine.clocks import Clocks
from tests.engine.installation import Installation
from tests.engine.strikes import STRIKES, Scene
from tests.engine.works import SPREAD, WORKS, Work
from tests.postgres import DURABLE, Postgres

STRIKES_A_RUN = 3
SETTLES_WITHIN = 90  # seconds
BEATING = ("schedule", "worker", "sweep", "notices")


@dataclass(frozen=True, slots=True)
class Look:
    """What the health page said, between when and when."""

    begun: float
    ended: float
    status: int
    unwell: frozenset[str]
    ages: Mapping[str, float]

    def silent_since(self, moment: float) -> set[str]:
        """The parts that have not been at work since: health may call them well yet, being patient, and rightly."""
        return {name for name in BEATING if self.ages.get(name, float("inf")) > self.begun - moment}


class Watch(threading.Thread):
    """Looks at the health page all the time."""

    def __init__(self, installation: Installation, web):
        super().__init__(daemon=True)
        self.installation, self.web = installation, web
        self.looks: list[Look] = []
        self.over = threading.Event()
        self.wrong: list[str] = []

    def run(self):
        while not self.over.wait(0.2):
            try:
                self.looks.append(look(self.installation, self.web))
            except Exception as error:  # whatever it is, the page did not open
                self.wrong.append(f"the health page did not open: {type(error).__name__}: {error}")

    def faults(self, down: list[tuple[str, float, float]]) -> list[str]:
        lies = {
            f"health called the {part} well while it was down"
            for part, begun, ended in down
            for seen in self.looks
            if begun < seen.begun and seen.ended < ended and part not in seen.unwell
        }
        return sorted(lies | set(self.wrong))


def look(installation: Installation, web) -> Look:
    begun = time.monotonic()
    status, parts = installation.health(web)
    unwell = frozenset(name for name, part in parts.items() if not part["well"])
    ages = {name: part["figure"] for name, part in parts.items() if name in BEATING and part["figure"] is not None}
    return Look(begun, time.monotonic(), status, unwell, ages)


def run_once(scene: Scene, works: list[Work], chance: random.Random) -> tuple[list[str], list[str], Watch]:
    """Which strikes there were, and what is wrong afterwards."""
    scene.forget()
    strikes = chance.sample(STRIKES, STRIKES_A_RUN)
    watch = Watch(scene.installation, scene.web)
    watch.start()
    for work in works:
        work.prepare(scene.installation, chance)
    for strike in strikes:
        time.sleep(chance.uniform(0, SPREAD / STRIKES_A_RUN))
        strike(scene)
    faults = settle(scene, works)
    watch.over.set()
    watch.join()
    return [strike.__name__ for strike in strikes], faults + watch.faults(scene.down), watch


def settle(scene: Scene, works: list[Work]) -> list[str]:
    """Wait until all is done and every part has been at work after the last strike; gives what is wrong then."""
    begun, stuck, done = time.monotonic(), {"health"}, False
    while (stuck or not done) and time.monotonic() < begun + SETTLES_WITHIN:
        time.sleep(0.2)
        done = all(work.settled(scene.installation) for work in works)
        seen = look(scene.installation, scene.web)
        stuck = seen.unwell | seen.silent_since(begun)
    faults = [fault for work in works for fault in work.faults(scene.installation, scene.interruptions)]
    return faults + [f"{part} is not well in the end" for part in sorted(stuck)]


def report(runs: int, seed: int, probes: int) -> dict:
    chance, clocks = random.Random(seed), Clocks()
    postgres = Postgres(DURABLE, clocks.database.environment)
    struck, faulty, slowest, looks = Counter(), [], 0.0, 0
    works = [work() for work in WORKS]
    with tempfile.TemporaryDirectory() as folder:
        installation = Installation(Path(folder), postgres.url("postgres"), postgres, clocks).with_redis().with_post()
        try:
            installation.run("-m", "tests.engine.preparing", str(probes))
            scene = Scene(installation, chance)
            assert settle(scene, []) == [], installation.last_words()
            for number in range(runs):
                strikes, faults, watch = run_once(scene, works, chance)
                print(
                    f"{number + 1:3} {', '.join(strikes)}: {'; '.join(faults) or 'nothing lost or doubled'}", flush=True
                )
                struck.update(strikes)
                faulty += [{"run": number + 1, "strikes": strikes, "faults": faults}] * bool(faults)
                slowest = max([slowest, *(seen.ended - seen.begun for seen in watch.looks)])
                looks += len(watch.looks)
        finally:
            installation.close()
            postgres.stop()
            clocks.close()
    figures = {name: figure for work in works for name, figure in work.figures().items()}
    return {
        "runs": runs, "seed": seed, "faulty runs": faulty, "strikes": dict(struck), **figures,
        "looks at the health page": looks, "slowest look in seconds": round(slowest, 2),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1, help="the same strikes again, though not at the same instant")
    parser.add_argument("--probes", type=int, default=200)
    given = parser.parse_args()
    told = report(given.runs, given.seed, given.probes)
    print(json.dumps(told, indent=2))
    raise SystemExit(bool(told["faulty runs"]))


if __name__ == "__main__":
    main()
