"""The clocks of running programs are set back and forward: of ours, of workers alone, of the database, of all machines."""

from typing import NamedTuple

from tests.engine.clocks import HOUR
from tests.engine.programs import until

DONE_BY_WORKERS = {"worker", "sweep", "notices"}
OURS = {"web", "schedule"} | DONE_BY_WORKERS
ALL = OURS | {"database"}
NEXT_DUE = """
UPDATE checks_probestate SET due_at = now(), opens_at = now() - interval '1 day', at_once_at = now(), grace_at = now(),
  due_because = 'it was dropped' WHERE probe_id = (SELECT min(probe_id) FROM checks_probestate)
RETURNING probe_id, due_at
"""


class Step(NamedTuple):
    """Whose clock is set to how many hours ahead, which parts then say so, and how the health page puts it."""

    moved: tuple[str, ...]
    parts: set[str]
    hours: int
    health: str = ""
    kills: bool = False


STEPS = [
    Step(("programs", "workers"), OURS, -1, "3600 s behind the database's", kills=True),
    Step(("programs", "workers"), OURS, 0),
    Step(("workers",), DONE_BY_WORKERS, 14, "50400 s ahead of the database's"),  # set by the zone of Kiritimati
    Step(("workers",), DONE_BY_WORKERS, 0),
    Step(("database",), {"database"}, -1, "3600 s ahead of the database's", kills=True),
    Step(("database",), {"database"}, 0),
    Step(("programs", "workers", "database"), ALL, 1),
    Step(("programs", "workers", "database"), ALL, -1, kills=True),
    Step(("programs", "workers", "database"), ALL, 0),
]
NOTICE = """
INSERT INTO notices_notice (kind, person_id, about, subject, text, html, link, probes, reminders, in_page, state, attempts,
  answered, made_at) SELECT 'failed', min(p.id), 'put off', 'Put off', 'Text', '<p>Text</p>', '/', '[]', '[]', true,
  'waiting', 0, '', now() FROM sites_person p WHERE email <> ''
"""
MADE = "SELECT count(*) FROM plans_reminder WHERE probe_id = {} AND due_at = '{}'"


def told(installation, start) -> dict[str, int]:
    """By how many hours each program itself says that its clock is ahead."""
    return {name: round(ahead / HOUR) for name, ahead in installation.ahead(start).items()}


def all_goes_on(installation) -> None:
    for part in ("schedule", "worker", "sweep", "notices"):
        installation.beats_again(part)


def falls_due(installation, dues: list) -> None:
    """A probe, now; it is told, and so is all that fell due before, once."""
    [due] = installation.change(NEXT_DUE)
    dues.append(due)
    until(lambda: installation.rows(MADE.format(*due)) == [(1,)], what=installation.last_words())
    assert [installation.rows(MADE.format(*each)) for each in dues] == [[(1,)]] * len(dues)


def clocks_said(installation, start) -> tuple[bool, str]:
    part = installation.health(start)[1]["clocks"]
    return part["well"], part["says"]


def check(grown, start, step: Step, dues: list) -> None:
    all_goes_on(grown)
    assert told(grown, start) == {name: step.hours * (name in step.parts) for name in ALL}
    falls_due(grown, dues)
    well = not step.health
    until(lambda: clocks_said(grown, start)[0] == well, what=clocks_said(grown, start))
    assert step.health in clocks_said(grown, start)[1]
    until(lambda: grown.health(start)[0] == (200 if well else 503), what=grown.health(start))


def test_all_goes_on_while_clocks_are_set(grown):
    grown.worker()
    start, beat, dues = grown.start(), grown.beat(), []
    all_goes_on(grown)
    for step in STEPS:
        if step.kills:
            beat.kill()  # whose lease may then last for an hour
        for name in step.moved:
            getattr(grown.clocks, name).set(step.hours * HOUR)
        if step.kills:
            beat = grown.beat()
        check(grown, start, step, dues)


def test_a_mail_put_off_before_the_clock_is_set_back_waits_no_hour(grown):
    grown.with_post().post.mode = "greylist"
    grown.worker(), grown.beat()
    grown.change(NOTICE)
    state = "SELECT state, attempts FROM notices_notice WHERE about = 'put off'"
    until(lambda: grown.rows(state) == [("waiting", 1)], what=grown.last_words())
    grown.clocks.database.set(-HOUR)
    until(lambda: grown.rows(state) == [("sent", 2)], what=grown.last_words())
