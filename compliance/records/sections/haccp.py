"""The HACCP plan as far as the book holds it: per limit its step, hazard, figure, monitoring and corrective action."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import groupby

from compliance.appliances.models import Appliance
from compliance.limits.models import LimitVersion
from compliance.limits.wording import demand
from compliance.plans.models import Round
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import day_words, moment
from shared.units import show

from ..formatting import joined
from ..in_force import Counted, counted
from ..scope import RecordScope, midnight
from .plan import source_of

NOT_HERE = "not recorded here"
COLUMNS = [
    Column("Step and hazard", share=1.2),
    Column("Critical limit and source", share=1.4),
    Column("Monitoring: what and how often", share=1.5),
    Column("Corrective action", share=1.5),
    Column("In force", points=62),
]
ORDER = (
    "What Codex CXC 1-1969 (Rev. 2022) asks a HACCP plan to say, as far as the book of this site holds it: each limit that "
    "was in force in the period, with the rounds of readings that were in force with it."
)


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Limits, their monitoring and corrective action")
    writer.paragraph(ORDER, small=True)
    empty = scope.none("No limit was in force at this site in the period.")
    writer.table(COLUMNS, _rows(scope), dense=True, empty=empty)


def _rows(scope: RecordScope) -> Iterator[Row]:
    rounds, measured = _rounds(scope), _measured(scope)
    versions = LimitVersion.objects.filter(limit__site=scope.site.pk, recorded_at__lte=scope.now).select_related(
        "limit__rule"
    )
    ordered = versions.order_by("limit__step", "limit__title", "limit", "effective_from", "pk")
    for limit, group in groupby(ordered, key=lambda version: version.limit_id):
        for each in counted(group, lambda version: version.effective_from):
            if each.meets(scope.start, scope.reached):
                yield _row(each, rounds[limit], measured[limit], scope)


def _row(each: Counted[LimitVersion], rounds: list[Counted[Round]], measured: list[str], scope: RecordScope) -> Row:
    version, limit = each.version, each.version.limit
    step = limit.title if limit.step.lower() == limit.title.lower() else f"{limit.step}: {limit.title}"
    return Row(
        (
            joined(f"{step}\nHazard: {limit.hazard or NOT_HERE}"),
            "\n".join(_limit(version, scope)),
            "\n".join(_monitoring(each, rounds, measured, scope)),
            joined(version.usual_action) or NOT_HERE,
            _span(each, scope),
        )
    )


def _limit(version: LimitVersion, scope: RecordScope) -> Iterator[str]:
    yield joined(demand(version))
    if version.target_milli is not None:
        yield f"Target inside it: {joined(show(version.target_milli, scope.site.unit))}"
    yield source_of(version)


def _monitoring(
    each: Counted[LimitVersion], rounds: list[Counted[Round]], measured: list[str], scope: RecordScope
) -> Iterator[str]:
    start, end = max(each.since, scope.start), min(filter(None, (each.until, scope.reached)))
    yield f"{', '.join(measured)}." if measured else "No appliance is named; the reading names the food or the unit."
    told = [one for one in rounds if one.meets(start, end)]
    for one in told:
        by = scope.people.initials_of(one.version)
        yield f"{joined(one.version.usual[0].upper() + one.version.usual[1:])}; {_days(one, scope)}, set by {by}."
    if not told:
        yield f"No round was set; how often is {NOT_HERE}."


def _rounds(scope: RecordScope) -> dict[int, list[Counted[Round]]]:
    found = Round.objects.filter(limit__site=scope.site.pk, recorded_at__lte=scope.now)
    ordered = groupby(found.order_by("limit", "effective_from", "pk"), key=lambda each: each.limit_id)
    begins = {limit: list(counted(group, lambda r: midnight(r.effective_from, scope.zone))) for limit, group in ordered}
    return defaultdict(list, begins)


def _measured(scope: RecordScope) -> dict[int, list[str]]:
    """The appliances of each limit as they were called at the end of the period."""
    found = defaultdict(list)
    named = Appliance.objects.filter(site=scope.site.pk, settings_facts__recorded_at__lt=scope.reached).distinct()
    for appliance in named.order_by("name", "pk"):
        then = appliance.named_at(scope.reached)
        if not then.retired:
            found[appliance.limit_id].append(then.name)
    return found


def _days(each: Counted[Round], scope: RecordScope) -> str:
    """The last day is the one before the next round begins."""
    since = f"from {day_words(each.version.effective_from)}"
    if each.until is None:
        return since
    return f"{since} to {day_words((each.until - timedelta(hours=1)).astimezone(scope.zone).date())}"


def _span(each: Counted[LimitVersion], scope: RecordScope) -> str:
    since = f"from {_at(each.since, scope)}"
    return f"{since}\nuntil {_at(each.until, scope)}" if each.until else since


def _at(at: datetime, scope: RecordScope) -> str:
    """A day where it begins, else the moment."""
    day = at.astimezone(scope.zone).date()
    return day_words(day) if at == midnight(day, scope.zone) or not scope.holds(at) else moment(at, scope.zone)
