"""Recording and voiding checks and events. Each cuts the probe's timeline again in its own transaction, under a lock."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import models

from compliance.metrology import uncertainty
from compliance.probes.models import OUT_OF_USE, Event, EventKind, EventVoid, Probe
from shared.audit.trail import action, note
from shared.bounds import done_by_now
from shared.prepared import Prepared, Slot
from shared.reasons import as_reason
from sites.models import Person

from .draft_numbers import is_beyond, shown
from .evaluation import Typed, as_judged_at, judged_without_figure, read_typed
from .kinds import KINDS, CheckData, kind_of
from .models import Check, CheckDraft, CheckVoid, NoFigure, Stage, TimedReading, Verdict
from .signals import check_failed, probe_gone
from .timeline import lock, recut

# What a form says of a check, beside what its kind adds; the rest is worked out from it.
SAID = (
    "kind",
    "site",
    "stage",
    "checked_at",
    "checked_by",
    "note",
    "no_figure",
    "preparation",
    "immersion_mm",
    "surroundings",
    "laboratory",
    "certificate_number",
)

BECAME = "Say what became of it, such as “shows Lo, with a new battery too”."
NO_NUMBER = "Out of tolerance: it gave no figure ({})."
CANNOT_BE_TOLD = "How far it was off cannot be told, nor since when."
AHEAD = "{} cannot lie ahead. Give the time when it was done."


class AlreadyRecorded(Exception):
    """The same form came twice; `record` is what the first one made."""

    def __init__(self, record: models.Model):
        self.record = record


def _once(run: Callable) -> Callable:
    """Sending the same thing again changes nothing and gives what was recorded the first time; another one is refused."""

    @functools.wraps(run)
    def run_once(**kwargs):
        try:
            return run(**kwargs)
        except AlreadyRecorded as again:
            _struck_alike(again.record, **kwargs)
            return again.record

    return run_once


def _loaded(run: Callable) -> Callable:
    """What judges a check is loaded before its transaction begins, in which others wait to write."""

    @functools.wraps(run)
    def run_loaded(**kwargs):
        uncertainty.load()
        return run(**kwargs)

    return run_loaded


@_once
@_loaded
@action("check.record")
def record(*, by: Person, probe: Probe, data: CheckData) -> Check:
    """Record a check and judge it. Raises ValidationError, and records nothing, where something cannot be.

    Such as a pressure at sea level, or boiling water for a probe that is not made for it.
    """
    probe = lock(probe)
    check = _add(by, probe, data)
    recut(probe, check)
    _tell("check.record", by, check)
    return check


@_once
@_loaded
@action("check.record_unfinished")
def record_unfinished(
    *, by: Person | None, began_by: Person, probe: Probe, data: CheckData, reason: str, why: Sequence[str]
) -> Check:
    """Keep a check that nobody finished, as inconclusive, under the name of whoever began it. `by` is None where it was left."""
    probe, typed = lock(probe), read_typed(data.readings)
    then = as_judged_at(probe, data.checked_at)
    judge = functools.partial(kind_of(data).judged, then, data, typed)
    judged = judged_without_figure(then, judge, Verdict.INCONCLUSIVE.value, why)
    data = replace(data, typing=data.typing | {"unfinished": reason})
    check = _store(began_by, probe, data, typed, judged)
    recut(probe, check)
    _tell("check.record_unfinished", by, check, reason=reason, began_by=began_by.pk)
    return check


@action("check.void")
def void_check(*, by: Person, check: Check, reason: str) -> CheckVoid:
    """Strike a check out; it stays readable. Raises ValidationError without a reason, or if it is void already."""
    probe = lock(check.probe)
    void = _strike(by, check, reason, None)
    recut(probe, void)
    note("check.void", by=by, subject=check, site_id=check.site_id, reason=void.reason)
    return void


@_once
@_loaded
@action("check.correct")
def correct(*, by: Person, check: Check, reason: str, data: CheckData) -> Check:
    """Record a check anew in place of one with a mistake; both stay readable. Raises ValidationError as record and void do."""
    probe = lock(check.probe)
    if data.kind != check.kind:
        raise ValidationError("A correction stays with its kind of check. Void this one and record another.")
    new = _add(by, probe, replace(data, checked_by=data.checked_by or check.checked_by, corrects=check))
    void = _strike(by, check, reason, new)
    recut(probe, void)
    _tell("check.correct", by, new, reason=void.reason, replaces=check.pk)
    return new


_ALIKE = Prepared(
    lambda: (
        Event.objects.live()
        .filter(
            probe=Slot("probe"),
            kind=Slot("kind", models.CharField()),
            at=Slot("at", models.DateTimeField()),
            note=Slot("note", models.TextField()),
            recorded_by=Slot("by"),
        )
        .order_by("pk")[:1]
    )
)


@_once
@action("event.record")
def record_event(*, by: Person, probe: Probe, kind: str, at: datetime, note: str = "") -> Event:
    """Record what happened to a probe. The same again gives what is there. Raises ValidationError where it cannot be."""
    probe = lock(probe)
    if alike := _ALIKE.objects(probe=probe.pk, kind=kind, at=at, note=note.strip(), by=by.pk):
        raise AlreadyRecorded(alike[0])
    event = _add_event(by, probe, kind, at, note)
    recut(probe, event)
    _tell_event("event.record", by, event, event.note)
    _tell_gone(event)
    return event


@action("event.void")
def void_event(
    *,
    by: Person,
    event: Event,
    reason: str,
    replacement_kind: str | None = None,
    replacement_at: datetime | None = None,
    replacement_note: str | None = None,
) -> EventVoid:
    """Strike an event out, or put a corrected one in its place. Raises ValidationError without a reason, or if it is void."""
    probe = lock(event.probe)
    reason = _why(reason)
    if EventVoid.objects.filter(voids=event).exists():
        raise ValidationError("This event is struck out already.")
    new = None
    if replacement_kind or replacement_at or replacement_note is not None:
        text = event.note if replacement_note is None else replacement_note
        new = _add_event(by, probe, replacement_kind or event.kind, replacement_at or event.at, text)
    void = EventVoid.objects.create(recorded_by=by, voids=event, replacement=new, reason=reason)
    recut(probe, void)
    _tell_event("event.void", by, event, reason, replacement=new.pk if new else None)
    _tell_gone(new)
    return void


_MADE = Prepared(
    lambda: Check.objects.filter(probe=Slot("probe"), key=Slot("key", models.UUIDField())).order_by().values_list("pk")
)


def _recorded_before(probe: Probe, typed: list[Typed], fields: dict) -> None:
    """Raises AlreadyRecorded where the form has come before, and ValidationError where it said something else then."""
    if not (made := _MADE.rows(probe=probe.pk, key=fields["key"])):
        return
    found = Check.objects.get(pk=made[0][0])
    said = (*SAID, *KINDS[fields["kind"]].also_said)
    same = all(getattr(found, name) == fields[name] for name in said if name in fields)
    read = sorted((each.elapsed_ms, each.text, each.unit) for each in typed)
    if not same or read != sorted(found.timed_readings.values_list("elapsed_ms", "typed", "unit")):
        raise _sent_otherwise(found)
    raise AlreadyRecorded(found)


def _struck_alike(record: models.Model, check: Check | None = None, reason: str = "", **told) -> None:
    """Raises ValidationError where the form that made this check struck out another one, or for another reason, or none."""
    struck = {"voids_id": check.pk, "reason": reason.strip()} if check else None
    if (
        isinstance(record, Check)
        and struck != CheckVoid.objects.filter(replacement=record).values("voids_id", "reason").first()
    ):
        raise _sent_otherwise(record)


def _sent_otherwise(check: Check) -> ValidationError:
    told = f"This form was already sent and saved as {check}. If this is another check, save it again."
    return ValidationError(told, code="already_sent")


def _add(by: Person, probe: Probe, data: CheckData) -> Check:
    kind, then = kind_of(data), as_judged_at(probe, data.checked_at)
    if unfit := kind.unfit(then):
        raise ValidationError(unfit)
    typed = read_typed(data.readings)
    if kind.guided and not typed and not data.no_figure:
        raise ValidationError("Type at least one reading of the display before you finish.")
    judged = _judged(then, data, typed)
    return _store(by, probe, replace(data, typing=_typing(data, judged, typed)), typed, judged)


def _judged(probe: Probe, data: CheckData, typed: list[Typed]) -> dict:
    """The fields that the measurement fills. One that shows no number has failed, whatever it showed before."""
    kind = kind_of(data)
    judge = functools.partial(kind.judged, probe, data, typed)
    if not data.no_figure:
        return judge()
    if data.no_figure not in NoFigure.values:
        raise ValidationError("Say what it shows instead of a number.")
    why = (NO_NUMBER.format(NoFigure(data.no_figure).label), CANNOT_BE_TOLD)
    return judged_without_figure(probe, judge, Verdict.OUT_OF_TOLERANCE.value, why)


def _typing(data: CheckData, judged: dict, typed: list[Typed]) -> dict | None:
    """What is kept of the numbers; one beyond the tolerance that the verdict says nothing of is not to be forgotten."""
    kept = dict(data.typing or {})
    if (
        typed
        and judged["verdict"] == Verdict.INCONCLUSIVE
        and is_beyond(typed[-1].value_milli, judged["reference_milli"], judged["tolerance_milli"])
    ):
        kept["showed"] = shown(typed[-1])
    return kept or None


def _store(by: Person, probe: Probe, data: CheckData, typed: list[Typed], judged: dict) -> Check:
    done_by_now(data.checked_at, words=AHEAD.format("A check"))
    if data.stage not in Stage.values:
        raise ValidationError("Say whether the probe was checked as found or after an adjustment.")
    if data.site.area.business_id != probe.business_id:
        raise ValidationError(f"{data.site} belongs to another business than {probe}.")
    beside = {"checked_by": data.checked_by or by, "typing": data.typing, "phone": data.phone}
    version = data.corrects.procedure_version if data.corrects else kind_of(data).version
    fields = data.fields() | judged | beside | {"procedure_version": version}
    _recorded_before(probe, typed, fields)
    check = Check.objects.create(recorded_by=by, probe=probe, **fields)
    TimedReading.objects.bulk_create([_timed(by, check, reading) for reading in typed])
    CheckDraft.objects.filter(key=check.key, probe=probe, person=by).delete()
    return check


def _timed(by: Person, check: Check, reading: Typed) -> TimedReading:
    return TimedReading(
        recorded_by=by,
        check_record=check,
        elapsed_ms=reading.elapsed_ms,
        value_milli=reading.value_milli,
        typed=reading.text,
        unit=reading.unit,
    )


def _add_event(by: Person, probe: Probe, kind: str, at: datetime, text: str) -> Event:
    if kind not in EventKind.values:
        raise ValidationError("Choose what happened to the probe.")
    done_by_now(at, words=AHEAD.format("An event"))
    if kind in OUT_OF_USE:
        as_reason(text, "note", ask=BECAME if kind == EventKind.GONE else "")
    return Event.objects.create(recorded_by=by, probe=probe, kind=kind, at=at, note=text.strip())


def _strike(by: Person, check: Check, reason: str, replacement: Check | None) -> CheckVoid:
    if CheckVoid.objects.filter(voids=check).exists():
        raise ValidationError("This check is struck out already.")
    reason = _why(reason)
    return CheckVoid.objects.create(recorded_by=by, voids=check, replacement=replacement, reason=reason)


def _why(reason: str) -> str:
    return as_reason(reason, ask="Say why it is struck out.", usual="strike")


def _tell(name: str, by: Person, check: Check, *, reason: str = "", **data) -> None:
    note(
        name,
        by=by,
        subject=check,
        site_id=check.site_id,
        reason=reason,
        probe=check.probe_id,
        kind=check.kind,
        stage=check.stage,
        verdict=check.verdict,
        **data,
    )
    if check.verdict == Verdict.OUT_OF_TOLERANCE:
        check_failed.send_robust(Check, check=check)


def _tell_event(name: str, by: Person, event: Event, reason: str, **data) -> None:
    note(
        name,
        by=by,
        subject=event,
        site_id=event.probe.site_id,
        reason=reason,
        probe=event.probe_id,
        kind=event.kind,
        at=event.at.isoformat(),
        **data,
    )


def _tell_gone(event: Event | None) -> None:
    if event and event.kind == EventKind.GONE:
        probe_gone.send_robust(Event, event=event)
