"""What a reading's standing, limit and history are in words."""

from zoneinfo import ZoneInfo

from compliance.checks.models import Span, Standing
from compliance.limits.equivalence import is_equivalent
from compliance.limits.models import Direction, LimitVersion
from compliance.limits.wording import demand
from compliance.metrology.bracketing import Cause
from shared.time_text import duration, zoned_moment
from shared.units import show

from .limit_evaluation import beginning, on_its_way, reached_late
from .models import Reading

ACTS = {
    "reading.record": "recorded it",
    "reading.void": "struck it out",
    "reading.correct": "recorded it as a correction",
    "reading.replaced": "replaced it with a correction",
    "reading.import": "brought it in with a file",
    "deviation.act": "recorded what was done",
}

EQUIVALENT = (
    "That is by the strictest of the published equivalents of time and temperature, for germs without spores. Whether your plan "
    "lets one make up for the other is for a competent person to say."
)


def why_standing(span: Span | None, probe: str, zone: ZoneInfo) -> str:
    """One or two sentences that say why a reading is worth what it is worth."""
    if span is None or span.standing == Standing.UNPROVEN:
        return f"Nobody had shown that {probe} was right before this was taken. Check it at zero."
    behind = zoned_moment(span.behind.checked_at, zone) if span.behind else ""
    ahead = zoned_moment(span.ahead.checked_at, zone) if span.ahead else ""
    if span.standing == Standing.PROVEN:
        return f"{probe} was in tolerance at the check before, {behind}, and at the check after, {ahead}."
    if span.standing == Standing.PENDING:
        return f"{probe} was in tolerance at the check before, {behind}. Its next check proves this reading or puts it in doubt."
    doubt = f", {zoned_moment(span.doubt.checked_at, zone)}" if span.doubt else ""
    return _why_quarantined(span, probe, ahead, doubt)


def _why_quarantined(span: Span, probe: str, ahead: str, doubt: str) -> str:
    rest = "Do not rely on it until somebody decides on it in the case."
    causes = {
        Cause.FAILED_AHEAD: f"{probe} failed its next check, {ahead}.",
        Cause.USED_AFTER_FAILURE: f"{probe} had failed a check and was used before the next good one.",
        Cause.ALTERED_UNCHECKED: f"{probe} was adjusted, repaired or gone later without being checked first.",
        Cause.GONE_UNCHECKED: f"{probe} is gone and can never be checked again.",
        Cause.USED_AFTER_ALTERATION: f"{probe} had been adjusted, repaired or gone, and was used before the next good check.",
        Cause.FAR_FAILED_AHEAD: f"{probe} failed a check away from zero later{doubt}, which its checks at zero cannot see.",
        Cause.USED_AFTER_FAR_FAILURE: f"{probe} had failed a check away from zero{doubt}. Good checks at zero do not cure that.",
    }
    return f"{causes.get(span.cause, f'The checks of {probe} do not vouch for it.')} {rest}"


def limit_notes(version: LimitVersion) -> list[str]:
    """How to take a reading for a limit with a target or with times, in words."""
    notes = []
    if version.target_milli is not None:
        notes.append(f"Aim for {show(version.target_milli, version.unit)}: a target inside the limit.")
    if version.hold_s:
        notes.append(
            f"It must stay there for {duration(version.hold_s)}. Time it, and write down how long it was held."
        )
    if version.within_s:
        notes.append(
            f"It must be reached within {duration(version.within_s)} from the start. "
            "Read it when that time is up, or sooner if it is there already, and write down "
            f"how long ago {beginning(version)} began."
        )
    return notes


def verdict_of(reading: Reading, why: str) -> dict:
    """Whether the limit was met, as a callout."""
    version = reading.limit_version
    shown = show(reading.value_milli, version.unit)
    asked = f"The limit is {demand(version)}; this reads {shown}."
    if why:
        return not_met(reading, why)
    if version.hold_s and reading.hold_s is None:
        words = f"{asked} How long it was held is not written down."
        return {"tone": "caution", "heading": "Hot or cold enough, but the time is missing", "text": words}
    if version.within_s and (told := _timing(reading, asked)):
        return told
    if beyond_target(version, reading.value_milli):
        words = f"{asked} It is past the target of {show(version.target_milli, version.unit)}: act before it breaks the limit."
        return {"tone": "caution", "heading": "The limit is met, the target is not", "text": words}
    return {"tone": "good", "heading": "The limit is met", "text": asked}


def not_met(reading: Reading, why: str) -> dict:
    """How a limit that is not met is told of; time and temperature may make up for each other."""
    text = f"{why[0].upper()}{why[1:]}."
    if not is_equivalent(reading.limit_version, reading.value_milli, reading.hold_s):
        return {"tone": "bad", "heading": "The limit is not met", "text": text}
    told = f"{text} {EQUIVALENT}"
    return {"tone": "caution", "heading": "Not as the limit is written, but equivalent", "text": told}


def _timing(reading: Reading, asked: str) -> dict | None:
    """What a time within which a limit is to be reached makes of a reading that does not break it."""
    version, since = reading.limit_version, reading.since_start_s
    asked_within, began = duration(version.within_s), beginning(version)
    if since is None:
        words = f"{asked} How long ago {began} began is not written down."
        return {"tone": "caution", "heading": "Met, but the time is missing", "text": words}
    if on_its_way(version, reading.value_milli, since):
        left = duration(version.within_s - since)
        words = f"{asked} {left} of {asked_within} are left: read it again when they are up, or sooner if it is there."
        return {"tone": "caution", "heading": "On its way, not there yet", "text": words}
    if reached_late(version, reading.value_milli, since):
        late = f"It was read {duration(since)} after {began} began"
        words = f"{asked} {late}, so nobody knows whether it was there within {asked_within}."
        return {"tone": "caution", "heading": "Met, but perhaps too late", "text": words}
    return None


def beyond_target(version: LimitVersion, milli: int) -> bool:
    if version.target_milli is None:
        return False
    at_most = version.direction == Direction.AT_MOST
    return milli > version.target_milli if at_most else milli < version.target_milli
