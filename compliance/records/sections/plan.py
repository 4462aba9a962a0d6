"""The limits that the site worked under in the period, with where they come from, from when until when, who set them and why."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from django.db.models import QuerySet

from compliance.limits.comparing import looser_than
from compliance.limits.models import LimitVersion, Origin
from compliance.limits.wording import demand
from shared.bounds import AT_ONCE
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import day_words, moment, on_clock
from shared.units import show

from ..formatting import joined, sentence
from ..scope import RecordScope
from ..statements import asked

COLUMNS = [
    Column("Limit and step", share=1.2),
    Column("Hazard", share=1.1),
    Column("Demands", share=1),
    Column("Usual corrective action", share=1.6),
    Column("Source", share=1.5),
    Column("In force", points=62),
]
NOT_SEEN = {
    Origin.SEEN: "",
    Origin.MEMORY: "Check with your authority.",
    Origin.PRACTICE: "Common practice, no source.",
}
KEPT = "A reading entered before that keeps the limit by which it was judged."


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Limits in force")
    writer.paragraph("Each limit as it stood at the beginning of the period, and every change within it.", small=True)
    empty = scope.none("No limit was in force at this site in the period.")
    writer.table(COLUMNS, _rows(scope), dense=True, empty=empty)


@dataclass(frozen=True, slots=True)
class HeldVersion:
    """A version with the moment at which the next begins (None: none is known), and the one that was entered in its place."""

    version: LimitVersion
    until: datetime | None
    instead: LimitVersion | None
    is_first: bool  # that was entered of its limit

    def belongs(self, scope: RecordScope) -> bool:
        """Whether it was in force in the period, or set for a moment of it."""
        if scope.holds(self.version.effective_from):
            return True
        began = self.version.effective_from < scope.start and (self.until is None or self.until > scope.start)
        return began and self.version.in_force and self.instead is None

    @property
    def dated_back(self) -> bool:
        return self.version.recorded_at - self.version.effective_from > AT_ONCE


def _rows(scope: RecordScope) -> Iterator[Row]:
    for _, group in groupby(_versions(scope), key=lambda version: version.limit_id):
        yield from (_row(each, scope) for each in _held(list(group)) if each.belongs(scope))


@asked
def _versions(scope: RecordScope) -> QuerySet[LimitVersion]:
    known = LimitVersion.objects.filter(limit__site=scope.site, recorded_at__lte=scope.now).select_related(
        "limit__rule"
    )
    return known.order_by("limit__step", "limit__title", "limit", "effective_from", "pk")


def _held(versions: list[LimitVersion]) -> Iterator[HeldVersion]:
    first = min(version.pk for version in versions)
    for number, version in enumerate(versions):
        after = versions[number + 1 :]
        until = next((each.effective_from for each in after if each.effective_from > version.effective_from), None)
        instead = after[0] if after and after[0].effective_from == version.effective_from else None
        yield HeldVersion(version, until, instead, version.pk == first)


def _row(each: HeldVersion, scope: RecordScope) -> Row:
    version, limit = each.version, each.version.limit
    name = limit.title if limit.step.lower() == limit.title.lower() else f"{limit.title}\n{limit.step}"
    demands = joined(demand(version)) if version.in_force else "no longer in force"
    span = f"from {_day(version.effective_from, scope)}"
    if each.until and version.in_force and not each.instead:
        span += f"\nuntil {_day(each.until, scope)}"
    cells = (name, limit.hazard, demands, joined(version.usual_action), source_of(version), span)
    return Row(cells, void=each.instead is not None, note=" ".join(_notes(each, scope)))


def _day(at: datetime, scope: RecordScope) -> str:
    return day_words(on_clock(at, scope.zone).date())


def source_of(version: LimitVersion) -> str:
    """Where the figures come from. Those of the site are told as its own, beside what the rule says."""
    rule, named = version.limit.rule, ", ".join(filter(None, (version.source, version.edition)))
    if rule is None:
        told = f"The site's own. Its source, as the site gave it: {sentence(named)}" if named else "The site's own."
    elif demand(version) == demand(rule):
        told = sentence(named)
    else:
        ways = looser_than(rule, value=version.value, hold_s=version.hold_s, within_s=version.within_s)
        side = "looser than the rule" if ways else "stricter than the rule"
        told = f"The site's own, {side}, which asks for {joined(demand(rule))}: {sentence(named)}"
    return " ".join(filter(None, (told, NOT_SEEN[Origin(version.origin)])))


def _notes(each: HeldVersion, scope: RecordScope) -> Iterator[str]:
    version = each.version
    if version.target_milli is not None:
        yield f"Target inside the limit: {show(version.target_milli, scope.site.unit)}."
    since, entered = (moment(at, scope.zone) for at in (version.effective_from, version.recorded_at))
    if each.dated_back:
        what = f"Entered on {entered}" if each.is_first else f"A correction, entered on {entered}"
        yield f"{what}; it holds from {since}. {KEPT if not each.is_first else ''}".strip()
    elif scope.holds(version.effective_from):
        yield f"Changed in the period, from {since}."
    yield f"Set by {scope.people.full_of(version)}, {entered}{': ' + sentence(version.reason) if version.reason else '.'}"
    if each.instead:
        yield f"Replaced by the next line since {moment(each.instead.recorded_at, scope.zone)}."
