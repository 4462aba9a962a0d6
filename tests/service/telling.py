"""Checks that fail while parts are struck: who has to be told is told of each exactly once, and every notice is mailed.

They are recorded through the pages, as people do, and again with the same key where a page did not come.
"""

import re
import threading
import time
import uuid
from collections import Counter, defaultdict
from datetime import datetime, timedelta
from http.client import HTTPException

from tests.service.post import Letter
from tests.service.visitor import MANAGER
from tests.service.works import FAILING, SPREAD, Work

PEOPLE = {
    MANAGER,
    "sol.venn@example.test",
}  # a failed check is told to whoever manages the site and supervises its area
UNCLEAR = 6  # tries of which nobody knows the end, after which a notice is given up
PROBES = f"SELECT probe_id FROM checks_probestate ORDER BY 1 LIMIT {FAILING}"  # that fail their checks
# Whether all that a notice asks for was answered by a check since: a failed one answers what was asked for after the one before.
OVERTAKEN = """jsonb_array_length(probes::jsonb) > 0 AND NOT EXISTS (
  SELECT 1 FROM jsonb_array_elements(probes::jsonb) AS pair WHERE NOT EXISTS (
    SELECT 1 FROM checks_check c WHERE c.probe_id = (pair ->> 0)::int AND c.checked_at > (pair ->> 1)::timestamptz
      AND c.verdict <> 'inconclusive'))"""
AT_MARK = 5  # seconds after the answer in which a database that is struck may lose the mark
AT_KILL = 3  # seconds in which a killed sender's connection is gone


class Recorder(threading.Thread):
    """Somebody who records so many failed checks and gives up none of them; `checks` are the numbers they got."""

    def __init__(self, scene, waits: list[float]):
        super().__init__(daemon=True)
        self.scene, self.waits = scene, waits
        self.checks: list[int] = []
        self.again = 0

    def run(self):
        [*probes] = self.scene.installation.rows(PROBES)
        for number, wait in enumerate(self.waits):
            time.sleep(wait)
            self.checks.append(self._record(probes[number % FAILING][0], str(uuid.uuid4())))

    def _record(self, probe: int, key: str) -> int:
        checked = datetime.now() - timedelta(hours=4)
        while True:
            try:
                page = self.scene.signed_in().record(probe, "2.4", key=key, checked_at=f"{checked:%Y-%m-%dT%H:%M}")
                return int(re.search(r"/checks/(\d+)/$", page)[1])
            except (OSError, HTTPException, TypeError, AssertionError):  # no page, half a page, or the form again
                self.scene.visitor = None
                self.again += 1
                time.sleep(0.5)


class Telling(Work):
    A_RUN = 12
    WHY = ("answers withheld", "senders killed", "marks lost with the database")

    def __init__(self):
        self.twice, self.made = Counter(), Counter()
        self.recorders: list[Recorder] = []
        self.first = self.since = 0

    def prepare(self, scene, chance):
        installation = scene.installation
        self.since = len(installation.post.letters)
        [[self.first]] = installation.rows("SELECT coalesce(max(id), 0) + 1 FROM notices_notice")
        self.recorders = []
        self.scene = scene
        scene.something_to_tell = self.record
        self.record([chance.uniform(0, 2 * SPREAD / self.A_RUN) for _ in range(self.A_RUN)])

    def record(self, waits: list[float]) -> None:
        recorder = Recorder(self.scene, waits)
        self.recorders.append(recorder)
        recorder.start()

    def settled(self, installation):
        if any(each.is_alive() for each in self.recorders):
            return False
        hurry(self.scene)
        told = self._told(installation)
        return all(told[each] for each in self._expected()) and all(
            state in ("sent", "failed", "needless", "page") for _, _, state, *_ in self._notices(installation)
        )

    def faults(self, scene):
        told = self._told(scene.installation)
        wrong = [
            f"{person} was told {told[check, person]} times of check {check}"
            for check, person in self._expected()
            if told[check, person] != 1
        ]
        wrong += ["a check was never recorded"] * sum(each.is_alive() for each in self.recorders)
        checks = [check for each in self.recorders for check in each.checks]
        wrong += [f"check {check} is of two forms" for check, times in Counter(checks).items() if times > 1]
        self.made["checks that failed"] += len(checks)
        self.made["forms sent again"] += sum(each.again for each in self.recorders)
        return wrong + self._mail(scene)

    def _mail(self, scene) -> list[str]:
        post, wrong = scene.installation.post, []
        letters = defaultdict(list)
        for letter in post.letters[self.since :]:
            letters[letter.notice].append(letter)
        notices = self._notices(scene.installation)
        for pk, kind, state, subject, answered, overtaken in notices:
            taken, past = letters.pop(pk, []), kind == "due" or overtaken
            wrong += [
                f"notice {pk}: {fault}" for fault in wrongly_kept(scene, pk, past, state, subject, answered, taken)
            ]
            wrong += self._doubles(scene, pk, taken)
        wrong += [f"there are letters of notice {pk}, which is older or does not exist" for pk in letters]
        self.made["notices"] += len(notices)
        self.made["notices refused"] += sum(state == "failed" for _, _, state, *_ in notices)
        return wrong

    def _doubles(self, scene, pk: int, taken: list[Letter]) -> list[str]:
        """Each letter but the last has to have been one whose sender could not note what became of it."""
        wrong = [f"the letters of notice {pk} have several numbers"] * (len({each.number for each in taken}) > 1)
        for letter in taken[:-1]:
            why = unmarked(scene, letter)
            if why:
                self.twice[why] += 1
            else:
                wrong.append(f"notice {pk} was sent again though the answer to it was not lost")
        return wrong

    def figures(self):
        return dict(self.made) | {f"second mails: {why}": self.twice[why] for why in self.WHY}

    def _expected(self) -> list[tuple[int, str]]:
        return [(check, person) for each in self.recorders for check in each.checks for person in PEOPLE]

    def _told(self, installation) -> Counter:
        """How many notices tell whom of which check."""
        rows = installation.rows(
            "SELECT email, text FROM notices_notice JOIN sites_person p ON p.id = person_id "
            f"WHERE kind = 'failed' AND notices_notice.id >= {self.first}"
        )
        return Counter(
            (int(check), email) for email, text in rows for check in set(re.findall(r"/checks/(\d+)/", text))
        )

    def _notices(self, installation) -> list[tuple]:
        return installation.rows(
            f"SELECT id, kind, state, subject, answered, {OVERTAKEN} FROM notices_notice WHERE id >= {self.first} ORDER BY id"
        )


def hurry(scene) -> None:
    """Cut the waits between two tries short: the next is now, and after a sender that must be dead."""
    installation = scene.installation
    installation.change("UPDATE notices_notice SET not_before = NULL WHERE state = 'waiting' AND not_before > now()")
    installation.change(
        f"UPDATE notices_notice SET claimed_at = NULL WHERE claimed_at < now() - interval '{scene.claimed_for} seconds'"
    )


def wrongly_kept(
    scene, pk: int, overtaken: bool, state: str, subject: str, answered: str, taken: list[Letter]
) -> list[str]:
    """What is wrong with the state in which a notice is, by what the mail server knows; whether it may have become needless."""
    post = scene.installation.post
    if state == "sent":
        return [] if taken else ["counts as sent and was not taken over"]
    if state == "failed":
        refused = subject in post.refused and "554" in answered
        unknown = post.unanswered[pk] + len(scene.kills) + sum("database" in each.down for each in scene.struck)
        given_up = answered.startswith("Given up") and unknown >= UNCLEAR
        return [] if refused or given_up else [f"counts as failed with “{answered}” and was not refused"]
    if state == "needless":
        return [] if overtaken else ["counts as needless and is not"]
    return [] if state == "page" else [f"is stuck as {state}"]


def unmarked(scene, letter: Letter) -> str:
    """Why its sender could not note that it was taken over; empty if it could."""
    if not letter.answered:
        return Telling.WHY[0]
    if letter.cut and any(
        begun - 0.5 <= letter.cut <= ended + AT_KILL and letter.taken <= ended for begun, ended in scene.kills
    ):
        return Telling.WHY[1]
    lost = [each for each in scene.struck if "database" in each.down]
    if any(each.begun - AT_MARK < letter.taken < each.ended + 1 for each in lost):
        return Telling.WHY[2]
    return ""
