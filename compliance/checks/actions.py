"""Recording and voiding checks and events. Each cuts the probe's timeline again in its own transaction, under a lock."""

import functools
from collections.abc import Callable, Sequence
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models

from compliance.metrology.bath import Preparation
from compliance.metrology.boiling import BoilingPreparation, Surroundings
from compliance.probes.models import Event, EventKind, EventVoid, Probe
from shared.audit.trail import action, note
from shared.bounds import done_by_now
from shared.reasons import as_reason
from sites.models import Person, Site

from .draft_numbers import is_beyond, shown
from .judging import Typed, judged_boiling, judged_certificate, judged_unfinished, judged_zero, read_typed
from .models import Check, CheckDraft, CheckVoid, Kind, Stage, TimedReading, Verdict
from .signals import check_failed
from .surroundings import keep, unfit_for_boiling
from .timeline import lock, recut

# What a form says of a check; the rest is worked out from it.
SAID = ("kind", "site", "stage", "checked_at", "checked_by", "note", "preparation", "immersion_mm", "surroundings",
        "laboratory", "certificate_number")  # fmt: skip
SAID_OF_CERTIFICATE = ("reference_milli", "error_milli", "expanded_milli")

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


@_once
@action("check.record_zero")
def record_zero(
    *, by: Person, key: UUID, probe: Probe, site: Site, stage: str, checked_at: datetime, preparation: Preparation,
    readings: Sequence[tuple[int, str, str]], immersion_mm: float | None = None, checked_by: Person | None = None,
    note: str = "", typing: dict | None = None,
) -> Check:  # fmt: skip
    """Record a zero-point check and judge it. Raises ValidationError, and records nothing, where something cannot be."""
    probe = lock(probe)
    check = _add_zero(
        by, key, probe, site, stage, checked_at, preparation, readings, immersion_mm, checked_by, note, typing
    )  # fmt: skip
    recut(probe, check)
    _tell("check.record_zero", by, check)
    return check


@_once
@action("check.record_boiling")
def record_boiling(
    *, by: Person, key: UUID, probe: Probe, site: Site, stage: str, checked_at: datetime, preparation: BoilingPreparation,
    surroundings: Surroundings, readings: Sequence[tuple[int, str, str]], immersion_mm: float | None = None,
    checked_by: Person | None = None, note: str = "", typed_pressure: tuple[str, str] = ("", ""),
    typing: dict | None = None,
) -> Check:  # fmt: skip
    """Record a check in boiling water or steam and judge it; `typed_pressure` is the text and its unit.

    Raises ValidationError, and records nothing, where something cannot be: a pressure at sea level, a probe not made for it.
    """
    probe = lock(probe)
    check = _add_boiling(
        by, key, probe, site, stage, checked_at, preparation, surroundings, readings, immersion_mm, checked_by, note,
        typed_pressure, typing,
    )  # fmt: skip
    recut(probe, check)
    _tell("check.record_boiling", by, check)
    return check


@_once
@action("check.record_unfinished")
def record_unfinished(
    *, by: Person | None, began_by: Person, kind: str, key: UUID, probe: Probe, site: Site, stage: str,
    checked_at: datetime, preparation: Preparation | BoilingPreparation, readings: Sequence[tuple[int, str, str]],
    typing: dict, reason: str, why: Sequence[str], surroundings: Surroundings | None = None,
    typed_pressure: tuple[str, str] = ("", ""), immersion_mm: float | None = None, note: str = "",
) -> Check:  # fmt: skip
    """Keep a check that nobody finished, as inconclusive, under the name of whoever began it. `by` is None where it was left."""
    probe, typed = lock(probe), read_typed(readings)

    def judge():
        if kind == Kind.ZERO:
            return judged_zero(probe, typed, preparation, immersion_mm)
        if surroundings is None:
            raise ValidationError("Where water boils here is not known.")
        return judged_boiling(probe, typed, preparation, surroundings, immersion_mm)

    check = _add(
        began_by, typed, key=key, probe=probe, site=site, stage=stage, checked_at=checked_at, checked_by=began_by,
        note=note.strip(), kind=kind, preparation=_kept_preparation(preparation), immersion_mm=immersion_mm,
        surroundings=keep(surroundings, *typed_pressure) if surroundings else {},
        typing=typing | {"unfinished": reason}, **judged_unfinished(probe, judge, why),
    )  # fmt: skip
    recut(probe, check)
    _tell("check.record_unfinished", by, check, reason=reason, began_by=began_by.pk)
    return check


@_once
@action("check.record_certificate")
def record_certificate(
    *, by: Person, key: UUID, probe: Probe, site: Site, stage: str, checked_at: datetime, laboratory: str,
    certificate_number: str, reference_milli: int, error_milli: int, expanded_milli: int, note: str = "",
    checked_by: Person | None = None,
) -> Check:  # fmt: skip
    """Record a laboratory's certificate as a check. Raises ValidationError where something cannot be."""
    probe = lock(probe)
    check = _add_certificate(
        by, key, probe, site, stage, checked_at, laboratory, certificate_number, reference_milli, error_milli,
        expanded_milli, note, checked_by,
    )  # fmt: skip
    recut(probe, check)
    _tell("check.record_certificate", by, check)
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
@action("check.correct_zero")
def correct_zero(
    *, by: Person, check: Check, reason: str, key: UUID, probe: Probe, site: Site, stage: str, checked_at: datetime,
    preparation: Preparation, readings: Sequence[tuple[int, str, str]], immersion_mm: float | None = None,
    checked_by: Person | None = None, note: str = "",
) -> Check:  # fmt: skip
    """Record a check anew in place of one with a mistake; both stay readable. Raises ValidationError as record and void do."""
    probe = lock(probe)
    _same_probe(check, probe, Kind.ZERO)
    checked_by = checked_by or check.checked_by
    new = _add_zero(by, key, probe, site, stage, checked_at, preparation, readings, immersion_mm, checked_by, note)
    void = _strike(by, check, reason, new)
    recut(probe, void)
    _tell("check.correct_zero", by, new, reason=void.reason, replaces=check.pk)
    return new


@_once
@action("check.correct_boiling")
def correct_boiling(
    *, by: Person, check: Check, reason: str, key: UUID, probe: Probe, site: Site, stage: str, checked_at: datetime,
    preparation: BoilingPreparation, surroundings: Surroundings, readings: Sequence[tuple[int, str, str]],
    immersion_mm: float | None = None, checked_by: Person | None = None, note: str = "",
    typed_pressure: tuple[str, str] = ("", ""),
) -> Check:  # fmt: skip
    """Record a check at boiling anew in place of one with a mistake. Raises ValidationError as record and void do."""
    probe = lock(probe)
    _same_probe(check, probe, Kind.BOILING)
    new = _add_boiling(
        by, key, probe, site, stage, checked_at, preparation, surroundings, readings, immersion_mm,
        checked_by or check.checked_by, note, typed_pressure,
    )  # fmt: skip
    void = _strike(by, check, reason, new)
    recut(probe, void)
    _tell("check.correct_boiling", by, new, reason=void.reason, replaces=check.pk)
    return new


@_once
@action("check.correct_certificate")
def correct_certificate(
    *, by: Person, check: Check, reason: str, key: UUID, probe: Probe, site: Site, stage: str, checked_at: datetime,
    laboratory: str, certificate_number: str, reference_milli: int, error_milli: int, expanded_milli: int,
    note: str = "", checked_by: Person | None = None,
) -> Check:  # fmt: skip
    """Record a certificate anew in place of one with a mistake. Raises ValidationError as record and void do."""
    probe = lock(probe)
    _same_probe(check, probe, Kind.CERTIFICATE)
    new = _add_certificate(
        by, key, probe, site, stage, checked_at, laboratory, certificate_number, reference_milli, error_milli,
        expanded_milli, note, checked_by or check.checked_by,
    )  # fmt: skip
    void = _strike(by, check, reason, new)
    recut(probe, void)
    _tell("check.correct_certificate", by, new, reason=void.reason, replaces=check.pk)
    return new


@_once
@action("event.record")
def record_event(*, by: Person, probe: Probe, kind: str, at: datetime, note: str = "") -> Event:
    """Record what happened to a probe. The same again gives what is there. Raises ValidationError where it cannot be."""
    probe = lock(probe)
    alike = Event.objects.filter(probe=probe, kind=kind, at=at, note=note.strip(), recorded_by=by, void__isnull=True)
    if found := alike.first():
        raise AlreadyRecorded(found)
    event = _add_event(by, probe, kind, at, note)
    recut(probe, event)
    _tell_event("event.record", by, event, event.note)
    return event


@action("event.void")
def void_event(
    *, by: Person, event: Event, reason: str, replacement_kind: str | None = None,
    replacement_at: datetime | None = None, replacement_note: str | None = None,
) -> EventVoid:  # fmt: skip
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
    return void


def _recorded_before(typed: list[Typed], **told) -> None:
    """Raises AlreadyRecorded where the form has come before, and ValidationError where it said something else then."""
    found = Check.objects.filter(probe=told["probe"], key=told["key"]).first()
    if found is None:
        return
    said = SAID + SAID_OF_CERTIFICATE if told["kind"] == Kind.CERTIFICATE else SAID
    same = all(getattr(found, name) == told[name] for name in said if name in told)
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


def _add_zero(
    by, key, probe, site, stage, checked_at, preparation, readings, immersion_mm, checked_by, text, typing=None,
) -> Check:  # fmt: skip
    typed = _typed(readings)
    judged = judged_zero(probe, typed, preparation, immersion_mm)
    return _add(
        by, typed, key=key, probe=probe, site=site, stage=stage, checked_at=checked_at, checked_by=checked_by,
        note=text.strip(), kind=Kind.ZERO, preparation=_kept_preparation(preparation), immersion_mm=immersion_mm,
        **judged, **_typing(typing, judged, typed),
    )  # fmt: skip


def _add_boiling(
    by, key, probe, site, stage, checked_at, preparation, surroundings, readings, immersion_mm, checked_by, text,
    typed_pressure, typing=None,
) -> Check:  # fmt: skip
    if unfit := unfit_for_boiling(probe):
        raise ValidationError(unfit)
    typed = _typed(readings)
    judged = judged_boiling(probe, typed, preparation, surroundings, immersion_mm)
    return _add(
        by, typed, key=key, probe=probe, site=site, stage=stage, checked_at=checked_at, checked_by=checked_by,
        note=text.strip(), kind=Kind.BOILING, preparation=_kept_preparation(preparation),
        surroundings=keep(surroundings, *typed_pressure), immersion_mm=immersion_mm,
        **judged, **_typing(typing, judged, typed),
    )  # fmt: skip


def _typing(typing: dict | None, judged: dict, typed: list[Typed]) -> dict:
    """What is kept of the numbers; one beyond the tolerance that the verdict says nothing of is not to be forgotten."""
    last, kept = typed[-1], dict(typing or {})
    if judged["verdict"] == Verdict.INCONCLUSIVE and is_beyond(
        last.value_milli, judged["reference_milli"], judged["tolerance_milli"]
    ):
        kept["showed"] = shown(last)
    return {"typing": kept or None}


def _typed(readings) -> list[Typed]:
    typed = read_typed(readings)
    if not typed:
        raise ValidationError("Type at least one reading of the display before you finish.")
    return typed


def _add_certificate(
    by, key, probe, site, stage, checked_at, laboratory, number, reference_milli, error_milli, expanded_milli, text,
    checked_by,
) -> Check:  # fmt: skip
    return _add(
        by, [], key=key, probe=probe, site=site, stage=stage, checked_at=checked_at, checked_by=checked_by,
        note=text.strip(), kind=Kind.CERTIFICATE, laboratory=_needed(laboratory, "Name the laboratory."),
        certificate_number=_needed(number, "Give the number of the certificate."),
        **judged_certificate(probe, reference_milli, error_milli, expanded_milli),
    )  # fmt: skip


def _add(by: Person, typed: list[Typed], *, checked_by: Person | None, **fields) -> Check:
    done_by_now(fields["checked_at"], words=AHEAD.format("A check"))
    if fields["stage"] not in Stage.values:
        raise ValidationError("Say whether the probe was checked as found or after an adjustment.")
    if fields["site"].area.business_id != fields["probe"].business_id:
        raise ValidationError(f"{fields['site']} belongs to another business than {fields['probe']}.")
    fields["checked_by"] = checked_by or by
    _recorded_before(typed, **fields)
    check = Check.objects.create(recorded_by=by, **fields)
    TimedReading.objects.bulk_create([_timed(by, check, reading) for reading in typed])
    CheckDraft.objects.filter(key=check.key, probe=check.probe, person=by).delete()
    return check


def _kept_preparation(preparation: Preparation | BoilingPreparation) -> dict:
    points, left = (sorted(point.value for point in points) for points in (preparation.points, preparation.left))
    return {"kind": preparation.kind.value, "points": points, "left": left}


def _timed(by: Person, check: Check, reading: Typed) -> TimedReading:
    return TimedReading(
        recorded_by=by, check_record=check, elapsed_ms=reading.elapsed_ms, value_milli=reading.value_milli,
        typed=reading.text, unit=reading.unit,
    )  # fmt: skip


def _add_event(by: Person, probe: Probe, kind: str, at: datetime, text: str) -> Event:
    if kind not in EventKind.values:
        raise ValidationError("Choose what happened to the probe.")
    done_by_now(at, words=AHEAD.format("An event"))
    if kind == EventKind.WITHDRAWN:
        as_reason(text, "note")
    return Event.objects.create(recorded_by=by, probe=probe, kind=kind, at=at, note=text.strip())


def _strike(by: Person, check: Check, reason: str, replacement: Check | None) -> CheckVoid:
    if CheckVoid.objects.filter(voids=check).exists():
        raise ValidationError("This check is struck out already.")
    reason = _why(reason)
    return CheckVoid.objects.create(recorded_by=by, voids=check, replacement=replacement, reason=reason)


def _same_probe(check: Check, probe: Probe, kind: str) -> None:
    if check.probe_id != probe.pk or check.kind != kind:
        raise ValidationError(
            "A correction stays with its probe and its kind of check. Void this one and record another."
        )


def _why(reason: str) -> str:
    return as_reason(reason, ask="Say why it is struck out.", usual="strike")


def _needed(text: str, message: str) -> str:
    if not text.strip():
        raise ValidationError(message)
    return text.strip()


def _tell(name: str, by: Person, check: Check, *, reason: str = "", **data) -> None:
    note(name, by=by, subject=check, site_id=check.site_id, reason=reason, probe=check.probe_id,
         stage=check.stage, verdict=check.verdict, **data)  # fmt: skip
    if check.verdict == Verdict.OUT_OF_TOLERANCE:
        check_failed.send_robust(Check, check=check)


def _tell_event(name: str, by: Person, event: Event, reason: str, **data) -> None:
    note(name, by=by, subject=event, site_id=event.probe.site_id, reason=reason, probe=event.probe_id, kind=event.kind,
         at=event.at.isoformat(), **data)  # fmt: skip
