"""Half a year (or less) of an invented business, made in one transaction by the actions that real people use."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from compliance.plans.calendar import DAY, instant, local_day
from compliance.reminders.planning import extend_horizon, settle_all
from shared import clock
from shared.audit import trail

from .agenda import Agenda
from .days import write_days
from .endings import act_on_deviations, close_cases, correct_some, excuse_readings
from .lives import Life, live
from .mornings import put_mornings
from .planning import plan_from_the_start, put_changes
from .reviewing import review_weeks
from .scenario import DAYS, load_scenario
from .setting import Setting, build_setting

DAWN = time(5)
JUST_NOW = timedelta(minutes=10)  # in which nothing new was done


@trail.together()
def load_demo(now: datetime, days: int = DAYS) -> Setting:
    """Make the demo, ending at `now`; of fewer days it begins later. Nothing is kept if a step fails."""
    scenario = load_scenario()
    zone = ZoneInfo(scenario.time_zone)
    begins = instant(local_day(now, zone) - DAY * days, DAWN, zone)
    with clock.pretend(begins):
        setting = build_setting(scenario, begins, now)
        plan_from_the_start(setting)
        settle_all()
    lives = _live(setting)
    write_days(setting, lives)
    trail.adopt(setting.business)
    act_on_deviations(setting)
    correct_some(setting)
    close_cases(setting, lives)
    extend_horizon(now)
    excuse_readings(setting)
    review_weeks(setting)
    return setting


def _live(setting: Setting) -> dict[str, Life]:
    """Every act of the half-year in the order of its time."""
    agenda = Agenda(setting.now - JUST_NOW)
    stories = enumerate(setting.scenario.probes)
    lives = {story.code: live(setting, story, number, agenda) for number, story in stories}
    put_changes(setting, agenda)
    put_mornings(setting, lives, agenda)
    agenda.run()
    return lives
