"""One sheet for a round: a line for each reading that can be taken now, each saved by itself with the probe chosen at the top."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from uuid import uuid4

from django.core.exceptions import ValidationError
from django.http import QueryDict

from compliance.checks.fitness import fitness_of
from compliance.limits.models import LimitVersion
from compliance.limits.queries import versions_in_force
from compliance.limits.wording import unbroken
from compliance.probes.models import Probe
from compliance.readings.actions import AlreadySent, record
from compliance.readings.data import ReadingData
from compliance.readings.forms import HeldField, HoldField
from compliance.readings.limit_evaluation import beginning, doubts_of
from compliance.readings.models import Deviation, Reading
from compliance.readings.queries import last_item, open_deviations, probes_at, sent_before, track_of
from compliance.reminders.models import Reminder
from compliance.reminders.queries import rounds_to_take
from shared.bounds import number_in
from shared.units import MINUS
from sites.models import Person, Site

LATELY = timedelta(hours=2)  # in which what a round found is still being seen to
NO_PROBE = "Choose the probe at the top first."
NOTHING_TYPED = "Type what the display shows."


@dataclass(slots=True)
class SheetLine:
    """One reading that is asked for: what was typed of it, and what became of that."""

    reminder: Reminder
    version: LimitVersion
    key: str = ""
    typed: str = ""
    held: str = ""
    since: str = ""
    item: str = ""
    error: str = ""
    doubts: Sequence[str] = ()
    reading: Reading | None = None
    deviation: Deviation | None = None
    breach: dict | None = None  # how its page shows that deviation

    @property
    def pk(self) -> int:
        return self.reminder.pk

    @property
    def title(self) -> str:
        return str(self.reminder.appliance or self.reminder.limit)

    @property
    def demand(self) -> str:
        return unbroken(self.version)

    @property
    def beginning(self) -> str:
        return beginning(self.version)

    @property
    def shown(self) -> str:
        """What its box holds: where only what is frozen will do, the sign is there already."""
        return self.typed or (MINUS if self.version.value_milli < 0 and self.version.direction == "at_most" else "")

    @property
    def is_typed(self) -> bool:
        return self.typed.strip() not in ("", "-", MINUS)

    @property
    def without_time(self) -> bool:
        return self.reading is not None and self.reading.lacks_hold


@dataclass
class RoundSheet:
    """What is due at a site, with what somebody typed; `data` is what was sent, None where the sheet is only shown."""

    site: Site
    person: Person
    now: datetime
    data: QueryDict | None = None
    lines: list[SheetLine] = field(default_factory=list)

    def __post_init__(self):
        versions = {version.limit_id: version for version in versions_in_force(self.site, self.now)}
        found = {(row.limit_id, row.appliance_id): row for row in reversed(self._rows())}
        rows = sorted(found.values(), key=lambda row: (row.limit.title, str(row.appliance or ""), row.pk))
        self.lines = [self._line(row, versions[row.limit_id]) for row in rows if row.limit_id in versions]

    def _rows(self) -> list[Reminder]:
        """What can be taken now and, of what was sent, also what has been taken since."""
        due = rounds_to_take(self.site, self.now)
        named = number_in(self.data.get("line") or self.data.get("sure")) if self.data else None
        if named is None or any(row.pk == named for row in due):
            return due
        sent = Reminder.objects.filter(pk=named, site=self.site, limit__isnull=False)
        return [*due, *sent.select_related("limit", "appliance", "round")]

    def _line(self, row: Reminder, version: LimitVersion) -> SheetLine:
        line = SheetLine(row, version, key=uuid4().hex)
        for name in ("key", "typed", "held", "since", "item"):
            if self.data is not None and (sent := self.data.get(f"{name}-{row.pk}")):
                setattr(line, name, sent.strip())
        if not row.appliance_id and not line.item:
            line.item = last_item(self.site, row.limit_id)
        return line

    @property
    def probes(self) -> list[dict]:
        """Those here that may be used, those that serve what is due first; one that is OK and alone in that is chosen."""
        limits = {line.reminder.limit_id for line in self.lines}
        probes = list(probes_at(self.site).prefetch_related("limits"))
        judged = fitness_of([probe.pk for probe in probes], self.now)
        served = {probe.pk: bool(limits & {limit.pk for limit in probe.limits.all()}) for probe in probes}
        usable = [probe for probe in probes if not judged[probe.pk].refused]
        usable.sort(key=lambda probe: (not served[probe.pk], not judged[probe.pk].ok, probe.code))
        best = [probe for probe in usable if served[probe.pk] and judged[probe.pk].ok]
        chosen = self.probe or (best[0] if len(best) == 1 else None)
        return [{"probe": each, "found": judged[each.pk], "chosen": each == chosen} for each in usable]

    @property
    def probe(self) -> Probe | None:
        """The one that was sent."""
        pk = number_in(self.data.get("probe")) if self.data is not None else None
        return probes_at(self.site).filter(pk=pk).first() if pk else None

    def line(self, pk: int | None) -> SheetLine | None:
        return next((line for line in self.lines if line.pk == pk), None)

    def save(self, line: SheetLine, *, sure: bool = False) -> None:
        """Record one line, or say on it what is wrong. Sent twice it is recorded once."""
        probe = self.probe
        if probe is None or not line.is_typed:
            line.error = NOTHING_TYPED if probe else NO_PROBE
            return
        try:
            data = self._told(line, probe)
            line.doubts = [] if sure else self._doubts(line, data)
            if not line.doubts:
                line.reading = record(by=self.person, data=data)
                line.deviation = getattr(line.reading, "deviation", None)
        except AlreadySent as refused:
            line.error, line.key = " ".join(refused.messages), uuid4().hex
        except ValidationError as refused:
            line.error = " ".join(refused.messages)
        except ValueError as refused:  # no number
            line.error = str(refused)

    def _told(self, line: SheetLine, probe: Probe) -> ReadingData:
        known = sent_before(self.site, line.key)
        appliance = line.reminder.appliance
        return ReadingData(
            key=line.key,
            probe=probe,
            site=self.site,
            limit=line.reminder.limit,
            appliance=appliance,
            item=line.item or str(appliance or ""),
            typed=line.typed,
            unit=self.site.unit,
            taken_at=known.taken_at if known else self.now.replace(microsecond=0),
            hold_s=HeldField(required=False).clean(line.held),
            since_start_s=HoldField(required=False).clean(line.since),
        )

    def _doubts(self, line: SheetLine, data: ReadingData) -> list[str]:
        """A hold time that is left out is marked, and not asked for again."""
        return doubts_of(line.version, track_of(data.probe), replace(data, hold_s=data.hold_s or 0))

    @property
    def left(self) -> list[SheetLine]:
        return [line for line in self.lines if line.reading is None]


def breaches(site: Site, now: datetime) -> list[Deviation]:
    """What was found beyond its limit just now, and waits for somebody to say what was done."""
    found = open_deviations([site.pk]).filter(reading__taken_at__gt=now - LATELY)
    related = ("reading__limit_version__limit", "reading__appliance", "reading__probe")
    return list(found.select_related(*related).order_by("pk"))
