"""Half a year of an invented business, made in one transaction by the actions that real people use."""

from datetime import datetime, timedelta

from django.db import transaction

from shared import clock

from .days import write_days
from .endings import act_on_deviations, close_cases, correct_some
from .lives import live
from .physics import DAYS
from .planning import plan_ahead
from .scenario import load_scenario
from .setting import Setting, build_setting


@transaction.atomic
def load_demo(now: datetime) -> Setting:
    """Make the whole demo, ending at `now`. Nothing is kept if a step fails."""
    begins = now - timedelta(days=DAYS)
    with clock.pretend(begins):
        setting = build_setting(load_scenario(), begins, now)
    lives = {story.code: live(setting, story, number) for number, story in enumerate(setting.scenario.probes)}
    write_days(setting, lives)
    act_on_deviations(setting)
    correct_some(setting)
    close_cases(setting, lives)
    plan_ahead(setting)
    return setting
