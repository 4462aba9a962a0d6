"""Supervisors read and sign the weeks of their sites; one of them is behind."""

from contextlib import suppress
from datetime import time

from django.core.exceptions import ValidationError

from compliance.plans.calendar import DAY, instant
from compliance.reviews.actions import ReviewData, sign_review
from compliance.reviews.models import Meaning
from shared import clock

from .setting import Setting

WEEKS = (5, 4, 3, 2)  # ago
AFTERNOON = time(15, 20)


def review_weeks(setting: Setting) -> None:
    """On the Tuesday after. Where the supervisor made some of the records, or nothing was made, the week waits."""
    monday = setting.today - DAY * setting.today.weekday()
    behind = list(setting.sites)[-1]
    for ago in WEEKS:
        first = monday - 7 * DAY * ago
        week = ReviewData(first=first, last=first + 6 * DAY, meaning=Meaning.REVIEWED)
        with clock.pretend(instant(first + 8 * DAY, AFTERNOON, setting.zone)):
            for name, site in setting.sites.items():
                if ago > WEEKS[-1] or name != behind:
                    with suppress(ValidationError):
                        sign_review(by=setting.supervisor_of(name), site=site, data=week)
