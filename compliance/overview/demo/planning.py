"""When things are done in the invented business: hours, plans, rounds and holidays to come. They hold from today on."""

from datetime import date, time, timedelta

from compliance.checks.timeline import lock, recut
from compliance.plans.actions import set_round
from compliance.plans.calendar import local_day
from compliance.reminders import planning

from .setting import Setting

SCHOOL_DAYS = [(time(7), time(15, 30))] * 5 + [None, None]
EVERY_DAY = [(time(7), time(20))] * 7
ROUNDS = {
    "chill-store": {"times": [time(7, 30), time(14)]},
    "frozen-storage": {"times": [time(7, 30)]},
    "hot-holding": {"every_minutes": 120},
}
MONDAYS, MONDAYS_AND_THURSDAYS = 0b0000001, 0b0001001


def plan_ahead(setting: Setting) -> None:
    """Hours and rounds everywhere, weekday plans at the homes, a daily plan for one probe, school holidays to come."""
    for number, (name, story) in enumerate(setting.stories.items()):
        manager, site = setting.managers[name], setting.sites[name]
        planning.change_opening(by=manager, site=site, hours=EVERY_DAY if story.serves_daily else SCHOOL_DAYS)
        _rounds(setting, name, SCHOOL_DAYS if not story.serves_daily else EVERY_DAY)
        if story.serves_daily:
            planning.change_plan(
                by=manager, site=site, pattern="weekdays", weekdays=MONDAYS_AND_THURSDAYS if number % 2 else MONDAYS,
                before_service=True, reason="With the weekly cleaning.",
            )  # fmt: skip
    _one_daily(setting)
    _holidays(setting)
    for probe in setting.probes.values():
        recut(lock(probe))


def _rounds(setting: Setting, name: str, hours) -> None:
    open_days = sum(1 << position for position, day in enumerate(hours) if day)
    for code, told in ROUNDS.items():
        limit = setting.limits[name, code]
        set_round(by=setting.managers[name], limit=limit, weekdays=open_days, **told)


def _one_daily(setting: Setting) -> None:
    """The probe of a cook line, in heavy use."""
    story = next(story for story in setting.scenario.probes if story.use == "cook" and story.kind == "steady")
    planning.change_plan(by=setting.managers[story.site], probe=setting.probes[story.code], every_days=1, at=time(7))


def _holidays(setting: Setting) -> None:
    for name in _schools(setting):
        first = _monday_after(setting, name)
        planning.add_closure(
            by=setting.managers[name], site=setting.sites[name], first_day=first, last_day=first + timedelta(days=4),
            why="half-term holidays",
        )  # fmt: skip


def _schools(setting: Setting) -> list[str]:
    return [name for name, story in setting.stories.items() if not story.serves_daily]


def _monday_after(setting: Setting, name: str) -> date:
    """The Monday about three weeks ahead."""
    today = local_day(setting.now, setting.sites[name].zone)
    return today + timedelta(days=21 - today.weekday())
