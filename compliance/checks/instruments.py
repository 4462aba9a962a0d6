"""Probes taken in, amended and moved together with what follows for their timeline: when the next check is due."""

from datetime import datetime

from django.utils import timezone

from compliance.plans.actions import set_plan
from compliance.plans.data import PlanData
from compliance.plans.queries import plan_in_force
from compliance.probes.actions import amend, move, register
from compliance.probes.models import Placement, Probe
from shared.audit.trail import together
from sites.models import Person, Site

from .planning import hold
from .timeline import lock, recut

AT_FIRST = "As it came into the book."


@together()
def register_probe(
    *, by: Person, site: Site, starts_at: datetime | None = None, every_days: int | None = None, **given
) -> Probe:
    """As `probes.actions.register`; its first check is due at once. `every_days` sets a plan of its own, where it differs, from
    today on: until then the wider one counted.

    Raises ValidationError as `register` and `set_plan` do.
    """
    starts_at = starts_at or timezone.now()
    probe = register(by=by, site=site, starts_at=starts_at, **given)
    if every_days and every_days != plan_in_force(probe).plan.interval:
        set_plan(by=by, data=PlanData(probe=probe, every_days=every_days, reason=AT_FIRST))
    recut(probe)
    return probe


@together()
def amend_probe(*, probe: Probe, **given) -> Probe:
    """As `probes.actions.amend`; another kind of sensor may come under another plan."""
    hold(probe)
    amended = amend(probe=probe, **given)
    recut(amended)
    return amended


@together()
def move_probe(*, probe: Probe, site: Site, **given) -> Placement:
    """As `probes.actions.move`; from then on the plan and the calendar of the other site count."""
    hold(probe, site.pk)
    placement = move(probe=probe, site=site, **given)
    recut(lock(probe), placement)
    return placement
