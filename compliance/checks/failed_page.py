"""A failed check: what is in doubt by it, whether it is the probe or the ice, and what to take instead."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from compliance.probes.models import Probe
from shared.plurals import plural
from shared.time_text import styled

from .fitness import fitness_of
from .models import Check, Verdict
from .signals import doubt_wanted

SAME_BATH = timedelta(hours=4)  # within which the checks of one bath are looked for
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
SALT = "It would take about "  # how the measurement begins what it says of salt, in two sentences


@dataclass(frozen=True, slots=True)
class InDoubt:
    """The readings that a failed check puts in quarantine; `since` is None where no good check came before."""

    readings: int
    sites: int
    since: datetime | None


def in_doubt(check: Check) -> str:
    """What is in doubt, in a few words; empty where no floor above knows of readings."""
    found = next((doubt for _, doubt in doubt_wanted.send(Check, check=check) if doubt), None)
    if found is None:
        return ""
    since = (
        f" since {styled(found.since, check.site.zone, 'day')}" if found.since else ", with no good check before them"
    )
    if not found.readings:
        return f"In doubt: no reading was taken with it{since if found.since else ''}."
    where = f", at {plural(found.sites, 'site')}" if found.sites > 1 else ""
    return f"In doubt: {plural(found.readings, 'reading')}{since}{where}."


def others_in_the_ice(check: Check) -> str:
    """Whether other probes were right in the same ice, and what that says of this one; empty where none was in it."""
    bath = (check.typing or {}).get("bath")
    if bath is None:
        return ""
    near = (check.checked_at - SAME_BATH, check.checked_at + SAME_BATH)
    there = (
        Check.objects.live().filter(site=check.site_id, checked_at__range=near, typing__bath=bath).exclude(pk=check.pk)
    )
    verdicts = list(there.values_list("verdict", flat=True))
    right, wrong = (verdicts.count(verdict) for verdict in (Verdict.IN_TOLERANCE, Verdict.OUT_OF_TOLERANCE))
    others = f"{_word(right)} other{'s' if right > 1 else ''} in this ice {'were' if right > 1 else 'was'} right"
    if right and not wrong:
        return f"{others}: it is the probe."
    if wrong and not right:
        return f"All {wrong + 1} in this ice were wrong: it may be the ice. Make it anew and check again."
    return f"{others}, {wrong} more {'were' if wrong > 1 else 'was'} wrong too." if right else ""


def _word(number: int) -> str:
    return (NUMBERS[number] if number < len(NUMBERS) else str(number)).capitalize()


def fit_here(probe: Probe) -> list[Probe]:
    """The other probes of its site that are OK to use, by code."""
    others = Probe.objects.filter(site=probe.site_id, withdrawn=False).exclude(pk=probe.pk).order_by("code", "pk")
    judged = fitness_of([other.pk for other in others], timezone.now())
    return [other for other in others if judged[other.pk].ok]


def without_salt(why: list[str]) -> tuple[list[str], list[str]]:
    """What follows the verdict, and apart from it how much salt in the ice would explain it."""
    place = next((number for number, line in enumerate(why) if line.startswith(SALT)), len(why))
    return [*why[:place], *why[place + 2 :]], why[place : place + 2]
