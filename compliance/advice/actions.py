"""What people make of advice: nothing is changed until somebody with the right to do so accepts it."""

from dataclasses import asdict, dataclass

from django.core.exceptions import ValidationError

from compliance.checks.planning import hold
from compliance.plans.data import PlanData
from compliance.plans.queries import plan_in_force
from compliance.probes.models import Probe
from compliance.reminders.planning import change_plan
from shared.audit.trail import action, note
from shared.reasons import as_reason
from sites.models import Person

from .models import Acceptance
from .wording import every

LONGEST = 366


@dataclass(frozen=True, kw_only=True)
class Advised:
    """The advice as the page showed it, and the days that were chosen. `days_before`: the interval until now."""

    days_before: int
    days_advised: int
    days_accepted: int
    target: int
    figures: dict


@action("advice.accept")
def accept(*, by: Person, probe: Probe, advised: Advised, why: str = "") -> Acceptance:
    """Set the days between checks of a probe, after advice; who accepted it and what was advised stay in the record.

    Raises ValidationError where the interval is another one by now,
    where nothing would change, for less than 1 or more than 366 days, and without a reason where it differs from the advice.
    """
    present = plan_in_force(hold(probe)).plan
    now = present.days
    why = as_reason(why, "why")
    if now != advised.days_before:
        raise ValidationError(
            f"Somebody has set the checks to {every(now)} meanwhile, and this advice began from {every(advised.days_before)}. "
            "Nothing was changed. Look at the advice again, and accept it then."
        )
    if not 1 <= advised.days_accepted <= LONGEST:
        raise ValidationError({"days": f"Give a number of days from 1 to {LONGEST}."})
    if advised.days_accepted == now:
        raise ValidationError({"days": f"It is checked {every(now)} already. Give another number of days."})
    if advised.days_accepted != advised.days_advised and not why:
        words = f"The advice is {every(advised.days_advised)}. Say why you choose {every(advised.days_accepted)}."
        raise ValidationError({"why": words})
    change_plan(
        by=by,
        data=PlanData(
            probe=probe,
            every_days=advised.days_accepted,
            at=present.at,
            grace_minutes=present.grace_minutes,
            before_service=present.minutes_before is not None,
            reason=why or _agreed(advised.target),
            minutes_before=PlanData.minutes_before if present.minutes_before is None else present.minutes_before,
        ),
    )
    acceptance = Acceptance.objects.create(recorded_by=by, probe=probe, why=why, **asdict(advised))
    note(
        "advice.accept",
        by=by,
        subject=probe,
        site_id=probe.site_id,
        reason=why,
        before=now,
        advised=advised.days_advised,
        accepted=advised.days_accepted,
        target=advised.target,
    )
    return acceptance


def _agreed(target: int) -> str:
    return f"As advised from its own checks and those of its kind, for {target} of 100 checks to pass."
