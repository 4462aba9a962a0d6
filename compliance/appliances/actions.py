"""What is written about appliances. Whoever calls holds their site, and works out what follows (`reminders/planning.py`)."""

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError

from compliance.limits.models import Limit
from compliance.limits.queries import version_in_force
from shared import clock
from shared.audit.trail import action, note
from shared.bounds import TO_COME, in_bounds
from shared.dated import refuse_correction, refuse_overtaken
from shared.reasons import as_reason
from sites.models import Person

from .data import OutOfUseData
from .models import Appliance, BackInUse, OutOfUse, OutOfUseVoid, Why
from .queries import out_of_use_at

# What was missed before is for the manager to excuse, one by one.
LATEST_ENTRY = timedelta(hours=24)
ALREADY = "{} is out of use already ({}). Nothing was changed."


@action("appliance.add")
def add_appliance(*, by: Person, limit: Limit, name: str, place: str = "") -> Appliance:
    """Something that is measured regularly, with the limit that it keeps to.

    Raises ValidationError for a name that another one at the site has, and for a limit that is not in force.
    """
    if version_in_force(limit, clock.now()) is None:
        raise ValidationError({"limit": f"“{limit}” is not in force now. Choose another limit."})
    appliance = Appliance(site=limit.site, limit=limit, name=name.strip(), place=place.strip())
    _check(appliance)
    appliance.save()
    appliance.record_settings(by=by)
    note("appliance.add", by=by, subject=appliance, site_id=appliance.site_id, limit=limit.code, place=appliance.place)
    return appliance


@action("appliance.amend")
def amend_appliance(
    *,
    by: Person,
    appliance: Appliance,
    changes: dict,
    reason: str = "",
    corrects: bool = False,
    after: int | None = None,
) -> Appliance:
    """Another name or place from now on; as a correction from the start. `retired`: it is measured no longer, or again.

    Raises ValidationError for a name that another one has, for retiring without a reason or as a correction, for a correction
    without a reason or of nothing, and where there is a newer change than `after`.
    """
    if unknown := set(changes) - set(Appliance.dated):
        raise TypeError(f"An appliance has no {', '.join(sorted(unknown))} to amend.")
    appliance.refresh_from_db(from_queryset=Appliance.objects.select_for_update())
    refuse_overtaken(appliance, after)
    told = {n: [str(getattr(appliance, n)), str(v)] for n, v in changes.items() if getattr(appliance, n) != v}
    retiring = "retired" in told
    reason = as_reason(reason, ask="Say why it is measured no longer, or again." if retiring else "")
    if corrects and retiring:
        raise ValidationError({"retired": "That holds from now on: what was asked for of it was asked for."})
    if corrects:
        reason = refuse_correction(told, reason)
    for name, value in changes.items():
        setattr(appliance, name, value)
    _check(appliance)
    if told:
        appliance.save()
        appliance.record_settings(by=by, reason=reason, corrects=corrects)
    marked = {"corrects": True} if corrects else {}
    note(
        "appliance.amend",
        by=by,
        subject=appliance,
        site_id=appliance.site_id,
        reason=reason,
        changes=told,
        **marked,
    )
    return appliance


@action("appliance.out_of_use")
def take_out_of_use(*, by: Person, appliance: Appliance, data: OutOfUseData) -> OutOfUse:
    """No reading of it is owed, from a moment not long ago up to another, or until it is back.

    Raises ValidationError for a beginning to come or more than a day ago, an end before it, an unknown reason, and where it is
    out of use in that time already.
    """
    now = clock.now()
    starts_at = data.starts_at or now
    if data.why not in Why.values:
        raise ValidationError({"why": "Say why it is out of use: choose one of the words that are offered."})
    _check_times(starts_at, data.ends_at, now)
    if known := _overlapping(appliance, starts_at, data.ends_at):
        raise ValidationError(ALREADY.format(appliance, known.get_why_display()))
    made = OutOfUse(
        recorded_by=by,
        recorded_at=now,
        appliance=appliance,
        starts_at=starts_at,
        ends_at=data.ends_at,
        why=data.why,
        note=data.note.strip(),
    )
    made.full_clean()
    made.save()
    note(
        "appliance.out_of_use",
        by=by,
        subject=appliance,
        site_id=appliance.site_id,
        reason=made.words,
        out_of_use=made.pk,
        starts_at=starts_at.isoformat(),
        ends_at=data.ends_at and data.ends_at.isoformat(),
    )
    return made


@action("appliance.back_in_use")
def put_back_in_use(*, by: Person, out_of_use: OutOfUse) -> BackInUse:
    """It is in use again from now on. Raises ValidationError where it is already."""
    appliance = out_of_use.appliance
    if out_of_use_at([appliance.pk], clock.now()).get(appliance.pk) != out_of_use:
        raise ValidationError(f"{appliance} is in use already. Nothing was changed.")
    back = BackInUse.objects.create(recorded_by=by, ends=out_of_use)
    note(
        "appliance.back_in_use",
        by=by,
        subject=appliance,
        site_id=appliance.site_id,
        out_of_use=out_of_use.pk,
    )
    return back


@action("appliance.void_out_of_use")
def void_out_of_use(*, by: Person, out_of_use: OutOfUse, reason: str) -> OutOfUseVoid:
    """It was in use all the time: what was asked for then was owed. Raises ValidationError without a reason, or done already."""
    reason = as_reason(reason, ask="Say why it does not count.", usual="out_of_use_void")
    if known := OutOfUseVoid.objects.filter(voids=out_of_use).select_related("recorded_by").first():
        raise ValidationError(f"{known.recorded_by} has struck this out already. Nothing was changed.")
    void = OutOfUseVoid.objects.create(recorded_by=by, voids=out_of_use, reason=reason)
    note(
        "appliance.void_out_of_use",
        by=by,
        subject=out_of_use.appliance,
        site_id=out_of_use.appliance.site_id,
        reason=reason,
        out_of_use=out_of_use.pk,
    )
    return void


def _check(appliance: Appliance) -> None:
    appliance.full_clean()
    if appliance.retired:
        return
    others = Appliance.objects.filter(site=appliance.site_id, retired=False).exclude(pk=appliance.pk)
    if any(other.name.casefold() == appliance.name.casefold() for other in others):
        raise ValidationError({"name": f"Another one here is called {appliance.name}. Give each a name of its own."})


def _check_times(starts_at: datetime, ends_at: datetime | None, now: datetime) -> None:
    if starts_at > now:
        raise ValidationError({"starts_at": TO_COME})
    if starts_at < now - LATEST_ENTRY:
        words = "That is more than a day ago. Give a later time; what was missed before is excused one by one."
        raise ValidationError({"starts_at": words})
    if ends_at is not None:
        in_bounds(ends_at, "ends_at")
        if ends_at <= starts_at:
            raise ValidationError({"ends_at": "It ends before it begins. Give a later time, or none."})


def _overlapping(appliance: Appliance, starts_at: datetime, ends_at: datetime | None) -> OutOfUse | None:
    for each in OutOfUse.objects.live().filter(appliance=appliance).select_related("back"):
        ended = each.ended_at
        if (ends_at is None or each.starts_at < ends_at) and (ended is None or ended > starts_at):
            return each
    return None
