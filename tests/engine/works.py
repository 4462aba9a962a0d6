"""What the engine is to get done while its parts are killed, and how it is told afterwards whether it did.

A work prepares something before a run, says when it is settled, and names what is wrong in the end.
"""

import random
from collections import Counter
from datetime import UTC, datetime, timedelta

from tests.engine.installation import Installation

SPREAD = 6  # seconds over which things fall due


class Work:
    def prepare(self, installation: Installation, chance: random.Random) -> None:
        """Give the engine something to do from now on."""

    def settled(self, installation: Installation) -> bool:
        """Whether all of it seems done."""
        return True

    def faults(self, installation: Installation, interruptions: int) -> list[str]:
        """What is wrong once it is settled, or never settles; senders were cut short so many times at most."""
        return []

    def figures(self) -> dict[str, int]:
        """What was done over all runs, for the report."""
        return {}


class Sweeping(Work):
    """Each probe falls due at a moment of its own; in the end it has one reminder for each such moment and none besides."""

    def __init__(self):
        self.expected: set[tuple[int, datetime]] = set()
        self.made = 0

    def prepare(self, installation, chance):
        probes = [pk for (pk,) in installation.rows("SELECT probe_id FROM checks_probestate ORDER BY probe_id")]
        now = datetime.now(UTC)
        due = {pk: now + timedelta(microseconds=chance.randrange(SPREAD * 10**6)) for pk in probes}
        told = ", ".join(f"({pk}, '{at.isoformat()}'::timestamptz)" for pk, at in due.items())
        installation.change(
            "UPDATE checks_probestate s SET due_at = v.at, opens_at = v.at - interval '1 day', at_once_at = v.at, "
            f"due_because = 'it was dropped', next_day = '9999-01-01' FROM (VALUES {told}) AS v (pk, at) WHERE s.probe_id = v.pk"
        )
        self.begun = now
        self.expected = set(due.items())
        self.made += len(due)

    def settled(self, installation):
        return self.expected <= set(self._found(installation))

    def faults(self, installation, interruptions):
        found = self._found(installation)
        return (
            [f"{len(self.expected - set(found))} reminders are missing"] * bool(self.expected - set(found))
            + [f"{len(found) - len(set(found))} reminders are there twice"] * (len(found) != len(set(found)))
            + [f"{len(set(found) - self.expected)} reminders are too many"] * bool(set(found) - self.expected)
        )

    def figures(self):
        return {"due times": self.made}

    def _found(self, installation) -> list[tuple[int, datetime]]:
        return installation.rows(
            f"SELECT probe_id, due_at FROM reminders_reminder WHERE due_at >= '{self.begun.isoformat()}'"
        )


class Sending(Work):
    """Notices in the outbox. Each is taken over by the mail server at least once, or refused and kept with its answer."""

    A_RUN = 30
    WRITE = """
        INSERT INTO notices_notice (kind, person_id, about, subject, text, html, link, probes, reminders, in_page, state,
          attempts, holder, answered, made_at, not_before)
        SELECT 'failed', p.id, 'kill:' || n, 'Notice ' || n, 'Text', '<p>Text</p>', '/', '[]', '[]', true, 'waiting', 0, '', '',
          now(), now() + random() * interval '{spread} s'
        FROM generate_series({first}, {last}) AS n, (SELECT min(id) AS id FROM sites_person WHERE email <> '') AS p
    """

    def __init__(self):
        self.made = self.twice = self.refused = self.lost_answers = 0
        self.first = self.since = 0

    def prepare(self, installation, chance):
        self.first, self.made = self.made + 1, self.made + self.A_RUN
        self.since = len(installation.post.letters)
        installation.change(self.WRITE.format(first=self.first, last=self.made, spread=SPREAD + 4))

    def settled(self, installation):
        """Meanwhile the waits between two tries are cut short: the next try is now."""
        installation.change(
            "UPDATE notices_notice SET not_before = NULL WHERE state = 'waiting' AND not_before > now()"
        )
        return all(state in ("sent", "failed") for state, _, _ in self._notices(installation))

    def faults(self, installation, interruptions):
        letters = [each for each in installation.post.letters[self.since :] if each.subject.startswith("Notice ")]
        taken = Counter(each.subject for each in letters)
        lost = Counter(each.subject for each in letters if not each.answered)
        refused = installation.post.refused
        wrong = []
        for state, subject, answered in self._notices(installation):
            if state == "sent" and not taken[subject]:
                wrong.append(f"“{subject}” counts as sent and was not taken over")
            if state == "failed" and (subject not in refused or "554" not in answered):
                wrong.append(f"“{subject}” counts as failed with “{answered}” and was not refused")
            if state not in ("sent", "failed"):
                wrong.append(f"“{subject}” is stuck as {state}")
        numbers = Counter(subject for subject, _ in {(each.subject, each.number) for each in letters})
        wrong += [f"the mails “{subject}” have numbers of their own" for subject in numbers if numbers[subject] > 1]
        twice = sum(count - 1 for count in taken.values())
        unexplained = sum(max(0, count - 1 - lost[subject]) for subject, count in taken.items())
        if unexplained > interruptions:
            wrong.append(f"{unexplained} mails came twice though an answer was lost {interruptions} times at most")
        self.twice += twice
        self.lost_answers += sum(lost.values())
        self.refused = len(refused)
        return wrong

    def figures(self):
        return {
            "notices": self.made, "mails that came twice": self.twice, "answers that were never sent": self.lost_answers,
            "notices refused": self.refused,
        }  # fmt: skip

    def _notices(self, installation) -> list[tuple[str, str, str]]:
        mine = ", ".join(f"'kill:{number}'" for number in range(self.first, self.made + 1))
        return installation.rows(f"SELECT state, subject, answered FROM notices_notice WHERE about IN ({mine})")


WORKS = [Sweeping, Sending]
