"""What is to get done while parts are killed, and how it is told afterwards whether it did.

A work prepares something before a run, says when it is settled, and names what is wrong in the end.
"""

import random
from collections import Counter
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from compliance.plans.schedule import STARTING
from tests.service.installation import Installation

if TYPE_CHECKING:
    from tests.service.strikes import Scene

SPREAD = 6  # seconds over which things fall due
FAILING = 5  # probes that fail their checks; all others fall due


class Work:
    def prepare(self, scene: "Scene", chance: random.Random) -> None:
        """Give it something to do from now on."""

    def settled(self, installation: Installation) -> bool:
        """Whether all of it seems done."""
        return True

    def faults(self, scene: "Scene") -> list[str]:
        """What is wrong once it is settled, or never settles."""
        return []

    def figures(self) -> dict[str, int]:
        """What was done over all runs, for the report."""
        return {}


class Sweeping(Work):
    """Each probe falls due at a moment of its own, or becomes overdue at one. In the end it has one reminder for each such
    moment and none besides, and the manager has been told once of each that is overdue."""

    DUE = """
        WITH v (pk, at) AS (VALUES {due}), laid AS (
          INSERT INTO plans_reminder (probe_id, site_id, point, due_at, opens_at, grace_at, late_at, closes_at, because,
            recorded_at, cancelled_because)
          SELECT v.pk, p.site_id, 'zero', v.at, v.at - interval '1 day', v.at + interval '{grace} minutes',
            v.at + interval '{grace} minutes', v.at + interval '7 days', 'it was dropped', v.at - interval '1 day', ''
          FROM v JOIN probes_probe p ON p.id = v.pk)
        UPDATE checks_probestate s SET due_at = v.at, grace_at = v.at + interval '{grace} minutes',
          due_because = 'it was dropped', at_once_because = 'it was dropped' FROM v WHERE s.probe_id = v.pk
    """
    TOLD = """
        SELECT (pair ->> 0)::int, (pair ->> 1)::timestamptz FROM notices_notice, jsonb_array_elements(probes::jsonb) AS pair
        WHERE kind = 'overdue' AND id > {last} AND (pair ->> 0)::int NOT IN ({failing})
    """
    REMINDERS = "SELECT probe_id, due_at FROM plans_reminder WHERE id > {last} AND probe_id NOT IN ({failing})"

    def __init__(self):
        self.due: set[tuple[int, datetime]] = set()
        self.overdue: set[tuple[int, datetime]] = set()
        self.made = Counter()

    def prepare(self, scene, chance):
        installation = scene.installation
        states = [pk for [pk] in installation.rows("SELECT probe_id FROM checks_probestate ORDER BY probe_id")]
        self.failing = ", ".join(str(pk) for pk in states[:FAILING])
        self.last_reminder = last(installation, "plans_reminder")
        self.last_notice = last(installation, "notices_notice")
        now, grace = datetime.now(UTC), STARTING.grace_minutes
        moments = {pk: now + timedelta(microseconds=chance.randrange(SPREAD * 10**6)) for pk in states[FAILING:]}
        self.overdue = {(pk, at - timedelta(minutes=grace)) for pk, at in moments.items() if pk % 2}
        self.due = self.overdue | {(pk, at) for pk, at in moments.items() if not pk % 2}
        due = ", ".join(f"({pk}, '{at.isoformat()}'::timestamptz)" for pk, at in self.due)
        installation.change(self.DUE.format(grace=grace, due=due))
        self.made.update({"due times": len(self.due), "overdue times": len(self.overdue)})

    def settled(self, installation):
        return self.due <= set(self._reminders(installation)) and self.overdue <= set(self._told(installation))

    def faults(self, scene):
        reminders, told = self._reminders(scene.installation), self._told(scene.installation)
        return differing(self.due, reminders, "reminders") + differing(self.overdue, told, "due times that are told")

    def figures(self):
        return dict(self.made)

    def _reminders(self, installation) -> list[tuple[int, datetime]]:
        return installation.rows(self.REMINDERS.format(last=self.last_reminder, failing=self.failing))

    def _told(self, installation) -> list[tuple[int, datetime]]:
        return installation.rows(self.TOLD.format(last=self.last_notice, failing=self.failing))


def last(installation: Installation, table: str) -> int:
    return installation.rows(f"SELECT coalesce(max(id), 0) FROM {table}")[0][0]


def differing(expected: set, found: list, what: str) -> list[str]:
    missing, extra = expected - set(found), set(found) - expected
    return (
        [f"{len(missing)} {what} are missing"] * bool(missing)
        + [f"{len(found) - len(set(found))} {what} are there twice"] * (len(found) != len(set(found)))
        + [f"{len(extra)} {what} are too many"] * bool(extra)
    )
