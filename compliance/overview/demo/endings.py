"""What the invented people did about deviations and cases; the last few days are left for whoever signs in."""

from dataclasses import replace
from datetime import datetime, time, timedelta
from random import Random

from django.db.models import Exists, OuterRef

from compliance.checks.models import Span
from compliance.checks.span_times import holds
from compliance.metrology.vocabulary import Direction, Outcome
from compliance.plans.calendar import DAY, instant
from compliance.quarantine import actions as quarantine
from compliance.quarantine.actions import DecisionData
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import Case, doubts, load_case
from compliance.quarantine.models import Fate
from compliance.readings import actions as readings
from compliance.readings.data import ActData, ReadingData
from compliance.readings.models import Deviation, Disposition, Reading
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from compliance.reminders.status import Status, with_status
from shared import clock

from .lives import Life
from .setting import Setting

LEFT_OPEN = 3  # days, today included
TOO_WARM = (
    (
        "Door found ajar; closed it and measured again within the hour.",
        "The door was left open during a delivery.",
        Disposition.USED,
    ),
    (
        "Moved the food to the other fridge and turned the thermostat down.",
        "Fridge overfilled after a delivery.",
        Disposition.MOVED,
    ),
    ("Refused the crate and told the supplier.", "The van's cooling had failed on the way.", Disposition.RETURNED),
)
TOO_COOL = (
    ("Put back and cooked on until 75 °C was held.", "Taken out too early.", Disposition.REWORKED),
    ("Reheated to above 82 °C before serving.", "The counter was switched on late.", Disposition.REWORKED),
    ("Thrown away, a new batch was started.", "Stood on the counter for too long.", Disposition.DISCARDED),
)


EXCUSED = 8  # of the readings that were missed, one in so many
NO_READING = {
    "frozen-storage": "The freezer was empty and switched off for defrosting.",
    "hot-holding": "Nothing was held hot: a cold lunch.",
    "chill-store": "It was empty, being cleaned after the engineer had been.",
}


def _lately(setting: Setting) -> datetime:
    return instant(setting.today - DAY * (LEFT_OPEN - 1), time(0), setting.zone)


def excuse_readings(setting: Setting) -> None:
    """Some of the readings that were missed are excused the morning after."""
    codes = {limit.pk: code for (_, code), limit in setting.limits.items()}
    names = {site.pk: name for name, site in setting.sites.items()}
    asked = Reminder.objects.filter(limit__isnull=False, due_at__lt=_lately(setting)).select_related("site")
    missed = with_status(asked, setting.now).filter(status=Status.MISSED).order_by("due_at", "pk")
    for reminder in list(missed)[::EXCUSED]:
        name, reason = names[reminder.site_id], NO_READING[codes[reminder.limit_id]]
        with clock.pretend(setting.next_morning(name, reminder.due_at, time(8, 10))):
            excuse_reminder(by=setting.managers[name], reminder=reminder, reason=reason)


def act_on_deviations(setting: Setting) -> None:
    """Every deviation but the latest has its corrective action, recorded an hour later by the site's manager."""
    chance = Random(7)
    related = ("reading__limit_version", "reading__site", "reading__probe")
    for deviation in Deviation.objects.live("reading").select_related(*related).order_by("pk"):
        reading = deviation.reading
        if reading.taken_at > _lately(setting):
            continue
        warm = reading.limit_version.direction == Direction.AT_MOST
        action, cause, disposition = chance.choice(TOO_WARM if warm else TOO_COOL)
        done_at = reading.taken_at + timedelta(minutes=chance.randrange(8, 50))
        with clock.pretend(done_at + timedelta(minutes=2)):
            data = ActData(action=action, cause=cause, disposition=disposition, done_at=done_at)
            readings.act_on_deviation(by=setting.managers[reading.site.name], deviation=deviation, data=data)


def correct_some(setting: Setting) -> None:
    """Two slips of the finger put right, and one reading struck out; the old entries stay readable."""
    in_quarantine = Span.objects.filter(holds(OuterRef("taken_at")), probe=OuterRef("probe")).exclude(anchor="")
    unsuspicious = Reading.objects.filter(
        ~Exists(Deviation.objects.filter(reading=OuterRef("pk"))),
        ~Exists(in_quarantine),  # which a supervisor alone may take out of its case
        taken_at__lt=_lately(setting),
    ).select_related("limit_version__limit", "probe", "site", "taken_by")
    first, second, third = unsuspicious.order_by("-taken_at")[10:70:20]
    for reading in (first, second):
        with clock.pretend(reading.taken_at + timedelta(minutes=6)):
            data = ReadingData(
                key=_key(reading),
                probe=reading.probe,
                site=reading.site,
                limit=reading.limit_version.limit,
                item=reading.item,
                typed=_slipped(reading),
                unit=reading.unit,
                taken_at=reading.taken_at,
                hold_s=reading.hold_s,
            )
            readings.correct(by=reading.taken_by, reading=reading, reason="Typed into the wrong line.", data=data)
    with clock.pretend(third.taken_at + timedelta(minutes=9)):
        readings.void(
            by=third.taken_by,
            reading=third,
            reason="Measured in the wrong fridge; the right one is recorded beside it.",
        )


def _slipped(reading: Reading) -> str:
    return f"{float(reading.typed) + 0.4:.1f}"


def _key(reading: Reading) -> str:
    return f"{reading.pk:032x}"


def close_cases(setting: Setting, lives: dict[str, Life]) -> None:
    """The older cases are decided on, and the oldest signed; the rest are open."""
    by_code = {life.probe.pk: life for life in lives.values()}
    for anchor, probe_id in sorted({(d.anchor, d.probe_id) for d in doubts(s.pk for s in setting.sites.values())}):
        life = by_code[probe_id]
        if life.story.behaviour.get("decided"):
            _close(setting, load_case(anchor), life)


def _close(setting: Setting, case: Case, life: Life) -> None:
    decided_at = (case.ends_at or setting.now) + timedelta(hours=20)
    for site in case.sites.values():
        manager = setting.managers[site.name]
        for outcome, data in _decisions().items():
            if case.undecided_at([site.pk], outcome):
                with clock.pretend(min(decided_at, setting.now - timedelta(hours=1))):
                    selection = Selection((site.pk,), outcome=outcome, undecided=True)
                    quarantine.decide(by=manager, case=case, selection=selection, data=data)
    if life.story.behaviour.get("signed"):
        with clock.pretend(_signing_time(decided_at, setting.now)):
            boss = setting.supervisor_of(life.story.site)
            quarantine.sign(by=boss, anchor=case.anchor, note_text="Talked through with the manager on site.")


def _signing_time(decided_at: datetime, now: datetime) -> datetime:
    return min(decided_at + timedelta(days=2), now - timedelta(minutes=30))


def _decisions() -> dict[str, DecisionData]:
    eaten = DecisionData(
        fate=Fate.EATEN,
        why="Served on the day, nothing was left.",
        risk="Cooked for the full time by the oven's own clock; nobody was reported ill within ten days.",
        told="The area supervisor, who asked the authority; no further step was wanted.",
    )
    hotter = "The food was hotter in the middle at serving, measured with another probe."
    return {
        Outcome.HELD: DecisionData(fate=Fate.STANDS),
        Outcome.UNDECIDED: eaten,
        Outcome.BROKEN: replace(eaten, risk=hotter),
    }
