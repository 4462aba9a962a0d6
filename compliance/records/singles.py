"""Prints of one thing: the life of a probe, and one case of quarantine, from the parts that a record of a period has."""

from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import BinaryIO

from compliance.checks.models import Check
from compliance.probes.models import Placement, Probe
from compliance.quarantine.cases import Case
from compliance.readings.models import Reading
from shared.bounds import EARLIEST
from shared.printing.flow import Writer
from sites.models import Site

from .case_rows import cases_here
from .paper import begin
from .people import People
from .probes import ProbeHere, life_of
from .scope import RecordScope
from .sections import cases, events, failures, intervals, nothing, probes

REVIEWED = "Reviewed: I have read this print and followed up what is open."


@dataclass(frozen=True, kw_only=True)
class LifeScope(RecordScope):
    """One probe, wherever it was, from its first day in the book."""

    probe: Probe
    about_probes: str = "Every check of this probe, wherever it was made, void ones too."

    @cached_property
    def probes(self) -> list[ProbeHere]:
        return [life_of(self.probe, self.start, self.end, self.now)]

    @property
    def before_book(self) -> str:
        """It begins with the first that the book holds of it."""
        return ""


def life_scope(probe: Probe, *, printed_by: str, now: datetime) -> LifeScope:
    begun = (
        Placement.objects.filter(probe=probe).order_by("starts_at").values_list("starts_at", flat=True).first(),
        Check.objects.filter(probe=probe).order_by("checked_at").values_list("checked_at", flat=True).first(),
    )
    site = probe.site
    first = min(filter(None, begun), default=now)
    given = {"printed_by": printed_by, "now": now, "paper": site.paper}
    return LifeScope(probe=probe, site=site, first=_day(first, site), last=_day(now, site), **given)


def write_probe(out: BinaryIO, scope: LifeScope) -> None:
    """Write the life of a probe as a PDF to a binary file object."""
    with begin(out, scope, f"Life of probe {scope.probes[0].probe.code}") as writer:
        for section in (probes, failures, events, intervals, nothing):
            section.write(writer, scope)
        _close(writer, scope.people)


def case_scopes(case: Case, sites: list[Site], *, printed_by: str, now: datetime) -> list[RecordScope]:
    """The days of a case at each of these sites; who appears at several has one mark."""
    people = People.load()
    given = {"printed_by": printed_by, "now": now, "people": people}
    return [
        RecordScope(site=site, first=first, last=last, paper=site.paper, **given)
        for site in sites
        for first, last in [_days_of(case, site, now)]
    ]


def _days_of(case: Case, site: Site, now: datetime) -> tuple[date, date]:
    """Where nothing bounds it before or since: from the first reading with its probe, up to today."""
    read = Reading.objects.filter(probe=case.probe, site=site).order_by("taken_at").values_list("taken_at", flat=True)
    first = case.starts_at or read.first() or now
    return _day(first, site), _day(min(case.ends_at or now, now), site)


def write_case(out: BinaryIO, anchor: str, scopes: list[RecordScope]) -> None:
    """Write one case at each site of these scopes as a PDF to a binary file object."""
    with begin(out, scopes[0], f"Case {anchor[0].upper()}{anchor.partition(':')[2]} of quarantine") as writer:
        for scope in scopes:
            writer.heading(f"At {scope.site.name}")
            found = next((case for case in cases_here(scope) if case.anchor == anchor), None)
            if found is None:
                writer.paragraph("No reading of this case was taken at this site.")
            else:
                cases.write_one(writer, scope, found)
        _close(writer, scopes[0].people)


def _close(writer: Writer, people: People) -> None:
    writer.heading("People named in this print")
    writer.facts(people.key(), columns=2)
    with writer.together():
        writer.heading("Signature under this print")
        meaning, _, words = REVIEWED.partition(": ")
        writer.paragraph(words)
        writer.signature("", None, meaning)


def _day(at: datetime, site: Site) -> date:
    return max(EARLIEST, at.astimezone(site.zone).date())
