"""Annex: what the trail says was changed in the period, and later of it, entry by entry; each day's work is counted only."""

from django.db.models import Count, Q, QuerySet

from compliance.checks.models import Check
from compliance.readings.models import Deviation
from shared.audit.models import Entry
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..scope import RecordScope
from ..statements import asked
from ..trail_words import ACTS, DAILY, PRIVATE, act_of, record_of

COLUMNS = [
    Column("When", points=72),
    Column("Who", share=0.9),
    Column("What", share=1.2),
    Column("Which record", share=1.4, links=True),
    Column("Why", share=1.4),
]
OF_ALL_SITES = ("business.amend", "business.restore", "plan.set", "closure.add", "closure.void", "record.seal")


def write(writer: Writer, scope: RecordScope) -> None:
    rows = (_row(entry, scope) for entry in _changes(scope))
    writer.heading("Annex: changes to the record")
    writer.table(COLUMNS, rows, dense=True, empty="Nothing was changed.")
    told = [f"{ACTS[action]}: {n}" for action, n in sorted(_counted(scope))]
    if told:
        writer.paragraph(f"Entries of each day's work, not listed here: {'; '.join(told)}.", small=True)


@asked
def entries_of(scope: RecordScope) -> QuerySet[Entry]:
    """Of the site or of its business as a whole, the first first: made in the period, or later on a record of it."""
    return _entries(scope)


@asked
def _changes(scope: RecordScope) -> QuerySet[Entry]:
    return _entries(scope).exclude(action__in=DAILY)


@asked
def _counted(scope: RecordScope) -> QuerySet[Entry]:
    return _entries(scope).filter(action__in=DAILY).order_by().values_list("action").annotate(n=Count("pk"))


def _entries(scope: RecordScope) -> QuerySet[Entry]:
    files = Q(subject_type="readings.import", subject_id__in=scope.file_keys)
    here = Q(site_id=scope.site) | files | Q(site_id=None, business_id=scope.business, action__in=OF_ALL_SITES)
    made = Q(at__gte=scope.start, at__lt=scope.end) | Q(_later_on(scope), at__gte=scope.end)
    return Entry.objects.filter(here, made | files, at__lte=scope.now).exclude(action__in=PRIVATE).order_by("at", "pk")


def _later_on(scope: RecordScope) -> Q:
    readings = scope.readings().order_by()
    checks = Check.objects.filter(site=scope.site, **scope.within("checked_at")).order_by()
    return (
        Q(subject_type="readings.reading", subject_id__in=readings.values("pk"))
        | Q(
            subject_type="readings.deviation",
            subject_id__in=Deviation.objects.filter(reading__in=readings).values("pk"),
        )
        | Q(subject_type="checks.check", subject_id__in=checks.values("pk"))
    )


def _row(entry: Entry, scope: RecordScope) -> Row:
    return Row((moment(entry.at, scope.zone), entry.actor, act_of(entry), record_of(entry), entry.reason))
