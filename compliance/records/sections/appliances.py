"""What was measured regularly: of each appliance how many readings rounds asked for and what became of them, and when it was out
of use."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

from django.db.models import QuerySet

from compliance.appliances.models import Appliance, OutOfUse
from compliance.reminders.models import Reminder
from compliance.reminders.status import Status
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..formatting import entered_beside, sentence, struck_by
from ..planned_counts import asked_of
from ..scope import RecordScope, once
from ..statements import asked

NUMBER = {"align": "center"}
COLUMNS = [
    Column("Appliance", share=1.3),
    Column("Where it stands", share=1),
    Column("Limit", share=1.2),
    Column("Rounds", points=44, **NUMBER),
    Column("Done", points=36, **NUMBER),
    Column("Late", points=34, **NUMBER),
    Column("Missed", points=42, **NUMBER),
    Column("Excused", points=46, **NUMBER),
    Column("Other", points=38, **NUMBER),
]
AWAY = [
    Column("Appliance", share=1),
    Column("From", points=72),
    Column("Until", points=72),
    Column("Why no reading was owed", share=1.4),
    Column("By", points=24),
]
EXPLAINED = (
    "Rounds are the readings that fell due in the period; a reading counts for the appliance that it names, and for no other. "
    "Late is part of done. Other is what was still to do at printing, no longer asked for, or not asked in time: the list of "
    "what was planned names each. A round of a limit itself was asked for while no appliance was named for it."
)
OF_LIMIT = "no appliance named"


def write(writer: Writer, scope: RecordScope) -> None:
    if not _appliances(scope):
        return
    writer.heading("Appliances and their rounds")
    writer.table(COLUMNS, (Row((*named, *_shown(numbers))) for named, numbers in rounds_of_appliances(scope)))
    writer.paragraph(EXPLAINED, small=True)
    away = (_away(each, scope) for each in out_of_use(scope))
    writer.listing(AWAY, away, caption="Out of use", empty="No appliance of this site was out of use.")


@once
def _appliances(scope: RecordScope) -> list[Appliance]:
    """Those that were named when the period ended, but for those that were retired when it began."""
    found = []
    for each in _named(scope):
        if not each.named_at(scope.start).retired or not each.named_at(scope.reached).retired:
            found.append(each.named_at(scope.reached))
    return found


@asked
def _named(scope: RecordScope) -> QuerySet[Appliance]:
    named = Appliance.objects.filter(site=scope.site, settings_facts__recorded_at__lt=scope.reached).distinct()
    return named.select_related("limit").order_by("limit__title", "name", "pk")


def rounds_of_appliances(scope: RecordScope) -> Iterator[tuple[tuple[str, str, str], tuple[int, ...]]]:
    """Name, place and limit of each; of its rounds, in the order of the columns, how many came to what."""
    counts, late, titles = _counted(scope)
    for each in _appliances(scope):
        key = each.limit_id, each.pk
        yield (each.name, each.place, each.limit.title), _numbers(counts[key], late[key])
    for key in sorted(key for key in counts if key[1] is None):
        yield (OF_LIMIT, "", titles[key[0]]), _numbers(counts[key], late[key])


def _shown(numbers: Iterable[int]) -> Iterator[str]:
    return (f"{number:,}" for number in numbers)


def _numbers(count: Counter, late: int) -> tuple[int, ...]:
    told = (Status.CLEARED, Status.MISSED, Status.EXCUSED)
    done, missed, excused = (count[each] for each in told)
    return count.total(), done, late, missed, excused, count.total() - done - missed - excused


def _counted(scope: RecordScope) -> tuple[dict, Counter, dict[int, str]]:
    """How many rounds came to what, and how many were done late, by the keys of limit and appliance; and the titles."""
    counts, late, titles = defaultdict(Counter), Counter(), {}
    for limit, appliance, title, status, done, grace in _rounds(scope):
        counts[limit, appliance][status] += 1
        late[limit, appliance] += status == Status.CLEARED and done >= grace
        titles[limit] = title
    return counts, late, titles


@asked
def _rounds(scope: RecordScope) -> QuerySet[Reminder]:
    names = ("limit", "appliance", "limit__title", "status", "cleared_at", "grace_at")
    return asked_of(scope).filter(limit__isnull=False).order_by().values_list(*names)


@asked
def _times(scope: RecordScope) -> QuerySet[OutOfUse]:
    times = OutOfUse.objects.filter(
        appliance__site=scope.site, starts_at__lt=scope.reached, recorded_at__lte=scope.now
    ).select_related("appliance", "back", "void")
    return times.order_by("starts_at", "pk")


def out_of_use(scope: RecordScope) -> Iterator[OutOfUse]:
    """Struck out ones too."""
    for each in _times(scope):
        ended = each.ended_at
        if ended is None or ended > scope.start:
            yield each


def _away(each: OutOfUse, scope: RecordScope) -> Row:
    ended = each.ended_at
    void = getattr(each, "void", None)
    since = moment(each.starts_at, scope.zone)
    until = moment(ended, scope.zone) if ended else "not yet back"
    notes = entered_beside(each, each.starts_at, scope), struck_by(void, scope) if void else ""
    name = each.appliance.named_at(each.starts_at).name
    cells = (name, since, until, sentence(each.words[0].upper() + each.words[1:]), scope.people.initials_of(each))
    return Row(cells, void=void is not None, note=" ".join(filter(None, notes)))
