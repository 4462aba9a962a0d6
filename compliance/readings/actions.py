"""Recording, voiding and correcting readings, and acting on deviations. A breach opens its deviation in the same transaction."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import partial
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError
from django.utils import timezone

from compliance.checks.fitness import fitness_of
from compliance.checks.timeline import lock
from compliance.limits.models import Limit, LimitVersion
from compliance.limits.queries import version_in_force
from compliance.plans.models import Reminder
from compliance.plans.round_rows import LONGEST
from compliance.plans.store import tell_again
from compliance.probes.models import Probe
from shared import clock
from shared.audit import trail
from shared.bounds import TO_COME, done_by_now
from shared.prepared import Prepared, Slot
from shared.reasons import as_reason, holds_word
from shared.stale_forms import entered, refuse_newer
from sites.access import may, people_at
from sites.models import Person, Role, Site

from .data import ActData, ReadingData
from .keys import form_key, sent_as
from .limit_evaluation import LONGEST_HOLD_S, LONGEST_SINCE_S, breach, read_typed
from .models import CorrectiveAction, Deviation, Disposition, OfferedActs, Reading, ReadingVoid
from .offered_acts import ActsData, acts_of
from .queries import is_lost, sent_before, span_of

FACTS = (
    "probe_id",
    "site_id",
    "appliance_id",
    "item",
    "value_milli",
    "taken_at",
    "hold_s",
    "since_start_s",
    "note",
    "typed",
    "unit",
    "taken_by_id",
)
OUT_OF_ITS_CASE = (
    "This reading is in quarantine, and this would take it out of its case: nobody would decide on it any more. A supervisor of "
    "the site has to do that ({}). Nothing was changed. Put the value, the food or the note right without it, if that is wrong."
)
LONGEST_REASON = Reading._meta.get_field("used_despite").max_length


class AlreadySent(ValidationError):
    """The same key came with other values: the form was sent before. `reading` is what it made then."""

    def __init__(self, reading: Reading):
        self.reading = reading
        super().__init__(f"This form was already sent and saved as {reading}. If this is another one, save it again.")


def record(*, by: Person, data: ReadingData) -> Reading:
    """Record one reading and, where it does not meet its limit, its deviation. Sending it twice records it once.

    Raises ValidationError, and records nothing, where something cannot be; AlreadySent for a key used for another reading.
    """
    reading = _judged(by, data)
    sent = partial(_sent_before, data.key, reading, data.used_despite)
    return sent() or _once(sent, _record, by=by, reading=_trusted(reading, data.used_despite))


@trail.action("reading.record")
def _record(*, by: Person, reading: Reading) -> Reading:
    why = _store(by, reading)
    _tell("reading.record", by, reading, deviation=why)
    return reading


@trail.action("reading.void")
def void(*, by: Person, reading: Reading, reason: str) -> ReadingVoid:
    """Strike a reading out; it stays readable. Raises ValidationError without a reason, if it is void already, and where a
    supervisor has to do it."""
    reason = _needed(reason)
    _lock_live(reading)
    _refuse_out_of_its_case(by, reading)
    made = _strike_out(by, reading, reason)
    _tell("reading.void", by, reading, reason=reason)
    return made


def correct(*, by: Person, reading: Reading, reason: str, data: ReadingData) -> Reading:
    """Record what the reading should have said and strike the old one out. Raises ValidationError as `record` does,
    without a reason, if the old one is void already, and where a supervisor has to do it."""
    reason = _needed(reason)
    new = _judged(by, replace(data, taken_by=data.taken_by or reading.taken_by))
    same = all(getattr(new, name) == getattr(reading, name) for name in (*FACTS, "limit_version_id"))
    if same and data.used_despite.strip() == reading.used_despite:
        raise ValidationError("Nothing differs from what is recorded, so there is nothing to correct.")
    sent = partial(_sent_before, data.key, new, data.used_despite, (reading.pk, reason))
    if done := sent():
        return done
    new = _as_known(_trusted(new, data.used_despite), reading)
    return _once(sent, _correct, by=by, reading=reading, new=new, reason=reason)


@trail.action("reading.correct")
def _correct(*, by: Person, reading: Reading, new: Reading, reason: str) -> Reading:
    _lock_live(reading)
    _refuse_out_of_its_case(by, reading, new)
    why = _store(by, new)
    _strike_out(by, reading, reason, new)
    _tell("reading.correct", by, new, reason=reason, corrects=reading.pk, before=str(reading), deviation=why)
    trail.note("reading.replaced", by=by, subject=reading, site_id=reading.site_id, reason=reason, replacement=new.pk)
    return new


def _strike_out(by: Person, reading: Reading, reason: str, replacement: Reading | None = None) -> ReadingVoid:
    """What it had been taken for may be open again."""
    void = ReadingVoid.objects.create(voids=reading, replacement=replacement, reason=reason, recorded_by=by)
    asked = {"site": reading.site_id, "limit": reading.limit_version.limit_id, "opens_at__lt": reading.taken_at}
    now = clock.now()
    tell_again(Reminder.objects.filter(**asked, due_at__gt=now - LONGEST, closes_at__gte=reading.taken_at), now)
    return void


def act_on_deviation(*, by: Person, deviation: Deviation, data: ActData, after: int | None = None) -> CorrectiveAction:
    """Record what was done; a later one replaces it and both stay. Sending the same twice records it once.

    `after`: the newest that `by` was shown. Raises ValidationError where words are missing, the time cannot be, the reading is
    void, or somebody has recorded something else since.
    """
    made = CorrectiveAction(
        deviation=deviation,
        action=data.action.strip(),
        cause=data.cause.strip(),
        disposition=data.disposition,
        note=data.note.strip(),
        done_at=data.done_at,
        decided_by=data.decided_by or by,
        recorded_by=by,
    )
    _check_act(made)
    return _acted_before(made) or _act(by=by, made=made, after=after)


@trail.action("deviation.act")
def _act(*, by: Person, made: CorrectiveAction, after: int | None = None) -> CorrectiveAction:
    lock(made.deviation.reading.probe)
    last = _last_act(made)
    again = last if last and _says_the_same(last, made) else None
    if again is None:
        refuse_newer(after, made.deviation.actions.all(), lambda newer: entered(newer, newer.action))
        made.replaces = last
        made.save()
    reading, subject = made.deviation.reading, again or made
    trail.note(
        "deviation.act",
        by=by,
        subject=made.deviation,
        site_id=reading.site_id,
        disposition=subject.disposition,
        reading=reading.pk,
        corrective_action=subject.pk,
        sent_twice=again is not None,
    )
    return subject


@trail.action("deviation.offer")
def set_offered_acts(*, by: Person, site: Site, data: ActsData, after: int | None = None) -> OfferedActs:
    """What a site offers as buttons where a limit is not met, from now on. `after`: the newest list that `by` was shown.

    Raises ValidationError for lists as `ActsData.checked` does, where nothing changes, and where there is a newer one.
    """
    Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    lists, before = data.checked(), acts_of(site)
    if all(list(getattr(before, name)) == lines for name, lines in lists.items()):
        raise ValidationError("These are the lists already. Change one, or leave them as they are.")
    refuse_newer(after, site.offered_acts.all(), lambda newer: entered(newer, "other lists"))
    made = OfferedActs.objects.create(recorded_by=by, site=site, **lists)
    trail.note("deviation.offer", by=by, subject=site, site_id=site.pk, offered=made.pk, **lists)
    return made


def _judged(by: Person, data: ReadingData) -> Reading:
    """The reading, not yet stored, with the version of its limit that was in force. Raises ValidationError."""
    _check_place(data.probe, data.site, data.limit)
    _check_time(data.taken_at)
    version = version_in_force(data.limit, data.taken_at)
    if version is None:
        words = f"“{data.limit}” was not in force at {data.site} at that time. Choose another limit."
        raise ValidationError({"limit": words})
    if data.hold_s is not None and not 0 <= data.hold_s <= LONGEST_HOLD_S:
        raise ValidationError({"hold_s": "Give the time it was held in seconds, at most a week."})
    if data.since_start_s is not None and not 0 <= data.since_start_s <= LONGEST_SINCE_S:
        raise ValidationError({"since_start_s": "Give the time since it began in seconds, at most a week."})
    if data.appliance and data.appliance.limit_id != data.limit.pk:
        raise ValidationError({"appliance": f"{data.appliance} is measured against “{data.appliance.limit}”."})
    if not data.item.strip():
        raise ValidationError({"item": "Say which food or unit was measured."})
    try:
        milli = read_typed(data.typed, data.unit)
    except ValueError as error:
        raise ValidationError({"typed": str(error)}) from None
    return Reading(
        key=_form_key(data.site, data.key),
        probe=data.probe,
        site=data.site,
        limit_version=version,
        appliance=data.appliance,
        item=data.item.strip(),
        typed=data.typed.strip(),
        unit=data.unit,
        value_milli=milli,
        hold_s=data.hold_s,
        since_start_s=data.since_start_s,
        taken_at=data.taken_at,
        taken_by=data.taken_by or by,
        note=data.note.strip(),
        recorded_by=by,
        phone=data.phone,
    )


def _trusted(reading: Reading, despite: str) -> Reading:
    """The reading with what its probe was worth when it was taken. Raises ValidationError for one not to be used, unless
    it says why it was used all the same."""
    found = fitness_of([reading.probe_id], reading.taken_at)[reading.probe_id]
    reading.fitness, reading.used_despite = found.state, despite.strip() if found.refused else ""
    reading.vouched = found.vouched and not is_lost(reading)
    if found.refused and not reading.used_despite:
        why = found.why(reading.site.zone, timezone.now())
        raise ValidationError({"used_despite": f"Do not use {reading.probe}: {why}. Take another probe, or say why."})
    as_reason(reading.used_despite, "used_despite", usual="despite")
    if len(reading.used_despite) > LONGEST_REASON:
        raise ValidationError({"used_despite": f"Say it in at most {LONGEST_REASON} characters."})
    return reading


def _as_known(new: Reading, old: Reading) -> Reading:
    """What is learned of a probe later takes nothing from a reading of it that is only put right."""
    if (new.probe_id, new.taken_at) == (old.probe_id, old.taken_at):
        new.vouched = old.vouched
    return new


def _check_place(probe: Probe, site: Site, limit: Limit) -> None:
    if limit.site_id != site.pk:
        raise ValidationError({"limit": f"“{limit}” is not a limit of {site}. Choose one of its own."})
    if probe.business_id != site.area.business_id:
        raise ValidationError({"probe": f"{probe} does not belong to the business of {site}."})


def _check_time(at: datetime) -> None:
    if timezone.is_naive(at):
        raise ValueError("Give the time with its zone.")
    done_by_now(at, "taken_at")


def _check_act(made: CorrectiveAction) -> None:
    wrong = {}
    if not holds_word(made.action):
        wrong["action"] = "Say in words what was done."
    if not holds_word(made.cause):
        wrong["cause"] = "Say in words why it happened, or that the cause is not known yet."
    if made.disposition not in Disposition.values:
        wrong["disposition"] = "Say what became of the food."
    if made.disposition == Disposition.EATEN and not holds_word(made.note):
        wrong["note"] = "It was eaten: write down the risk, and who was told."
    if made.done_at > timezone.now():
        wrong["done_at"] = TO_COME
    if made.done_at < made.deviation.reading.taken_at.replace(second=0, microsecond=0):
        wrong["done_at"] = "That is before the reading was taken. Give the time when it was done."
    if ReadingVoid.objects.filter(voids=made.deviation.reading_id).exists():
        raise ValidationError("This reading is void: there is nothing to act on.")
    if wrong:
        raise ValidationError(wrong)


def _form_key(site: Site, sent: str | UUID) -> str:
    if not 0 < len(sent_as(sent)) <= 32:
        raise ValidationError("This form did not arrive whole. Open the page anew and type it again.")
    return form_key(site.pk, sent)


def _sent_before(
    key: str | UUID, reading: Reading, despite: str, struck: tuple[int, str] | None = None
) -> Reading | None:
    """What this key recorded the first time; `struck` is the reading in whose place it came, and why. Raises AlreadySent
    where that was something else."""
    known = sent_before(reading.site, key)
    if known is None:
        return None
    same = all(getattr(known, name) == getattr(reading, name) for name in FACTS)
    same = same and known.limit_version.limit_id == reading.limit_version.limit_id
    same = same and known.used_despite in ("", despite.strip())  # not kept of a probe that was fit
    if not same or struck != ReadingVoid.objects.filter(replacement=known).values_list("voids", "reason").first():
        raise AlreadySent(known)
    return known


def _once(sent: Callable[[], Reading | None], run, /, **kwargs) -> Reading:
    """Two taps at the same moment: the later one meets the unique key, or a reading that is void by now, and gives what
    the earlier made."""
    try:
        return run(**kwargs)
    except (IntegrityError, ValidationError):
        known = sent()
        if known is None:
            raise
        return known


def _acted_before(made: CorrectiveAction) -> CorrectiveAction | None:
    last = _last_act(made)
    return last if last and _says_the_same(last, made) else None


_LAST_ACT = Prepared(lambda: CorrectiveAction.objects.current().filter(deviation=Slot("deviation")).order_by("pk")[:1])


def _last_act(made: CorrectiveAction) -> CorrectiveAction | None:
    return next(iter(_LAST_ACT.objects(deviation=made.deviation_id)), None)


def _says_the_same(last: CorrectiveAction, made: CorrectiveAction) -> bool:
    told = ("action", "cause", "disposition", "note", "done_at", "decided_by_id")
    return all(getattr(last, name) == getattr(made, name) for name in told)


def _store(by: Person, reading: Reading) -> str:
    reading.save()
    why = breach(reading.limit_version, reading.value_milli, reading.hold_s, reading.since_start_s)
    if why:
        Deviation.objects.create(reading=reading, why=why, recorded_by=by)
    return why


def _lock_live(reading: Reading) -> None:
    lock(reading.probe)
    if ReadingVoid.objects.filter(voids=reading).exists():
        raise ValidationError("This reading is void already. Work on the one that replaced it.")


def _refuse_out_of_its_case(by: Person, reading: Reading, new: Reading | None = None) -> None:
    """What is in quarantine stays in its case, unless a supervisor strikes it out or gives it another probe or time."""
    held, there = span_of(reading), new and span_of(new)
    if held is None or not held.anchor or (there and there.anchor == held.anchor):
        return
    if not may(by, reading.site, Role.SUPERVISOR):
        names = ", ".join(map(str, people_at(reading.site, Role.SUPERVISOR))) or "there is none yet"
        raise ValidationError(OUT_OF_ITS_CASE.format(names))


def _needed(reason: str) -> str:
    return as_reason(reason, ask="Say why: the old entry stays readable beside it.", usual="strike")


def _tell(name: str, by: Person, reading: Reading, reason: str = "", **data) -> None:
    version: LimitVersion = reading.limit_version
    trail.note(
        name,
        by=by,
        subject=reading,
        site_id=reading.site_id,
        reason=reason,
        probe=reading.probe.code,
        limit=str(version),
        appliance=reading.appliance and str(reading.appliance),
        value_milli=reading.value_milli,
        taken_at=reading.taken_at.isoformat(),
        fitness=reading.fitness,
        used_despite=reading.used_despite,
        **data,
    )
