"""The file that readings are taken out as, line by line beside what the models themselves say of each reading."""

import csv
import io
from datetime import UTC, datetime

import pytest

from compliance.checks.instruments import amend_probe
from compliance.checks.queries import standing_subquery
from compliance.limits.wording import demand
from compliance.probes.models import Probe
from compliance.quarantine.actions import DecisionData, decide
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from compliance.readings.exporting import csv_lines
from compliance.readings.importing.cells import unguarded
from compliance.readings.importing.layout import COLUMNS, PASSED_OVER
from compliance.readings.models import Reading
from compliance.reminders.planning import change_site
from sites.actions import rename_person
from sites.models import Person, Site
from tests.checks.making import bad, day, good
from tests.readings.helpers import take

# About the hours that clocks skip and repeat in London, some to the microsecond; and another summer.
TIMES = (
    datetime(2025, 3, 30, 0, 59, 59, 999_999, UTC),
    datetime(2025, 3, 30, 1, 0, tzinfo=UTC),
    datetime(2025, 10, 26, 0, 30, tzinfo=UTC),
    datetime(2025, 10, 26, 1, 30, 0, 120_000, UTC),
    datetime(2021, 7, 1, 12, 0, 1, tzinfo=UTC),
)
ITEMS = (
    "=1+2",
    "'=odd",
    "''",
    "'",
    "-",
    "@x",
    '"quoted", and; more',
    "“–” \U0001f321",
    "\N{NO-BREAK SPACE}=x",
    "'milk",
)
NOTES = ("", "two\r\nlines", "'\todd", "+44", "a,b", "it’s", "''=x")


def take_all(world):
    for number, item in enumerate(ITEMS * 2):
        hold = None if number % 2 else number
        take(world, taken_at=TIMES[number % 5], item=item, note=NOTES[number % 7], hold_s=hold, typed=f"{number % 5}.0")


@pytest.fixture
def told(world, clock):
    """Readings of nasty texts at odd times, before and after the site, its clock, the probe and whoever took them changed."""
    take_all(world)
    clock.shift(3600)
    change_site(by=world.supervisor, site=world.site, changes={"name": "=Alder Annexe", "time_zone": "Asia/Kathmandu"})
    amend_probe(by=world.supervisor, probe=world.probe, changes={"code": "-Z9"})
    rename_person(by=world.supervisor, person=world.cook, name="@Col", initials="C", reason="Married in June")
    clock.shift(3600)
    world.site, world.probe, world.cook = (
        kind.objects.get(pk=each.pk) for kind, each in ((Site, world.site), (Probe, world.probe), (Person, world.cook))
    )
    take(world, taken_at=datetime(2026, 3, 11, 13, 30, tzinfo=UTC))
    take_all(world)
    return world


def as_models_say(reading: Reading) -> list[str]:
    hold, since = ("" if each is None else str(each) for each in (reading.hold_s, reading.since_start_s))
    at = reading.taken_at.astimezone(reading.site.zone).isoformat()
    measured = [
        reading.limit_version.limit.code,
        reading.item,
        reading.typed,
        reading.unit,
        at,
        hold,
        since,
        reading.note,
    ]
    appliance = reading.appliance.name if reading.appliance else ""
    taken = [reading.taken_by.email, reading.used_despite, appliance]
    after = [*taken, reading.fitness, reading.name_of("taken_by").name]
    then = [reading.site_then.name, reading.probe_then.code]
    met = "no" if hasattr(reading, "deviation") else "yes"
    said = [f"R{reading.pk}", demand(reading.limit_version), met, reading.standing, ""]
    return [reading.site.name, reading.probe.code, *measured, *after, *then, *said]


def test_each_line_is_what_the_models_say_of_its_reading(told):
    first, *lines = csv.reader(io.StringIO("".join(csv_lines(Reading.objects.all(), [told.site])), newline=""))
    assert first == ["\ufeffsite", *COLUMNS[1:], *PASSED_OVER]
    judged = Reading.objects.annotate(standing=standing_subquery())
    said = [as_models_say(reading) for reading in judged.order_by("taken_at", "pk")]
    assert len(said) == 41 and [[unguarded(cell) for cell in line] for line in lines] == said
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for line in lines for cell in line)
    for column in (-6, -7, -8):
        assert len({line[column] for line in lines}) == 2, "called one thing, then another"


def test_a_line_says_what_was_decided_last_and_whether_its_limit_was_met(clock, world):
    good(world.probe, world.cook, day(0))
    reading, over = (take(world, taken_at=day(number), typed=typed) for number, typed in ((1, "3.5"), (2, "9.0")))
    anchor = f"check:{bad(world.probe, world.cook, day(3)).pk}"
    selection, data = Selection(sites=(world.site.pk,), ids=(reading.pk,)), DecisionData(fate="discarded", why="Gone.")
    decide(by=world.manager, case=load_case(anchor), selection=selection, data=data)
    text = "".join(csv_lines(Reading.objects.all(), [world.site])).removeprefix("\ufeff")
    told = {line["number"]: line for line in csv.DictReader(io.StringIO(text, newline=""))}
    first, second = told[f"R{reading.pk}"], told[f"R{over.pk}"]
    assert (first["limit_met"], first["standing"], first["last_decision"]) == ("yes", "quarantined", "discarded")
    assert (second["limit_met"], second["last_decision"]) == ("no", "")
