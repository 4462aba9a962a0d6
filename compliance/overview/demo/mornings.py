"""The checks that are asked for, made as people make them: most in the morning, a few late, some never."""

from datetime import date, datetime, time, timedelta
from random import Random

from compliance.checks.models import ProbeState
from compliance.plans.calendar import DAY, instant, local_day
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from compliance.reminders.status import still_open
from shared.phone_time import PhoneTime

from .agenda import Agenda
from .lives import Entered, Life, check
from .pans import boil, boils
from .planning import day_of_checks
from .setting import Setting

BEFORE_DAWN = time(3)
FIRST = time(6, 35)
STEADY = 15  # days up to now in which nothing was forgotten but what the scenario says
NEVER, EXCUSED, LATE = 0.02, 0.03, 0.06  # shares of what is asked for, each with those before it
EXCUSES = (
    "Sent to the maker for a new cable; back next week.",
    "Lent to the summer fair with the rest of the box; not used here.",
    "The ice machine was broken and no ice was to be had; the spare was used.",
)
TYPED_IN_LATER = timedelta(days=2, hours=3)
IN_THE_CELLAR, AHEAD = timedelta(hours=1, minutes=50), timedelta(minutes=2, seconds=10)


def put_mornings(setting: Setting, lives: dict[str, Life], agenda: Agenda) -> None:
    for ago in range(setting.days, -1, -1):
        day = setting.today - DAY * ago
        agenda.put(instant(day, BEFORE_DAWN, setting.zone), lambda at: _morning(setting, lives, agenda, at))


def _morning(setting: Setting, lives: dict[str, Life], agenda: Agenda, at: datetime) -> None:
    """What somebody finds who looks up what is due today."""
    day = local_day(at, setting.zone)
    evening = instant(day + DAY, time(0), setting.zone)
    for state in ProbeState.objects.filter(due_at__lt=evening).select_related("probe").order_by("probe"):
        life = lives[state.probe.code]
        if _is_looked_at(life, day, at):
            _meet(life, state, day)


def _is_looked_at(life: Life, day: date, at: datetime) -> bool:
    setting, site = life.setting, life.site_at(at)
    if day < life.left_until or not setting.works(site, day) or not life.in_use(at) or life.story.kind == "new":
        return False
    if day >= setting.today - DAY * life.story.behaviour.get("forgotten", -1):
        return False
    return site != next(iter(setting.stories)) or day < day_of_checks(setting, site)


def _meet(life: Life, state: ProbeState, day: date) -> None:
    """It is checked, today or tomorrow; or never; or somebody says why not."""
    setting = life.setting
    fate = Random(f"{life.story.code} {day - setting.today}").random()
    at = _time(life, state, day)
    if day >= setting.today - DAY * STEADY or state.last_check_id is None:
        fate = 1
    if _is_due_ago(life, day, "entered_late") and not life.typed_in_late:
        _type_in_late(life, at, day)
    elif _is_due_ago(life, day, "kept_on_phone") and not life.kept_on_phone:
        life.kept_on_phone = True
        life.agenda.put(at + IN_THE_CELLAR, lambda sent: _send(life, at, sent))
    elif fate < EXCUSED:
        life.left_until = _next_asked(life, instant(day + DAY, time(0), setting.zone))
        if fate > NEVER:
            life.agenda.put(at + timedelta(hours=3), lambda told: _excuse(life, told))
    elif fate < LATE:
        life.left_until = day + DAY
    else:
        life.agenda.put(at, lambda at: _check(life, at))


def _next_asked(life: Life, evening: datetime) -> date:
    """The day for which it is asked for again."""
    later = Reminder.objects.filter(probe=life.probe, due_at__gte=evening, cancelled_at=None)
    return local_day(later.earliest("due_at").due_at, life.setting.zone)


def _time(life: Life, state: ProbeState, day: date) -> datetime:
    start = max(state.due_at, instant(day, FIRST, life.setting.zone))
    return start.replace(second=0, microsecond=0) + timedelta(minutes=life.chance.randrange(2, 40))


def _is_due_ago(life: Life, day: date, what: str) -> bool:
    told = life.story.behaviour.get(what)
    return told is not None and day >= life.setting.today - DAY * told


def _send(life: Life, at: datetime, sent: datetime) -> None:
    """Made where there is no network, with a phone whose clock was a little ahead; sent from upstairs."""
    phone = PhoneTime(at=at + AHEAD, off=AHEAD, off_now=AHEAD)
    check(life, at, entered=Entered(sent, phone), note="Made in the cellar, without network.")


def _type_in_late(life: Life, at: datetime, day: date) -> None:
    """Made in the morning and kept on paper; nobody finds time for the book before."""
    life.typed_in_late, life.left_until = True, day + 3 * DAY
    note = "Written on paper first."
    life.agenda.put(at + TYPED_IN_LATER, lambda entered: check(life, at, entered=Entered(entered), note=note))


def _check(life: Life, at: datetime) -> None:
    made = check(life, at)
    if boils(life.story, made.site.altitude_m, life.mornings):
        later = at + timedelta(minutes=25)
        life.agenda.put(later, lambda at: boil(life.probe, made.site, made.checked_by, life.instrument, at))
    life.mornings += 1


def _excuse(life: Life, at: datetime) -> None:
    """Of what was asked for today."""
    asked = still_open(Reminder.objects.filter(probe=life.probe, due_at__lte=at, closes_at__gt=at), at)
    if row := asked.order_by("due_at").last():
        excuse_reminder(by=life.setting.managers[life.story.site], reminder=row, reason=life.chance.choice(EXCUSES))
