"""Every reading of the period, day by day; days without one are named."""

from collections import namedtuple
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from itertools import groupby

from django.db.models import QuerySet

from compliance.appliances.models import Appliance
from compliance.checks.fitness import Fitness
from compliance.checks.models import Standing
from compliance.checks.queries import ENTERED_APART
from compliance.limits.models import LimitVersion
from compliance.readings.models import Reading
from compliance.readings.queries import MADE_AT_THE_TIME
from shared.phone_time import phone_words
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import day_words, long_weekday_day, moment, told_apart

from ..formatting import NO_HOLD, limit_in_short, sentence, value
from ..scope import RecordScope
from ..statements import asked
from ..summary_counts import bursts_here

COLUMNS = [
    Column("Time", points=24),
    Column("No.", points=29, named=True),
    Column("Food or unit", share=1),
    Column("Limit", share=1.15),
    Column("Reading", align="decimal", points=82, after=".0 °C for 1 min 30 s"),
    Column("Probe", points=32),
    Column("By", points=18),
    Column("Standing", points=48),
]
FIELDS = {
    "pk": "pk",
    "at": "taken_at",
    "item": "item",
    "version": "limit_version_id",
    "typed": "typed",
    "unit": "unit",
    "milli": "value_milli",
    "hold_s": "hold_s",
    "since_s": "since_start_s",
    "probe": "probe_id",
    "appliance": "appliance_id",
    "by": "taken_by_id",
    "standing": "standing",
    "fitness": "fitness",
    "despite": "used_despite",
    "asked_s": "limit_version__hold_s",
    "recorded_at": "recorded_at",
    "recorded_by": "recorded_by_id",
    "note": "note",
    "file": "source_id",
    "phone": "phone",
    "deviation": "deviation__pk",
    "beyond": "deviation__why",
    "corrects": "corrects__voids_id",
    "void": "void__reason",
    "voided_at": "void__recorded_at",
    "voided_by": "void__recorded_by_id",
    "new": "void__replacement_id",
    "new_typed": "void__replacement__typed",
    "new_unit": "void__replacement__unit",
    "new_milli": "void__replacement__value_milli",
}
Line = namedtuple("Line", FIELDS)
WORDS = {standing.value: standing.label.capitalize() for standing in Standing}
UNFIT = {
    Fitness.CHECK_FIRST.value: "The probe was to be checked first.",
    Fitness.DO_NOT_USE.value: "The probe was not to be used.",
}


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Readings")
    writer.table(COLUMNS, _days(scope), dense=True)
    for burst in bursts_here(scope):
        writer.paragraph(burst.words(scope.zone, scope.people.full), strong=True)


def _days(scope: RecordScope) -> Iterator[Row]:
    """The readings of each day under its date."""
    told = ReadingRows(scope)
    lines = map(Line._make, _judged(scope))
    expected = scope.first
    for on, group in groupby(lines, key=lambda line: line.at.astimezone(scope.zone).date()):
        yield from _gap(expected, on)
        yield Row(note=long_weekday_day(on), strong=True)
        yield from told.rows(group)
        expected = on + timedelta(days=1)
    yield from _gap(expected, _last_day(scope) + timedelta(days=1))


@asked
def _judged(scope: RecordScope) -> QuerySet[Reading]:
    return scope.judged().values_list(*FIELDS.values())


@asked
def limits_used(scope: RecordScope) -> QuerySet[LimitVersion]:
    """Each version of a limit that a reading of the period was held against."""
    used = scope.readings().order_by().values("limit_version")
    return LimitVersion.objects.filter(pk__in=used).select_related("limit")


def _last_day(scope: RecordScope) -> date:
    """The last day of the period that had begun when the record was printed."""
    return min(scope.last, scope.now.astimezone(scope.zone).date())


def _gap(first: date, after: date) -> Iterator[Row]:
    """Say of the days from `first` to the one before `after` that nothing was read on them."""
    last = after - timedelta(days=1)
    if last >= first:
        days = day_words(first) if first == last else f"{day_words(first)} to {day_words(last)}"
        yield Row(note=f"{days}: no reading was recorded.", strong=True)


class ReadingRows:
    """Rows of the table. Limits and probes are looked up once, not reading by reading."""

    def __init__(self, scope: RecordScope):
        self._limits = {version.pk: limit_in_short(version) for version in limits_used(scope)}
        self._probes = {here.probe.pk: here.probe for here in scope.probes}
        self._appliances = Appliance.objects.filter(site=scope.site.pk).in_bulk()
        self._zone, self._people = scope.zone, scope.people

    def rows(self, lines: Iterable[Line]) -> Iterator[Row]:
        zone, limits, probes, initials = self._zone, self._limits, self._probes, self._people.initials
        for line in lines:
            void = line.void is not None
            yield Row(
                (
                    told_apart(line.at.astimezone(zone)),
                    f"R{line.pk}",
                    self._measured(line),
                    limits[line.version],
                    value(line.typed, line.unit, line.milli, line.hold_s, line.since_s),
                    probes[line.probe].particulars_at(line.at).code,
                    initials(line.by, line.recorded_at),
                    "Void" if void else WORDS[line.standing],
                ),
                void=void,
                strong=line.deviation is not None and not void,
                note=self._note(line, void),
            )

    def _measured(self, line: Line) -> str:
        """The food or unit, with the appliance that it names where that is another word."""
        appliance = self._appliances.get(line.appliance)
        name = appliance and appliance.named_at(line.at).name
        return line.item if name is None or name.casefold() == line.item.casefold() else f"{line.item} ({name})"

    def _note(self, line: Line, void: bool) -> str:
        late = line.recorded_at - line.at > ENTERED_APART
        other = line.recorded_by != line.by
        unfit = line.fitness not in ("", Fitness.OK)
        no_hold = bool(line.asked_s) and line.hold_s is None
        marked = (void, late, other, line.deviation, line.note, line.corrects, line.file, line.phone, unfit, no_hold)
        if not any(marked):
            return ""
        parts = [sentence(NO_HOLD[0].upper() + NO_HOLD[1:])] if no_hold else []
        if line.corrects:
            parts.append(f"Corrects R{line.corrects}.")
        if line.deviation:
            parts.append(f"Deviation D{line.deviation}: {sentence(line.beyond)}")
        if unfit:
            parts.append(
                UNFIT[line.fitness] + (f" Used all the same: {sentence(line.despite)}" if line.despite else "")
            )
        if line.phone:
            parts.append(f"Typed on a phone without network: {phone_words(line.phone, self._zone)}.")
        if late or other or line.file or line.phone:
            parts.append(self._entered(line, late, other))
        if line.note:
            parts.append(f"Note: {sentence(line.note)}")
        if void:
            parts.append(self._struck(line))
        return " ".join(parts)

    def _entered(self, line: Line, late: bool, other: bool) -> str:
        how = "from a file" if line.file else ""
        who = f"by {self._people.initials(line.recorded_by, line.recorded_at)}" if other else ""
        at = moment(line.recorded_at, self._zone) if late or line.file or line.phone else ""
        word = "Entered late" if line.recorded_at - line.at > MADE_AT_THE_TIME else "Entered"
        return " ".join(filter(None, (word, at, how, who))) + "."

    def _struck(self, line: Line) -> str:
        who, at = self._people.initials(line.voided_by, line.voided_at), moment(line.voided_at, self._zone)
        told = f"Struck out by {who}, {at}: {sentence(line.void)}"
        if line.new is None:
            return f"{told} Nothing stands in its place."
        return f"{told} In its place: R{line.new}, {value(line.new_typed, line.new_unit, line.new_milli)}."
