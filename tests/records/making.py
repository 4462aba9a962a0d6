"""A kitchen with something of everything that a record shows, and the text of a record read back."""

import io
import uuid
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import timezone
from pypdf import PdfReader

from compliance.quarantine import actions as quarantine
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from compliance.readings import actions as readings
from compliance.readings.data import ActData, ReadingData
from compliance.readings.models import Reading
from compliance.records.paper import begin
from compliance.records.record import OF_A_SITE, TITLE, write_record
from compliance.records.scope import RecordScope
from tests.checks import making
from tests.printed_text import words_of
from tests.world import make_limit, make_probe

LONDON = ZoneInfo("Europe/London")
FIRST, LAST = date(2026, 3, 1), date(2026, 3, 31)


def at(day: int, hour: int = 9, minute: int = 0, month: int = 3) -> datetime:
    """A time in 2026 on the clock of the stock site."""
    return datetime(2026, month, day, hour, minute, tzinfo=LONDON)


def take(world, typed: str, taken_at: datetime, *, by=None, unit="C", probe=None, limit=None, **fields) -> Reading:
    """A reading through its action, with its deviation where it does not meet its limit."""
    fields = {"item": "Soup", "site": world.site, **fields}
    data = ReadingData(
        key=uuid.uuid4(),
        probe=probe or world.probe,
        limit=limit or world.limit,
        typed=typed,
        unit=unit,
        taken_at=taken_at,
        **fields,
    )
    return readings.record(by=by or world.cook, data=data)


def correct(world, reading: Reading, typed: str, reason: str, **fields) -> Reading:
    fields = {"item": reading.item, "unit": reading.unit, "taken_at": reading.taken_at, **fields}
    data = ReadingData(
        key=uuid.uuid4(),
        probe=reading.probe,
        site=reading.site,
        limit=reading.limit_version.limit,
        typed=typed,
        **fields,
    )
    return readings.correct(by=world.cook, reading=reading, reason=reason, data=data)


def decide(world, anchor: str, fate: str, *, ids=None, by=None, **words) -> None:
    selection, data = Selection(sites=(world.site.pk,), ids=ids), quarantine.DecisionData(fate=fate, **words)
    quarantine.decide(by=by or world.manager, case=load_case(anchor), selection=selection, data=data)


NOW = at(2, 12, month=4)


def march(world) -> tuple[dict, str]:
    """The story, and the text of its record."""
    return story(world), record_of(world.site)


def story(world) -> dict:
    """March 2026: a good probe, one that fails, deviations, corrections, decisions and a signature. The clock stands at `NOW`."""
    hot = make_limit(world.site, by=world.manager, code="hot-holding", direction="at_least", value="63")
    other = make_probe(world.site, "P2", by=world.manager, limits=[hot], description="Servery")
    made = {"hot": hot, "other": other}
    made["before"] = making.good(world.probe, world.cook, at(27, month=2))
    making.good(other, world.cook, at(1, 7))
    made["failed"] = making.bad(world.probe, world.cook, at(9, 7, 30))
    made["event"] = making.event(world.probe, world.cook, "adjusted", at(9, 8), note="Screw turned")
    made["left"] = making.good(world.probe, world.cook, at(9, 8, 30), stage="as_left")
    made["unclear"] = making.unclear(other, world.manager, at(15, 7))
    made["after"] = making.good(other, world.manager, at(20, 7))
    _take_all(world, made)
    _decide_all(world, made)
    return made


def _take_all(world, made) -> None:
    hot, other = made["hot"], made["other"]
    made["doubted"] = [take(world, "3.1", at(day)) for day in (3, 4, 5)] + [take(world, "6.9", at(6))]
    made["proven"] = take(world, "71.2", at(3, 12), probe=other, limit=hot, item="Rice")
    made["breach"] = take(world, "58.4", at(16, 12), probe=other, limit=hot, item="Gravy", note="Lid was off")
    made["open"] = take(world, "60.0", at(18, 12), probe=other, limit=hot, item="Peas")
    made["fahrenheit"] = take(world, "38.5", at(19), unit="F", item="Milk")
    made["wrong"] = take(world, "44.0", at(20), item="Yoghurt")
    made["right"] = correct(world, made["wrong"], "4.4", "Point was missed")
    made["struck"] = take(world, "2.0", at(21), item="Ham")
    readings.void(by=world.manager, reading=made["struck"], reason="Entered twice")
    readings.act_on_deviation(
        by=world.manager,
        deviation=made["breach"].deviation,
        data=ActData(
            action="Reheated to 80 °C",
            cause="Lamp failed",
            disposition="reworked",
            done_at=at(16, 12, 30),
            note="Nobody had eaten",
        ),
    )


def _decide_all(world, made) -> None:
    anchor = made["anchor"] = f"check:{made['failed'].pk}"
    first, *others = [reading.pk for reading in made["doubted"]]
    decide(
        world, anchor, "eaten", ids=(first,), why="Served on the day", risk="Low: cold chain held", told="Nobody needed"
    )
    decide(world, anchor, "discarded", ids=tuple(others), why="Binned 4 kg of soup")
    decide(world, anchor, "stands", ids=(first,))
    made["signature"] = quarantine.sign(by=world.supervisor, anchor=anchor)


def scope_of(site, first=FIRST, last=LAST, **fields) -> RecordScope:
    """No record lies ahead: of a period that is not over, up to now."""
    fields = {"printed_by": "Rue Danby", "now": timezone.now(), **fields}
    return RecordScope(site=site, first=first, last=min(last, fields["now"].astimezone(site.zone).date()), **fields)


def written(scope: RecordScope) -> bytes:
    out = io.BytesIO()
    write_record(out, scope)
    return out.getvalue()


def printed(scope: RecordScope) -> PdfReader:
    return PdfReader(io.BytesIO(written(scope)))


def section(text: str, heading: str) -> str:
    """What stands between a heading of the record and the next one that is there."""
    text = text.split(_begins(heading), 1)[1]
    ends = (text.find(_begins(following)) for following in HEADINGS[HEADINGS.index(heading) + 1 :])
    return text[: next((end for end in ends if end >= 0), None)]


def _begins(heading: str) -> str:
    """The word “Readings” stands elsewhere, too."""
    return " Readings Time No. " if heading == "Readings" else f" {heading} "


def sections_of(scope: RecordScope, *sections) -> str:
    """What these sections say in print by themselves: to print and read one takes a fifth of the time of all."""
    out = io.BytesIO()
    with begin(out, scope, TITLE) as writer:
        for each in sections:
            each.write(writer, scope)
    return words_of(PdfReader(out))


def section_of(site, heading: str, first=FIRST, last=LAST, **fields) -> str:
    """Of one that tells nothing `nothing` tells, after it."""
    return section(sections_of(scope_of(site, first, last, **fields), BY_HEADING[heading]), heading)


HEADINGS = (
    "Summary",
    "Open points at printing",
    "Checks that did not pass, in full",
    "Deviations and what was done",
    "Cases of quarantine and decisions",
    "Planned and done",
    "Corrections and voids",
    "Reviews of days",
    "Appliances and their rounds",
    "Readings",
    "Files of readings that were brought in",
    "Probes and their checks",
    "Events of probes",
    "Limits in force",
    "Days of work and plans of checks",
    "Intervals between checks",
    "Changes of what was set",
    "Reasons given more than ten times",
    "What no entry was made of",
    "People named in this record",
    "Signatures under this record",
    "Annex: changes to the record",
    "How to read this record",
    "Cautions",
)
BY_HEADING = dict(zip(HEADINGS[: HEADINGS.index("What no entry was made of")], OF_A_SITE[1:], strict=False))


def record_of(site, first=FIRST, last=LAST, **fields) -> str:
    return words_of(printed(scope_of(site, first, last, **fields)))
