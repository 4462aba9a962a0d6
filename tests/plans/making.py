"""Plans with the least said."""

from compliance.plans.data import PlanData
from compliance.plans.queries import plan_in_force
from compliance.probes.models import Probe
from compliance.reminders.planning import change_plan


def days_of(probe: Probe) -> int:
    """The days between the checks of a probe by the plan in force."""
    return plan_in_force(Probe.objects.select_related("site").get(pk=probe.pk)).plan.days


def check_every(probe: Probe, days: int, *, by, **given):
    return change_plan(by=by, data=PlanData(probe=probe, every_days=days, **{"reason": "Agreed.", **given}))
