"""What is written about instruments: taking one into the book, amending what is known of it, moving it."""

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone

from compliance.limits.models import Limit
from compliance.limits.queries import limits_in_force
from shared.audit.trail import action, note
from shared.bounds import done_by_now
from shared.dated import refuse_correction, refuse_overtaken
from shared.reasons import as_reason
from shared.saving import save_checked
from sites.models import Person, Site

from .models import PARTICULARS, Placement, Probe
from .queries import latest_placement

# A wider figure makes a probe pass more easily, so it is not widened without a word.
NEED_REASON_WHEN_WIDER = ("tolerance_milli",)


@action("probe.register")
def register(
    *, by: Person, site: Site, code: str, limits: Iterable[Limit] = (), starts_at: datetime | None = None, **fields
) -> Probe:
    """A probe comes into the book, at a site and for limits of that site.

    Raises ValidationError for a code that the business has already, a limit of another site, and figures out of range.
    """
    if unknown := set(fields) - set(PARTICULARS):
        raise TypeError(f"A probe has no {', '.join(sorted(unknown))}.")
    starts_at = done_by_now(starts_at or timezone.now(), "starts_at")
    probe = Probe(business=site.area.business, site=site, code=code.strip(), **fields)
    save_checked(probe, _check)
    probe.limits.set(_of_site(limits, site))
    Placement.objects.create(recorded_by=by, probe=probe, site=site, starts_at=starts_at)
    probe.record_settings(by=by)
    note("probe.register", by=by, subject=probe, site_id=site.pk, starts_at=starts_at.isoformat())
    return probe


@action("probe.amend")
def amend(
    *, by: Person, probe: Probe, changes: dict, reason: str = "", corrects: bool = False, after: int | None = None
) -> Probe:
    """Other particulars of a probe from now on; as a correction from the first moment of what it corrects. `changes` holds
    fields and, as `limits`, the limits that it serves.

    Raises ValidationError where the tolerance grows and no reason is given, for a correction without one or of nothing, where
    there is a newer change than `after`, and as `register` does.
    """
    if unknown := set(changes) - {*PARTICULARS, "limits"}:
        raise TypeError(f"A probe has no {', '.join(sorted(unknown))} to amend.")
    probe.refresh_from_db(from_queryset=Probe.objects.select_for_update())  # somebody may have moved or withdrawn it
    refuse_overtaken(probe, after)
    wider = [n for n in NEED_REASON_WHEN_WIDER if changes.get(n, 0) > getattr(probe, n)]
    reason = as_reason(reason)
    if wider and not reason:
        named = " and ".join(str(Probe._meta.get_field(n).verbose_name) for n in wider)
        raise ValidationError({"reason": f"This allows the probe more than before ({named}). Say why, and who agreed."})
    told = _set_fields(probe, {n: v for n, v in changes.items() if n != "limits"})
    if corrects:
        reason = refuse_correction(told, reason)
    if not probe.is_recorded():
        probe.record_settings(by=by, reason=reason, corrects=corrects)
    marked = {"corrects": True} if corrects else {}
    if "limits" in changes:
        told |= _set_limits(probe, changes["limits"])
    note("probe.amend", by=by, subject=probe, site_id=probe.site_id, reason=reason, changes=told, **marked)
    return probe


@action("probe.move")
def move(*, by: Person, probe: Probe, site: Site, starts_at: datetime, reason: str) -> Placement:
    """From `starts_at` the probe is at another site of its business, for the limits there that its old ones answer to.

    A move entered late leaves the probe where its latest placement says. Raises ValidationError for a time to come or
    before its first placement, a site of another business or a closed one, where it was then anyway, and without a reason.
    """
    current = Probe.objects.select_for_update().get(pk=probe.pk)
    _refuse_move(current, site, done_by_now(starts_at, "starts_at"), reason)
    left = current.site_id
    placement = Placement.objects.create(
        recorded_by=by, probe=current, site=site, starts_at=starts_at, reason=reason.strip()
    )
    now_at = latest_placement(current).site
    if now_at.pk != left:
        _settle(current, now_at)
    probe.site = now_at
    for site_id in {left, site.pk}:
        note(
            "probe.move",
            by=by,
            subject=current,
            site_id=site_id,
            reason=reason.strip(),
            from_site=left,
            to_site=site.pk,
            starts_at=starts_at.isoformat(),
        )
    return placement


def _refuse_move(probe: Probe, site: Site, starts_at: datetime, reason: str) -> None:
    as_reason(reason, ask="Say why the probe goes there.", usual="move")
    if site.area.business_id != probe.business_id:
        raise ValidationError({"site": "A probe stays with its business. Take it into the book anew at the other one."})
    if site.closed:
        raise ValidationError({"site": f"{site} is closed."})
    first = probe.placements.order_by("starts_at", "pk").first()
    if first and starts_at <= first.starts_at:
        raise ValidationError({"starts_at": "The probe came into the book after that time. Give a later one."})
    there = probe.placements.filter(starts_at__lte=starts_at).order_by("starts_at", "pk").last()
    if there and there.site_id == site.pk:
        raise ValidationError({"site": f"{probe} is at {site} at that time already. Nothing was changed."})


def _settle(probe: Probe, site: Site) -> None:
    """The probe's home is the site, and its limits those there that come from the same rule or go by the same code."""
    served = list(probe.limits.all())
    rules, codes = {lim.rule_id for lim in served if lim.rule_id}, {lim.code for lim in served}
    there = limits_in_force(site, timezone.now())
    probe.site = site
    probe.save(update_fields=["site"])
    probe.limits.set(there.filter(models.Q(rule__in=rules) | models.Q(code__in=codes)))


def _set_fields(probe: Probe, changes: dict) -> dict:
    told = {n: [str(getattr(probe, n)), str(v)] for n, v in changes.items() if getattr(probe, n) != v}
    for name, value in changes.items():
        setattr(probe, name, value)
    save_checked(probe, _check)
    return told


def _set_limits(probe: Probe, limits: Iterable[Limit]) -> dict:
    before = sorted(probe.limits.values_list("code", flat=True))
    probe.limits.set(_of_site(limits, probe.site))
    after = sorted(probe.limits.values_list("code", flat=True))
    return {} if before == after else {"limits": [before, after]}


def _of_site(limits: Iterable[Limit], site: Site) -> list[Limit]:
    chosen = list(limits)
    if any(limit.site_id != site.pk for limit in chosen):
        raise ValidationError({"limits": f"Choose limits of {site}."})
    return chosen


def _check(probe: Probe) -> None:
    if probe.lowest_milli >= probe.highest_milli:
        raise ValidationError({"highest_milli": "The working range must end above where it begins."})
    if not probe.lowest_milli <= 0 <= probe.highest_milli:
        raise ValidationError({"lowest_milli": "A probe that is checked in ice must be able to show 0 °C (32 °F)."})
    taken = Probe.objects.filter(business=probe.business_id, code=probe.code).exclude(pk=probe.pk)
    if other := taken.select_related("site").first():
        raise ValidationError({"code": f"The probe {other.code} at {other.site} has this code. Labels must differ."})
    probe.full_clean(validate_unique=False, validate_constraints=False)
