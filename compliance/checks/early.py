"""A check that is made before its hour: it has its row all the same, or nobody could tell that what was planned was done."""

from collections.abc import Iterable
from datetime import datetime

from compliance.plans.calendar import DAY
from compliance.plans.demands import Checked
from compliance.plans.models import Reminder
from compliance.plans.queries import calendars
from compliance.probes.models import Probe

from .lifting import answers
from .models import ProbeState


def write_down_done(
    probe: Probe, before: ProbeState | None, state: ProbeState, checks: Iterable[Checked], now: datetime
) -> None:
    """After the state of a probe was kept anew: `before` is the one until now, by whose plan a check was still to come.

    The check has to be of the same day of work; an earlier one starts the days of the plan anew, and leaves nothing undone.
    No query where none was made that early.
    """
    if before is None or before.due_day is None or before.due_at <= now or before.due_at == state.due_at:
        return
    row = Reminder(
        probe=probe, site_id=probe.site_id, since_at=before.due_at, opens_at=before.opens_at, due_at=before.due_at,
        grace_at=before.grace_at, because=before.due_because, closes_at=max(before.grace_at, state.due_at or before.due_at),
    )  # fmt: skip
    early = [check.at for check in checks if before.due_at - DAY < check.at <= before.due_at and answers(check, row)]
    if not early:
        return
    calendar = calendars([probe.site])[probe.site_id]
    if any(calendar.work_day(at) == calendar.day_asked(before.due_at) for at in early):
        Reminder.objects.bulk_create([row], ignore_conflicts=True)
