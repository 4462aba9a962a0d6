"""Whether a probe was used here while it was recorded as being withdrawn or elsewhere: one of the two is wrong."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Q

from compliance.checks.models import Check
from compliance.probes.models import Probe
from compliance.readings.models import Reading
from shared.append_only import Fact
from shared.printing.table import Row

from .scope import RecordScope
from .summary_counts import named


@dataclass(slots=True)
class Away:
    """A line of the record that says that a probe was out of use here from `start` to `end`, and the `fact` that it is from.
    `checks`: whether also for checks; a probe that is withdrawn is checked before it returns."""

    probe: Probe
    start: datetime
    end: datetime | None
    row: Row
    fact: Fact
    checks: bool
    used: list[str] = field(default_factory=list)

    def holds(self, probe: int, at: datetime) -> bool:
        return probe == self.probe.pk and at >= self.start and (self.end is None or at < self.end)

    def told(self, scope: RecordScope) -> Row:
        against = f"This contradicts {named(self.used)}, made with it at {scope.site.name} in that time."
        notes = self.row.note, against if self.used else ""
        return Row(self.row.cells, note=" ".join(filter(None, notes)))


def with_what_contradicts(scope: RecordScope, lines: Iterable[Away]) -> list[Away]:
    """The lines, each with what was read or checked here in the period with a probe that was out of use. At most two queries."""
    lines = list(lines)
    for letter, model, time, asked in (
        ("R", Reading, "taken_at", lines),
        ("C", Check, "checked_at", [line for line in lines if line.checks]),
    ):
        if not asked:
            continue
        within = Q(pk=None)
        for line in asked:
            until = {f"{time}__lt": line.end} if line.end else {}
            within |= Q(probe=line.probe.pk, **{f"{time}__gte": line.start}, **until)
        made = model.objects.live().filter(within, site=scope.site.pk, **scope.within(time)).order_by(time, "pk")
        for pk, probe, at in made.values_list("pk", "probe_id", time):
            for line in asked:
                if line.holds(probe, at):
                    line.used.append(f"{letter}{pk}")
    return lines
