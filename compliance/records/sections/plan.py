"""The limits that the site worked under in the period, with where they come from and what changed."""

from collections.abc import Iterator
from itertools import groupby

from compliance.limits.models import LimitVersion, Origin
from compliance.limits.wording import demand
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import day_words, moment, on_clock
from shared.units import show

from ..formatting import joined, sentence
from ..scope import RecordScope

COLUMNS = [
    Column("Limit and step", share=1.2),
    Column("Hazard", share=1.1),
    Column("Demands", share=1),
    Column("Usual corrective action", share=1.6),
    Column("Source", share=1.5),
    Column("In force from", points=50),
]
NOT_SEEN = {
    Origin.SEEN: "",
    Origin.MEMORY: "Check with your authority.",
    Origin.PRACTICE: "Common practice, no source.",
}


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Limits in force")
    writer.paragraph("Each limit as it stood at the beginning of the period, and every change within it.", small=True)
    empty = scope.none("No limit was in force at this site in the period.")
    writer.table(COLUMNS, _rows(scope), dense=True, empty=empty)


def _rows(scope: RecordScope) -> Iterator[Row]:
    versions = (
        LimitVersion.objects.filter(limit__site=scope.site, effective_from__lt=scope.end, recorded_at__lte=scope.now)
        .select_related("limit")
        .order_by("limit__step", "limit__title", "limit", "effective_from", "pk")
    )
    for _, group in groupby(versions, key=lambda version: version.limit_id):
        for version in _told(list(group), scope):
            yield _row(version, scope)


def _told(versions: list[LimitVersion], scope: RecordScope) -> list[LimitVersion]:
    """The version that counted at the start, if it was in force, and all that begin in the period."""
    before = [v for v in versions if v.effective_from < scope.start]
    within = [v for v in versions if v.effective_from >= scope.start]
    return [v for v in before[-1:] if v.in_force] + within


def _row(version: LimitVersion, scope: RecordScope) -> Row:
    limit = version.limit
    name = limit.title if limit.step.lower() == limit.title.lower() else f"{limit.title}\n{limit.step}"
    demands = joined(demand(version)) if version.in_force else "no longer in force"
    source = " ".join(filter(None, (_joined(version), NOT_SEEN[Origin(version.origin)])))
    began = day_words(on_clock(version.effective_from, scope.zone).date())
    cells = (name, limit.hazard, demands, joined(version.usual_action), source, began)
    return Row(cells, note=_note(version, scope))


def _joined(version: LimitVersion) -> str:
    return sentence(f"{version.source}, {version.edition}" if version.edition else version.source)


def _note(version: LimitVersion, scope: RecordScope) -> str:
    parts = []
    if version.target_milli is not None:
        parts.append(f"Target inside the limit: {show(version.target_milli, scope.site.unit)}.")
    if scope.holds(version.effective_from):
        parts.append(f"Changed in the period, from {moment(version.effective_from, scope.zone)}.")
    if parts or version.reason:
        who, when = scope.people.full_of(version), moment(version.recorded_at, scope.zone)
        parts.append(f"Set by {who}, {when}{': ' + sentence(version.reason) if version.reason else '.'}")
    return " ".join(parts)
