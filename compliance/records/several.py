"""The records of several sites in one document: a first page that answers for all of them, then the record of each.

One site after the other is read and written, so that memory does not grow with how many there are.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import BinaryIO

from django.utils.text import slugify

from compliance.reminders.status import Status
from shared.plurals import plural
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from sites.models import Site

from .asked import RecordRequest
from .paper import paper_of
from .planned_counts import BECAME, DONE, LATE, MISSED, count_planned
from .record import AT_THE_END, OF_A_SITE, TITLE, write_record
from .scope import RecordScope
from .sections.reviews import days_reviewed
from .summary_counts import count_cases, count_checks, count_deviations, count_readings, named
from .twin.writing import twin_of

NOT_DONE = (*MISSED, BECAME[Status.OVERDUE])
NUMBER = {"align": "center", "points": 38}
COLUMNS = [
    Column("Site", share=1),
    Column("Checks planned", **NUMBER),
    Column("Checks done", **NUMBER),
    Column("Checks missed, overdue", **NUMBER),
    Column("Checks failed", **NUMBER),
    Column("Readings planned", **NUMBER),
    Column("Readings missed, overdue", **NUMBER),
    Column("Deviations open", align="center", points=46),
    Column("Readings to decide on", align="center", points=46),
    Column("Days not reviewed", **NUMBER),
    Column("Begins on", points=34, align="right", page=True),
]
EXPLAINED = (
    "Checks and readings planned: those that fell due in the period. Done: late ones too. Failed: checks made in the period that "
    "found the probe out of tolerance; of those, in brackets, how many were struck out since. Deviations open: readings of the "
    "period that did not meet their limit, where nothing is recorded about what was done. To decide on: readings in quarantine "
    "on which nobody has decided; in brackets, cases decided and not signed. Days not reviewed: with records, and not signed by "
    "a second person, or changed since. What is open is told as it was at printing. A row in bold has something missed, overdue, "
    "failed, open or not reviewed. The first page of each record tells more, and which entries these are."
)
CLOCKS = "Each record gives its times on the clock of its site, which it names at its head. Initials are those of one record."


def write_records(out: BinaryIO, asked: RecordRequest) -> None:
    """Write the record of each site as one PDF to a binary file object; of one alone, without a page before it."""
    if len(asked.sites) == 1:
        write_record(out, asked.scope(asked.sites[0]))
        return
    with begin_cover(out, asked) as writer:
        _write_cover(writer, asked)
        for site in asked.sites:
            _write_part(writer, asked.scope(site))
        scope = asked.scope(asked.sites[0])
        masthead, imprint = _cover_of(asked, scope)
        writer.part(masthead, imprint, name="end", title="How to read these records")
        for section in AT_THE_END:
            section.write(writer, scope)


def begin_cover(out: BinaryIO, asked: RecordRequest) -> Writer:
    masthead, imprint = _cover_of(asked, asked.scope(asked.sites[0]))
    return Writer(out, masthead=masthead, imprint=imprint, page_size=asked.paper or asked.sites[0].paper)


def _cover_of(asked: RecordRequest, scope: RecordScope):
    """A head for all of them. Of several businesses none stands there, and each record has the head of its own trail."""
    masthead, imprint = paper_of(scope, TITLE)
    sites = f"{plural(len(asked.sites), 'site')}: {named([site.name for site in asked.sites])}"
    masthead = replace(masthead, site=sites, times="")
    if len({site.area.business_id for site in asked.sites}) > 1:
        return replace(masthead, business=""), replace(imprint, witness="")
    return masthead, imprint


def _write_part(writer: Writer, scope: RecordScope) -> None:
    masthead, imprint = paper_of(scope, TITLE)
    writer.part(masthead, imprint, name=place_of(scope.site), title=scope.site.name)
    for section in OF_A_SITE:
        section.write(writer, scope)
    with twin_of(scope) as files:
        before = f"{slugify(scope.site.name)[:60] or 'site'}-{scope.site.pk}-"
        writer.attach(files, f"The record of {scope.site.name} as data", before=before)


def place_of(site: Site) -> str:
    return f"Site {site.pk}"


@dataclass(slots=True)
class SiteCount:
    """What the first page tells of a site, or of all."""

    planned: int = 0
    done: int = 0
    missed: int = 0
    failed: int = 0
    void_failures: int = 0
    rounds: int = 0
    rounds_missed: int = 0
    deviations: int = 0
    undecided: int = 0
    unsigned: int = 0
    days: int = 0

    def __add__(self, other: "SiteCount") -> "SiteCount":
        names = [each.name for each in fields(self)]
        return SiteCount(*(getattr(self, name) + getattr(other, name) for name in names))

    @property
    def amiss(self) -> bool:
        failed = self.failed + self.missed + self.rounds_missed
        return bool(failed + self.deviations + self.undecided + self.unsigned + self.days)

    def cells(self) -> tuple[str, ...]:
        return (
            *(f"{number:,}" for number in (self.planned, self.done, self.missed)),
            _and(self.failed, self.void_failures, "void"),
            *(f"{number:,}" for number in (self.rounds, self.rounds_missed, self.deviations)),
            _and(self.undecided, self.unsigned, "unsigned"),
            f"{self.days:,}",
        )


def _and(number: int, more: int, word: str) -> str:
    return f"{number:,} ({more:,} {word})" if more else f"{number:,}"


def count_site(scope: RecordScope) -> SiteCount:
    planned, checks, cases = count_planned(scope), count_checks(scope), count_cases(scope)
    due, rounds = planned.became(checks=True), planned.became(checks=False)
    return SiteCount(
        planned=due.total(),
        done=due[DONE] + due[LATE],
        missed=sum(due[word] for word in NOT_DONE),
        failed=len(checks.failed) + len(checks.void_failures),
        void_failures=len(checks.void_failures),
        rounds=rounds.total(),
        rounds_missed=sum(rounds[word] for word in NOT_DONE),
        deviations=count_deviations(scope).open,
        undecided=cases.undecided,
        unsigned=len(cases.by_state.get("to_sign", ())),
        days=sum(each.asks for each in days_reviewed(scope)),
    )


def _write_cover(writer: Writer, asked: RecordRequest) -> None:
    writer.heading("All sites at a glance")
    writer.table(COLUMNS, _rows(asked), dense=True)
    writer.paragraph(EXPLAINED, small=True)
    writer.paragraph(CLOCKS, small=True)


def _rows(asked: RecordRequest) -> Iterator[Row]:
    total = SiteCount()
    for site in asked.sites:
        scope = asked.scope(site)
        count = count_site(scope)
        total += count
        cells = (scope.site.name, *count.cells(), place_of(site))
        yield Row(cells, strong=count.amiss, note=_unknown(scope, count))
    yield Row((f"All {len(asked.sites):,} sites", *total.cells(), ""), strong=True)


def _unknown(scope: RecordScope, count: SiteCount) -> str:
    """Noughts that say nothing are not left to look like a good record."""
    readings, checks = count_readings(scope), count_checks(scope)
    made = readings.taken + readings.void + checks.made + checks.void
    nothing = "" if made or count.planned or count.rounds else "Nothing was planned, checked or read in the period."
    book = f"{scope.before_book}: nothing is known of the days before." if scope.before_book else ""
    return " ".join(filter(None, (nothing, book)))
