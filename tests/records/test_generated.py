"""Histories made by the real actions, printed, and the print held row by row against statements of our own: one of everything,
and with `EXAMPLES` in the environment so many made at random.

Africa/Casablanca changes its clocks twice within five weeks: for Ramadan 2026 back from +01 to +00 on 15 February at 02:00 UTC,
and forward again on 22 March at 02:00 UTC (IANA time zone data base, file africa).
"""

import io
import json
import os
import re
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from compliance.checks import actions as check_actions
from compliance.checks.models import Check
from compliance.plans.actions import set_round
from compliance.plans.data import RoundData
from compliance.readings import actions as readings
from compliance.readings.data import ActData
from compliance.readings.models import Deviation, Reading
from compliance.records.record import write_record
from compliance.records.scope import RecordScope
from compliance.reminders import planning
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.plans.making import check_every
from tests.printed_text import words_of
from tests.records.making import correct, section, take
from tests.world import make_limit, make_probe, make_site

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("Africa/Casablanca")
FIRST, LAST = date(2026, 2, 14), date(2026, 3, 22)
START, END = datetime(2026, 2, 13, 23, tzinfo=UTC), datetime(2026, 3, 22, 23, tzinfo=UTC)
BEGUN, PRINTED = START - timedelta(days=3), END + timedelta(days=3)
BACK, FORWARD = datetime(2026, 2, 15, 2, tzinfo=UTC), datetime(2026, 3, 22, 2, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
# Both ends of the period and of some days to the minute, the hour that is told twice, and the one that is left out.
EDGES = [at + step for at in (START, END, START + 25 * HOUR, BACK, FORWARD) for step in (-MINUTE, 0 * MINUTE, MINUTE)]
EDGES += [BACK - HOUR / 2, BACK + HOUR / 2, BACK - HOUR, BACK + HOUR - MINUTE]
MINUTES = (END - START) // MINUTE
MOMENTS = st.sampled_from(EDGES) | st.integers(-600, MINUTES + 600).map(lambda minutes: START + minutes * MINUTE)
TYPED = ("3.1", "-1.0", "5.0", "6.9", "12.4")


def test_the_clock_changes_where_this_says():
    for change, before, after in ((BACK, 1, 0), (FORWARD, 0, 1)):
        offsets = [at.astimezone(ZONE).utcoffset() for at in (change - MINUTE, change)]
        assert offsets == [before * HOUR, after * HOUR]
    assert (START.astimezone(ZONE), END.astimezone(ZONE)) == (
        datetime.combine(FIRST, time(), ZONE),
        datetime.combine(LAST + timedelta(days=1), time(), ZONE),
    )


@dataclass
class Kitchen:
    """A site of its own with two probes and rounds, to which all sorts of things happen."""

    site: object
    cook: object
    manager: object
    supervisor: object
    limit: object
    probes: list = field(default_factory=list)

    @classmethod
    def begin(cls, world) -> "Kitchen":
        site = make_site(world.area, "Fig House")
        planning.change_site(by=world.supervisor, site=site, changes={"time_zone": str(ZONE)})
        site.refresh_from_db()
        limit = make_limit(site, by=world.manager, effective_from=BEGUN)
        probes = [make_probe(site, code, by=world.manager, limits=[limit], starts_at=BEGUN) for code in ("F1", "F2")]
        for probe in probes:
            making.good(probe, world.cook, BEGUN)
            check_every(probe, 5, by=world.manager)
        times = [time(0), time(2, 30)]
        set_round(by=world.manager, limit=limit, data=RoundData(times=times, grace_minutes=20))
        return cls(site, world.cook, world.manager, world.supervisor, limit, probes)

    @property
    def probe(self):
        return self.probes[0]

    def act(self, what: str, at: datetime, number: int) -> None:
        """What cannot be done is left out, as a person would."""
        with suppress(ValidationError), transaction.atomic():
            getattr(self, what)(at, number)

    def read(self, at, number):
        fields = {
            "item": ("Soup", "Milk")[number % 2],
            "probe": self.probes[number % 3 % 2],
            "used_despite": "No other one.",
        }
        take(self, TYPED[number % 5], at, **fields)

    def corrected(self, at, number):
        if found := self._one(Reading, number):
            correct(self, found, TYPED[number % 5], "Point was missed", used_despite="No other one.")

    def struck(self, at, number):
        if found := self._one(Reading, number):
            readings.void(by=self.supervisor, reading=found, reason="Entered twice")

    def good(self, at, number):
        making.good(self.probes[number % 2], self.cook, at)

    def bad(self, at, number):
        making.bad(self.probes[number % 2], self.cook, at)

    def unclear(self, at, number):
        making.unclear(self.probes[number % 2], self.cook, at)

    def check_struck(self, at, number):
        if found := self._one(Check, number):
            check_actions.void_check(by=self.supervisor, check=found, reason="Wrong probe.")

    def check_corrected(self, at, number):
        if found := self._one(Check, number):
            making.correct_zero(found, self.cook)

    def acted(self, at, number):
        found = list(Deviation.objects.filter(reading__site=self.site).order_by("pk"))
        if found:
            data = ActData(action="Moved it", cause="Door open", disposition="moved", done_at=at)
            readings.act_on_deviation(by=self.manager, deviation=found[number % len(found)], data=data)

    def excused(self, at, number):
        found = list(Reminder.objects.filter(site=self.site, due_at__lte=at, cancelled_at=None).order_by("-due_at")[:9])
        if found:
            excuse_reminder(by=self.manager, reminder=found[number % len(found)], reason="No delivery that day.")

    def _one(self, model, number):
        found = list(model.objects.live().filter(site=self.site).order_by("pk"))
        return found[number % len(found)] if found else None


ACTS = (
    "read",
    "read",
    "read",
    "corrected",
    "struck",
    "good",
    "bad",
    "unclear",
    "check_struck",
    "check_corrected",
    "acted",
    "excused",
)
DELAYS = st.sampled_from((0, 0, 3, 14, 200, 1500))
HISTORIES = st.lists(st.tuples(MOMENTS, DELAYS, st.sampled_from(ACTS), st.integers(0, 59)), min_size=3, max_size=16)


def live(kitchen: Kitchen, history, clock) -> None:
    """Each act at the time at which it is entered; every seventh night rows are laid ahead."""
    acts = sorted(
        ((at + delay * MINUTE, at, what, number) for at, delay, what, number in history), key=lambda act: act[:2]
    )
    nights = [(BEGUN + n * timedelta(days=7), None) for n in range(7)]
    for entered, *act in sorted([*nights, *acts], key=lambda each: each[0]):
        clock.move_to(entered)
        planning.extend_horizon(entered) if act == [None] else kitchen.act(act[1], act[0], act[2])
    clock.move_to(PRINTED)


class Paper:
    """The print, as text and as data."""

    def __init__(self, kitchen: Kitchen):
        out = io.BytesIO()
        scope = RecordScope(site=kitchen.site, first=FIRST, last=LAST, printed_by="Rue Danby", now=PRINTED)
        write_record(out, scope)
        reader = PdfReader(out)
        self.text = words_of(reader)
        self.data = json.loads(reader.attachments["record.json"][0])


READ = re.compile(
    r"(\w+day \d+ \w+ 2026)"
    r"|(\d\d:\d\d(?: \+\d\d)?) R(\d+) (Soup|Milk) Cold holding: ≤ 5 °C (\S+) °C (F[12]) CE "
    r"(Proven|Pending|Quarantined|Unproven|Void)"
)
MOMENT = r"(\d+ \w{3} 2026 \d\d:\d\d(?: \+\d\d)?)"
CHECKED = re.compile(MOMENT + r" C(\d+) (?:found|left) .*?(In tolerance|Out of tolerance|Inconclusive)")
DEVIATED = re.compile(r"D(\d+) " + MOMENT + r" (Soup|Milk) Cold holding: ≤ 5 °C (\S+) °C (F[12]) (open|closed|void)")
DUE = re.compile(MOMENT + r" (?:F[12]|Cold holding)")
BECAME = re.compile("MISSED, excused|MISSED|done late|excused|not owed|not asked for|not asked in time|overdue|due")
DAY_OF_GRID = re.compile(r"(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d+ \w{3}(?= \d+ of )")


def in_parts(pattern: re.Pattern, text: str) -> list[tuple[re.Match, str]]:
    """Each match, and what stands between it and the next."""
    found = list(pattern.finditer(text))
    ends = [match.start() for match in found[1:]] + [len(text)]
    return [(match, text[match.end() : end]) for match, end in zip(found, ends, strict=False)]


def readings_on_paper(paper: Paper) -> list[tuple]:
    day, rows = "", []
    for match, note in in_parts(READ, section(paper.text, "Readings")):
        if match[1]:
            day = match[1]
            continue
        marks = tuple(word in note for word in ("Deviation D", "Entered late", "Corrects R", "Struck out by"))
        rows.append((day, match[2], int(match[3]), match[4], match[5].replace("−", "-"), match[6], match[7], *marks))
    return rows


def checks_on_paper(paper: Paper) -> Counter:
    parts = in_parts(CHECKED, section(paper.text, "Probes and their checks"))
    return Counter((match[1], int(match[2]), match[3], "Struck out by" in note) for match, note in parts)


def deviations_on_paper(paper: Paper) -> Counter:
    parts = in_parts(DEVIATED, section(paper.text, "Deviations and what was done"))
    return Counter(
        (int(m[1]), m[2], m[3], m[4].replace("−", "-"), m[5], m[6], note.count("Done ")) for m, note in parts
    )


def due_on_paper(paper: Paper) -> tuple[list[tuple], dict[str, str]]:
    told, _, grid = section(paper.text, "Planned and done").partition("Day by day: done of planned")
    rows = sorted((match[1], BECAME.search(note)[0]) for match, note in in_parts(DUE, told))
    return rows, {match[0]: note for match, note in in_parts(DAY_OF_GRID, grid)}


def asked(statement: str, *given) -> list[tuple]:
    """Times come as they are stored: as text on SQLite, in UTC."""
    given = [connection.ops.adapt_datetimefield_value(each) if isinstance(each, datetime) else each for each in given]
    with connection.cursor() as cursor:
        cursor.execute(statement, given)
        return cursor.fetchall()


def utc(stored) -> datetime | None:
    at = datetime.fromisoformat(stored) if isinstance(stored, str) else stored
    return at and (at if at.tzinfo else at.replace(tzinfo=UTC))


def clock_of(at: datetime) -> str:
    """The hour from 02:00 on 15 February comes twice."""
    told = f"{at.astimezone(ZONE):%H:%M}"
    return f"{told} {at.astimezone(ZONE):%Z}" if BACK - HOUR <= at < BACK + HOUR else told


def day_of(at: datetime) -> str:
    local = at.astimezone(ZONE)
    return f"{local.day} {local:%b %Y}"


def moment_of(at: datetime) -> str:
    return f"{day_of(at)} {clock_of(at)}"


def readings_stored(kitchen: Kitchen) -> list[tuple]:
    found = asked(
        """SELECT r.taken_at, r.id, r.item, r.typed, p.code, s.standing, r.recorded_at,
             EXISTS (SELECT 1 FROM readings_deviation d WHERE d.reading_id = r.id),
             EXISTS (SELECT 1 FROM readings_readingvoid c WHERE c.replacement_id = r.id),
             EXISTS (SELECT 1 FROM readings_readingvoid v WHERE v.voids_id = r.id)
           FROM readings_reading r JOIN probes_probe p ON p.id = r.probe_id
           JOIN checks_span s ON s.probe_id = r.probe_id AND r.taken_at > s.starts_at AND r.taken_at <= s.ends_at
           WHERE r.site_id = %s AND r.taken_at >= %s AND r.taken_at < %s ORDER BY r.taken_at, r.id""",
        kitchen.site.pk,
        START,
        END,
    )
    rows = []
    for taken, pk, item, typed, code, standing, recorded, deviates, corrects, void in found:
        taken, late = utc(taken), utc(recorded) - utc(taken) > timedelta(hours=2)
        day, told = f"{taken.astimezone(ZONE):%A} {day_of(taken)}", "Void" if void else standing.capitalize()
        marks = bool(deviates), late, bool(corrects), bool(void)
        rows.append((day, clock_of(taken), pk, item, typed, code, told, *marks))
    return rows


def checks_stored(kitchen: Kitchen) -> Counter:
    found = asked(
        """SELECT c.checked_at, c.id, c.verdict, EXISTS (SELECT 1 FROM checks_checkvoid v WHERE v.voids_id = c.id)
           FROM checks_check c JOIN probes_probe p ON p.id = c.probe_id
           WHERE p.site_id = %s AND c.checked_at >= %s AND c.checked_at < %s""",
        kitchen.site.pk,
        START,
        END,
    )
    words = {"in_tolerance": "In tolerance", "out_of_tolerance": "Out of tolerance", "inconclusive": "Inconclusive"}
    return Counter((moment_of(utc(at)), pk, words[verdict], bool(void)) for at, pk, verdict, void in found)


def deviations_stored(kitchen: Kitchen) -> Counter:
    """Those of readings of the period, and older ones that something was done about in it."""
    found = asked(
        """SELECT d.id, r.taken_at, r.item, r.typed, p.code,
             EXISTS (SELECT 1 FROM readings_readingvoid v WHERE v.voids_id = r.id),
             (SELECT count(*) FROM readings_correctiveaction a WHERE a.deviation_id = d.id)
           FROM readings_deviation d JOIN readings_reading r ON r.id = d.reading_id JOIN probes_probe p ON p.id = r.probe_id
           WHERE r.site_id = %s AND ((r.taken_at >= %s AND r.taken_at < %s) OR EXISTS (SELECT 1 FROM readings_correctiveaction a
             WHERE a.deviation_id = d.id AND a.recorded_at >= %s AND a.recorded_at < %s))""",
        kitchen.site.pk,
        *(START, END) * 2,
    )
    return Counter(
        (pk, moment_of(utc(at)), item, typed, code, "void" if void else "closed" if acts else "open", acts)
        for pk, at, item, typed, code, void, acts in found
    )


DUE_ROWS = """SELECT m.due_at, m.grace_at, m.closes_at, m.cancelled_at, m.recorded_at, m.probe_id,
  (SELECT c.checked_at FROM checks_check c WHERE c.probe_id = m.probe_id AND m.point = 'zero' AND c.kind = 'zero'
    AND c.verdict <> 'inconclusive' AND c.checked_at <= m.closes_at
    AND (c.checked_at > m.opens_at OR (c.checked_at = m.opens_at AND c.stage = 'as_left'))
    AND NOT EXISTS (SELECT 1 FROM checks_checkvoid v WHERE v.voids_id = c.id) ORDER BY c.checked_at LIMIT 1),
  (SELECT r.taken_at FROM readings_reading r JOIN limits_limitversion l ON l.id = r.limit_version_id
    WHERE r.site_id = m.site_id AND l.limit_id = m.limit_id AND r.taken_at > m.opens_at AND r.taken_at <= m.closes_at
    AND r.vouched AND NOT EXISTS (SELECT 1 FROM readings_readingvoid v WHERE v.voids_id = r.id)
    ORDER BY r.taken_at LIMIT 1),
  (SELECT e.recorded_at FROM reminders_excuse e WHERE e.reminder_id = m.id
    AND NOT EXISTS (SELECT 1 FROM reminders_excusevoid v WHERE v.voids_id = e.id))
  FROM plans_reminder m WHERE m.site_id = %s AND m.due_at >= %s AND m.due_at < %s"""


def due_stored(kitchen: Kitchen) -> tuple[list[tuple], dict[str, str]]:
    """The same as on paper: all that was not simply done, and each day's count of checks and of readings."""
    rows, days = [], {}
    for due, grace, closes, cancelled, recorded, probe, *done in asked(DUE_ROWS, kitchen.site.pk, START, END):
        due, grace, closes, cancelled, recorded = map(utc, (due, grace, closes, cancelled, recorded))
        checked, taken, excused = map(utc, done)
        became = _became(grace, closes, cancelled, recorded, checked or taken, excused)
        day = f"{due.astimezone(ZONE):%a} {due.astimezone(ZONE).day} {due.astimezone(ZONE):%b}"
        days.setdefault(day, (Counter(), Counter()))[probe is None][became] += 1
        if became != "done":
            rows.append((moment_of(due), LISTED.get(became, became)))
    return sorted(rows), {day: " ".join(map(_cell, filter(None, counts))) for day, counts in days.items()}


LISTED = {
    "missed": "MISSED",
    "missed and excused afterwards": "MISSED, excused",
    "not done in time and not owed": "not owed",
}


def _became(grace, closes, cancelled, recorded, done, excused) -> str:
    if done:
        return "done late" if done >= grace else "done"
    if excused:
        return "missed and excused afterwards" if excused >= closes else "excused"
    if cancelled:
        return "not done in time and not owed" if cancelled >= grace else "not asked for"
    if closes > PRINTED:
        return "overdue" if grace <= PRINTED else "due"
    return "not asked in time" if recorded and recorded > grace + 15 * MINUTE else "missed"


ORDER = (
    *("done late", "missed", "missed and excused afterwards", "overdue", "due", "excused", "not asked for"),
    *("not done in time and not owed", "not asked in time"),
)


def _cell(counts: Counter) -> str:
    rest = ", ".join(f"{counts[word]} {word}" for word in ORDER if counts[word])
    told = f"{counts['done'] + counts['done late']} of {counts.total()}"
    return f"{told}: {rest}" if rest else told


# Of everything, at both ends of the period and in both hours that the clock shows twice.
OF_ALL = [
    *(
        (at, 0, "read", number)
        for at, number in ((START - MINUTE, 3), (START, 4), (BACK - HOUR / 2, 0), (BACK + HOUR / 2, 1))
    ),
    *((at, delay, "read", 5) for at, delay in ((START + 5 * HOUR, 200), (END - MINUTE, 0), (END, 0))),
    *((START + (150 + n) * HOUR, 0, what, 0 if what == "acted" else 2 * n + 2) for n, what in enumerate(ACTS[3:])),
    *((START + (200 + n) * HOUR, 0, what, 3) for n, what in enumerate(("read", "bad"))),  # in bold, which is wider
]


@given(HISTORIES)
@example(OF_ALL)
@settings(
    suppress_health_check=list(HealthCheck),
    max_examples=int(os.environ.get("EXAMPLES", "1")),
    deadline=None,
    database=None,
    # A history takes a second, too much to look for a shorter one. A single one would be the simplest that there is.
    phases=[Phase.explicit, *([Phase.generate] if "EXAMPLES" in os.environ else [])],
)
def test_whatever_happened_the_print_has_each_row_of_the_period_once(world, history):
    with transaction.atomic(), time_machine.travel(BEGUN, tick=False) as clock:
        kitchen = Kitchen.begin(world)
        live(kitchen, history, clock)
        paper = Paper(kitchen)
        compare(kitchen, paper)
        transaction.set_rollback(True)


def compare(kitchen: Kitchen, paper: Paper) -> None:
    stored, checks, deviations = readings_stored(kitchen), checks_stored(kitchen), deviations_stored(kitchen)
    assert readings_on_paper(paper) == stored
    assert checks_on_paper(paper) == checks
    assert deviations_on_paper(paper) == deviations
    listed, grid = due_on_paper(paper)
    expected, days = due_stored(kitchen)
    assert listed == expected
    assert {day: cells[: len(days.get(day, "")) + 1].strip() for day, cells in grid.items()} == days
    numbers = {
        name: Counter(row["number"] for row in paper.data[name]) for name in ("readings", "checks", "deviations")
    }
    assert numbers["readings"] == Counter(f"R{row[2]}" for row in stored)
    assert numbers["checks"] == Counter(f"C{row[1]}" for row in checks)
    assert numbers["deviations"] == Counter(f"D{row[0]}" for row in deviations)
    told = [(moment_of(datetime.fromisoformat(row["due_at"])), row["became"]) for row in paper.data["not_in_time"]]
    assert sorted(told) == expected
