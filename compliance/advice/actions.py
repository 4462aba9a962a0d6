"""What people make of advice: nothing is changed until somebody with the right to do so accepts it."""

from django.core.exceptions import ValidationError

from compliance.checks.planning import hold
from compliance.plans.queries import plan_in_force
from compliance.probes.models import Probe
from compliance.reminders.planning import change_plan
from shared.audit.trail import action, note
from shared.reasons import as_reason
from sites.models import Person

from .models import Acceptance
from .wording import every

LONGEST = 366


@action("advice.accept")
def accept(
    *, by: Person, probe: Probe, days_before: int, days_advised: int, days_accepted: int, target: int,
    figures: dict, why: str = "",
) -> Acceptance:  # fmt: skip
    """Set the days between checks of a probe, after advice; who accepted it and what was advised stay in the record.

    `days_before` is what the page showed as the present interval. Raises ValidationError where it is not so any more,
    where nothing would change, for less than 1 or more than 366 days, and without a reason where it differs from the advice.
    """
    present = plan_in_force(hold(probe)).plan
    now = present.days
    why = as_reason(why, "why")
    if now != days_before:
        raise ValidationError(
            f"Somebody has set the checks to {every(now)} meanwhile, and this advice began from {every(days_before)}. "
            "Nothing was changed. Look at the advice again, and accept it then."
        )
    if not 1 <= days_accepted <= LONGEST:
        raise ValidationError({"days": f"Give a number of days from 1 to {LONGEST}."})
    if days_accepted == now:
        raise ValidationError({"days": f"It is checked {every(now)} already. Give another number of days."})
    if days_accepted != days_advised and not why:
        raise ValidationError(
            {"why": f"The advice is {every(days_advised)}. Say why you choose {every(days_accepted)}."}
        )
    change_plan(
        by=by, probe=probe, every_days=days_accepted, at=present.at, grace_minutes=present.grace_minutes,
        before_service=present.minutes_before is not None, reason=why or _agreed(target),
        **({} if present.minutes_before is None else {"minutes_before": present.minutes_before}),
    )  # fmt: skip
    acceptance = Acceptance.objects.create(
        recorded_by=by, probe=probe, days_before=now, days_advised=days_advised, days_accepted=days_accepted,
        target=target, why=why, figures=figures,
    )  # fmt: skip
    note("advice.accept", by=by, subject=probe, site_id=probe.site_id, reason=why, before=now, advised=days_advised,
         accepted=days_accepted, target=target)  # fmt: skip
    return acceptance


def _agreed(target: int) -> str:
    return f"As advised from its own checks and those of its kind, for {target} of 100 checks to pass."
