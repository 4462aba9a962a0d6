"""Whether the health page told the truth at each look: held against what was struck, and against what the database and the
broker themselves tell past our programs.
"""

import math
import threading
import time
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import psycopg

from tests.service.installation import TEMPO, Installation

KNOWN_BY_DATABASE = ("tasks", "ahead", "mail")
SWEEP_EVERY = float(TEMPO["NOUGHTBOOK_SWEEP_EVERY"])
PATIENCE = 3 * SWEEP_EVERY + 5  # seconds since the tasks of each minute were done
OFTEN = 3  # tries in vain, or notices given up one after the other
LATE = 15 * SWEEP_EVERY  # seconds until the first try
RECOVERS = 30  # seconds after a strike in which what it touched may be unwell yet, on a busy machine
TELLS_WITHIN = 1  # seconds
ASIDE = ThreadPoolExecutor(64)
AGE = """SELECT extract(epoch FROM statement_timestamp() - min(at))::float FROM service_taskrun
  WHERE name IN ('reminders.settle', 'notices.fill')"""
MAIL = """
SELECT count(*) FILTER (WHERE state = 'waiting' AND attempts >= 3),
  count(*) FILTER (WHERE state = 'waiting' AND attempts = 2),
  count(*) FILTER (WHERE state = 'failed' AND answered_at > coalesce(
    (SELECT max(sent_at) FROM notices_notice WHERE state = 'sent'), '-infinity')),
  coalesce(max(extract(epoch FROM statement_timestamp() - coalesce(not_before, made_at)))
    FILTER (WHERE state = 'waiting' AND attempts = 0), 0)::float FROM notices_notice
"""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the database tells past our programs: how long ago the tasks of each minute were done, and of mail how many notices
    were tried often in vain, how many may be at any moment, how many were given up since the last that was sent, and how long
    the oldest has waited for its first try."""

    age: float
    often: int
    nearly: int
    given_up: int
    untried: float

    @classmethod
    def of(cls, address: str) -> "Evidence | None":
        """None where the database does not tell soon. A question to one that is frozen waits aside until it goes on."""
        try:
            return ASIDE.submit(cls._asked, address).result(TELLS_WITHIN)
        except (psycopg.Error, TimeoutError):
            return None

    @classmethod
    def _asked(cls, address: str) -> "Evidence":
        with psycopg.connect(address) as connection:
            [age] = connection.execute(AGE).fetchone()
            return cls(math.inf if age is None else age, *connection.execute(MAIL).fetchone())

    def mail(self, slack: float) -> tuple[bool, set[str]]:
        """Whether it is certainly well, and why it certainly is not."""
        why = {"often": self.often > 0, "given up": self.given_up >= OFTEN, "late": self.untried > LATE + slack}
        well = not self.often and not self.nearly and self.given_up < OFTEN and self.untried < LATE - slack
        return well, {reason for reason, so in why.items() if so}

    def tasks(self, slack: float) -> tuple[bool, set[str]]:
        return self.age < PATIENCE - slack, {"late"} if self.age > PATIENCE + slack else set()


@dataclass(frozen=True, slots=True)
class Look:
    """What the health page said, between when and when, and what the database said right before and after."""

    begun: float
    ended: float
    status: int
    parts: Mapping[str, dict]
    before: Evidence | None = None
    after: Evidence | None = None
    spread: float = 0.0  # seconds from the one to the other

    @property
    def unwell(self) -> set[str]:
        return {name for name, part in self.parts.items() if not part["well"]}

    def done_since(self, moment: float) -> bool:
        """Whether the tasks of each minute were: health may call them well anyway, being patient, and rightly."""
        age = self.parts["tasks"]["figure"]
        return age is not None and age < self.begun - moment

    def certainly(self, name: str) -> bool | None:
        """Whether a part that the database tells of is well, by what it told before and after alike; None: who knows. What was
        unwell before for one reason and after for another may have been well between."""
        slack = self.spread + 0.2
        found = [(e.mail(slack) if name == "mail" else e.tasks(slack)) for e in (self.before, self.after) if e]
        if len(found) < 2:
            return None
        if all(well for well, _ in found):
            return True
        return False if set.intersection(*(why for _, why in found)) else None


@dataclass(slots=True)
class Struck:
    """A strike while it is on: which parts are down, each with the seconds that health may take to notice, and which
    others may suffer by it."""

    name: str
    begun: float
    down: Mapping[str, float]
    touches: frozenset[str]
    ended: float = math.inf

    def demands(self, part: str, look: Look) -> bool:
        return part in self.down and self.begun + self.down[part] < look.begun and look.ended < self.ended

    def excuses(self, part: str, look: Look) -> bool:
        return part in self.touches and self.begun < look.ended and look.begun < self.ended + RECOVERS

    def overlaps(self, look: Look, margin: float) -> bool:
        return self.begun - margin < look.ended and look.begun < self.ended + margin


@dataclass
class Judged:
    """How many times it was sure what health had to say, and what it said wrongly."""

    down: int = 0
    up: int = 0
    lies: set[str] = field(default_factory=set)


def judge(looks: list[Look], struck: list[Struck]) -> Judged:
    found = Judged()
    for look in looks:
        assert look.status == (503 if look.unwell else 200)
        quiet = not any("database" in each.down and each.overlaps(look, 3) for each in struck)
        for part, told in look.parts.items():
            said = f"“{told['says']}”"
            on = [each.name for each in struck if each.demands(part, look)]
            sure = (
                look.certainly(part)
                if quiet and "not known" not in told["says"] and part in ("tasks", "mail")
                else None
            )
            if on or sure is False:
                found.down += 1
                if told["well"]:
                    found.lies.add(
                        f"health called the {part} well, {said}, while it was down ({', '.join(on) or 'by its rows'})"
                    )
            elif sure or not any(each.excuses(part, look) for each in struck):
                found.up += 1
                if not told["well"]:
                    by = "by its rows" if sure else "and nothing had struck it"
                    found.lies.add(f"health called the {part} unwell, {said}, while it was up {by}")
    return found


class Watch(threading.Thread):
    """Looks at the health page all the time, wherever the scene has it served."""

    def __init__(self, scene):
        super().__init__(daemon=True)
        self.scene = scene
        self.looks: list[Look] = []
        self.over = threading.Event()
        self.wrong: set[str] = set()

    def run(self):
        while not self.over.wait(0.2):
            web = self.scene.web
            try:
                self.looks.append(look(self.scene.installation, web))
            except Exception as error:  # whatever it is, the page did not open
                if web not in self.scene.dead:
                    self.wrong.add(f"the health page did not open: {type(error).__name__}: {error}")

    def last(self, since: float) -> Look | None:
        """The last look that began after that."""
        return next((seen for seen in self.looks[-1:] if seen.begun > since), None)


def look(installation: Installation, web) -> Look:
    asked = time.monotonic()
    before = Evidence.of(installation.database_url)
    begun = time.monotonic()
    status, parts = installation.health(web)
    ended = time.monotonic()
    after = Evidence.of(installation.database_url)
    return Look(begun, ended, status, parts, before, after, time.monotonic() - asked)
