"""The checks and readings that fall due on a day, as forms to fill in by hand while nothing can be typed."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import BinaryIO

from compliance.limits.queries import versions_in_force
from compliance.limits.wording import demand
from compliance.notices.calendar_entries import entries
from compliance.notices.models import FeedKey
from compliance.plans.calendar import local_day
from compliance.plans.models import Reminder
from compliance.reminders.queries import open_rounds, rounds_to_come
from shared.cautions import caution
from shared.printing.flow import Writer
from shared.printing.page import Imprint, Masthead
from shared.printing.table import Column, Row
from shared.time_text import long_weekday_day, moment, styled
from shared.units import Unit
from sites.models import Site

from .formatting import joined
from .paper import FOOT
from .scope import midnight

EMPTY = "\N{NO-BREAK SPACE}"
TALL = f"{EMPTY}\n{EMPTY}"  # a line that nothing is printed in, high enough for a pen
SPARE_CHECKS, SPARE_READINGS = 2, 6
HOW = (
    "Write down each number as the display shows it, at the moment of reading, with the time and your own initials. Strike out "
    "what is wrong with one line, so that it stays readable. When the book can be reached again, enter each line with the time "
    "that stands here: the book marks it as entered late. Keep this sheet."
)
CHECKS = (
    "Write down what the display shows, with the minutes and seconds since the probe went in, until it no longer "
    "changes. A probe that fails is not used: label it and keep it apart."
)


def write_blank_forms(out: BinaryIO, site: Site, day: date, *, printed_by: str, now: datetime) -> None:
    """Write them as a PDF to a binary file object."""
    business = site.area.business
    masthead = Masthead(business=business.name, site=site.name, title="Blank forms", period=long_weekday_day(day))
    imprint = Imprint(printed_by=printed_by, printed_at=now, zone=site.zone, note=FOOT)
    with Writer(out, masthead=masthead, imprint=imprint, page_size=site.paper) as writer:
        writer.paragraph(HOW)
        writer.heading("Readings")
        writer.table(_readings_columns(site), _readings(site, day, now))
        writer.heading("Checks of probes")
        writer.paragraph(CHECKS, small=True)
        writer.table(_checks_columns(site), _checks(site, day, now))
        writer.caution(caution("ice_bath").text, caution("ice_bath").title)
        writer.signature("", None, "Entered into the book")


def _readings_columns(site: Site) -> list[Column]:
    return [
        Column("What, and its limit", share=2),
        Column("Due", points=46),
        Column("Time", points=48, box=True),
        Column(f"Number, {Unit(site.unit).label}", points=58, box=True),
        Column("Initials", points=40, box=True),
        Column("Probe", points=48, box=True),
        Column("Note: what was done", share=1.4, box=True),
    ]


def _checks_columns(site: Site) -> list[Column]:
    shown = [Column(f"Shown {n}, {Unit(site.unit).label}; min:s", share=1, box=True) for n in (1, 2, 3)]
    return [
        Column("Probe", points=88),
        Column("Due", points=46),
        Column("Time", points=48, box=True),
        *shown,
        Column("Initials", points=40, box=True),
    ]


def _readings(site: Site, day: date, now: datetime) -> Iterator[Row]:
    start, end = midnight(day, site.zone), midnight(day + timedelta(days=1), site.zone)
    demands = {version.limit_id: joined(demand(version)) for version in versions_in_force(site, max(start, now))}
    for each in _rounds(site, start, end, now):
        what = f"{each.what_then}\n{demands.get(each.limit_id, EMPTY)}"
        yield Row((what, _due(each.due_at, site, day), *[EMPTY] * 5))
    for _ in range(SPARE_READINGS):
        yield Row((TALL, EMPTY, *[EMPTY] * 5))


def _rounds(site: Site, start: datetime, end: datetime, now: datetime) -> list[Reminder]:
    """Of today also what is open already."""
    before = open_rounds(site, now) if start <= now else []
    return [*before, *rounds_to_come(site, now, due_at__gte=start, due_at__lt=end)]


def _checks(site: Site, day: date, now: datetime) -> Iterator[Row]:
    """Each probe once. Of today also what is overdue; of another day what will fall due if all is made in time."""
    today, listed = day <= local_day(now, site.zone), set()
    for each in entries(site, now, shows=FeedKey.Shows.CHECKS):
        if each.what not in listed and (each.due_day == day or (today and each.due_day < day)):
            listed.add(each.what)
            yield Row((f"{each.what}\n{EMPTY}", _due(each.due_at, site, day), *[EMPTY] * 5))
    for _ in range(SPARE_CHECKS):
        yield Row((TALL, EMPTY, *[EMPTY] * 5))


def _due(at: datetime, site: Site, day: date) -> str:
    return styled(at, site.zone, "clock") if local_day(at, site.zone) == day else moment(at, site.zone)
