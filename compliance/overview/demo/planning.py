"""When things are done in the invented business: hours, plans, rounds and days off, from its beginning and as it goes on."""

from datetime import date, datetime, time, timedelta

from compliance.appliances.data import OutOfUseData
from compliance.plans.actions import set_round
from compliance.plans.calendar import DAY, local_day
from compliance.plans.data import ClosureData, PlanData, RoundData
from compliance.plans.queries import calendars
from compliance.reminders import planning

from .agenda import Agenda
from .setting import Setting

SCHOOL_DAYS = [(time(7), time(15, 30))] * 5 + [None, None]
EVERY_DAY = [(time(7), time(20))] * 7
ROUNDS = {
    "chill-store": {"times": [time(7, 30), time(15)]},
    "frozen-storage": {"times": [time(7, 30)]},
    "hot-holding": {"times": [time(12, 30)]},
}
AT_HOMES = ROUNDS | {"chill-store": {"every_minutes": 240}, "hot-holding": {"times": [time(12, 30), time(17, 30)]}}
# What each kitchen has, by the rule that it keeps to, and where it stands.
APPLIANCES = {
    "chill-store": (("Walk-in chiller", "back kitchen"), ("Dairy fridge", "beside the cold room")),
    "frozen-storage": (("Chest freezer", "dry store"),),
    "hot-holding": (("Hot cupboard", "serving counter"),),
}
DEFROSTED = 19  # days ago, the chest freezer of the first home
MONDAYS, MONDAYS_AND_THURSDAYS = 0b0000001, 0b0001001
# Weeks from this one, and how many of them.
HOLIDAYS = ((-20, 2, "end of term"), (-10, 1, "half-term holidays"), (3, 1, "half-term holidays"))
FLOOR_LAID, CALLED_OFF = 33, 47  # days ago
SOONER = {"CO-2": 55}  # days ago, of a probe in heavy use


def plan_from_the_start(setting: Setting) -> None:
    """Hours, days off and rounds everywhere, a plan for the business and for each home, before there are probes."""
    for name, story in setting.stories.items():
        manager, site = setting.managers[name], setting.sites[name]
        planning.change_opening(by=manager, site=site, hours=EVERY_DAY if story.serves_daily else SCHOOL_DAYS)
        _name_appliances(setting, name)
        _rounds(
            setting, name, AT_HOMES if story.serves_daily else ROUNDS, EVERY_DAY if story.serves_daily else SCHOOL_DAYS
        )
        if not story.serves_daily:
            _holidays(setting, name)
    _days_off_at_homes(setting)
    setting.calendars = _calendars(setting)
    _plans(setting)


def _calendars(setting: Setting):
    by_site = calendars(setting.sites.values())
    return {name: by_site[site.pk] for name, site in setting.sites.items()}


def _name_appliances(setting: Setting, name: str) -> None:
    for code, told in APPLIANCES.items():
        for called, place in told:
            setting.appliances[name, called] = planning.add_appliance(
                by=setting.managers[name], limit=setting.limits[name, code], name=called, place=place
            )


def _rounds(setting: Setting, name: str, rounds: dict, hours) -> None:
    open_days = sum(1 << position for position, day in enumerate(hours) if day)
    for code, told in rounds.items():
        limit = setting.limits[name, code]
        set_round(by=setting.managers[name], limit=limit, data=RoundData(weekdays=open_days, **told))


def _holidays(setting: Setting, name: str) -> None:
    monday = setting.today - DAY * setting.today.weekday()
    for ahead, weeks, why in HOLIDAYS:
        if (first := monday + 7 * DAY * ahead) < local_day(setting.begins, setting.zone):
            continue
        planning.add_closure(
            by=setting.managers[name],
            data=ClosureData(
                site=setting.sites[name], first_day=first, last_day=first + DAY * (7 * weeks - 3), why=why
            ),
        )


def _days_off_at_homes(setting: Setting) -> None:
    """One day on which a floor was laid, and one that was called off."""
    laid, called_off = [name for name, story in setting.stories.items() if story.serves_daily][1:3]
    _day_off(setting, laid, FLOOR_LAID, "new kitchen floor; meals from the home next door")
    closure = _day_off(setting, called_off, CALLED_OFF, "work on the gas main")
    planning.strike_closure(
        by=setting.managers[called_off], closure=closure, reason="The work on the gas main was put off."
    )


def _day_off(setting: Setting, name: str, days_ago: int, why: str):
    day = setting.today - DAY * days_ago
    return planning.add_closure(
        by=setting.managers[name], data=ClosureData(site=setting.sites[name], first_day=day, last_day=day, why=why)
    )


def _plans(setting: Setting) -> None:
    """The business has its checks made before service; the homes with their cleaning; one school on the day of today."""
    head = setting.head
    planning.change_plan(by=head, data=PlanData(business=setting.business, every_days=7, before_service=True))
    for number, (name, story) in enumerate(setting.stories.items()):
        if story.serves_daily:
            days = MONDAYS_AND_THURSDAYS if number % 4 == 1 else MONDAYS
            _on_weekdays(setting, name, days, "With the weekly cleaning.")
    name = next(iter(setting.stories))
    _on_weekdays(setting, name, 1 << day_of_checks(setting, name).weekday(), "When all probes are in the kitchen.")


def day_of_checks(setting: Setting, name: str) -> date:
    """Today, or the next day on which the site works: so there is something to do there whenever the demo is made."""
    return setting.calendars[name].next_open(setting.today)


def _on_weekdays(setting: Setting, name: str, weekdays: int, reason: str) -> None:
    planning.change_plan(
        by=setting.managers[name],
        data=PlanData(
            site=setting.sites[name], pattern="weekdays", weekdays=weekdays, before_service=True, reason=reason
        ),
    )


def put_changes(setting: Setting, agenda: Agenda) -> None:
    """What changes on the way; and due times looked up further ahead, once a week."""
    for code, days_ago in SOONER.items():
        site = next(story.site for story in setting.scenario.probes if story.code == code)
        agenda.put(setting.moment(site, days_ago, time(10, 15)), lambda at, code=code: _every_day(setting, code))
    high = [name for name, story in setting.stories.items() if story.serves_daily and story.altitude_m > 300]
    for name in high:
        half_way = setting.moment(name, setting.days // 2, time(15, 40))
        agenda.put(half_way, lambda at, name=name: _thermistors_sooner(setting, name))
    home = next(name for name, story in setting.stories.items() if story.serves_daily)
    agenda.put(setting.moment(home, DEFROSTED, time(6, 50)), lambda at: _defrost(setting, home, at))
    for week in range(setting.days // 7 + 1):
        agenda.put(setting.begins + 7 * DAY * week, planning.extend_horizon)


def _defrost(setting: Setting, name: str, at: datetime) -> None:
    data = OutOfUseData(why="defrosting", ends_at=at + timedelta(hours=30))
    freezer = setting.appliances[name, "Chest freezer"]
    setting.out_of_use.append(planning.take_out_of_use(by=setting.cooks[name], appliance=freezer, data=data))


def _every_day(setting: Setting, code: str) -> None:
    probe = setting.probes[code]
    by = next(setting.managers[story.site] for story in setting.scenario.probes if story.code == code)
    planning.change_plan(
        by=by, data=PlanData(probe=probe, every_days=1, at=time(7), reason="In use for every hot meal.")
    )


def _thermistors_sooner(setting: Setting, name: str) -> None:
    planning.change_plan(
        by=setting.managers[name],
        data=PlanData(
            site=setting.sites[name],
            sensor="thermistor",
            every_days=3,
            before_service=True,
            reason="One of them drifted.",
        ),
    )
