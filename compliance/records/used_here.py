"""Whether a probe was used here while it was recorded as being withdrawn or elsewhere: one of the two is wrong."""

from datetime import datetime

from compliance.checks.models import Check
from compliance.probes.models import Probe
from compliance.readings.models import Reading

from .scope import RecordScope
from .summary_counts import named


def contradicted(scope: RecordScope, probe: Probe, start: datetime, end: datetime | None, *, checks: bool) -> str:
    """What was read here with a probe in the part of the period from `start` to `end`; `checks`: what was checked, too. A probe
    that is withdrawn is checked before it returns. One query each.
    """
    made = []
    for letter, model, time in (("R", Reading, "taken_at"), ("C", Check, "checked_at"))[: 1 + checks]:
        within = {**scope.within(time), f"{time}__gte": max(start, scope.start)}
        if end and end < scope.end:
            within[f"{time}__lt"] = end
        found = model.objects.live().filter(probe=probe.pk, site=scope.site.pk, **within).order_by(time, "pk")
        made += [f"{letter}{pk}" for pk in found.values_list("pk", flat=True)]
    return f"This contradicts {named(made)}, made with it at {scope.site.name} in that time." if made else ""
