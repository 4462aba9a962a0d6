"""One reading with all that is known about it."""

from dataclasses import replace
from datetime import timedelta

from django.urls import reverse
from django.utils import timezone

from compliance.checks.fitness import Fitness, fitness_of
from compliance.checks.kinds import kind_of, wanted_check
from compliance.checks.models import Span, Standing
from compliance.checks.queries import is_late, is_let_be
from compliance.limits.wording import demand
from shared.phone_time import phone_words
from shared.time_text import duration, zoned_moment
from shared.units import Unit, show
from sites.access import role_at
from sites.addresses import address
from sites.models import Role
from sites.names import Name

from ..limit_evaluation import beginning, breach
from ..models import Reading
from ..queries import MADE_AT_THE_TIME, fit_probes, open_deviations, span_of, track_of, trail_of
from ..wording import ACTS, verdict_of, why_standing
from ..worth import ReadingWorth, first_words

NOT_RECORDED = "not recorded"
SAME_FOOD = timedelta(hours=12)  # in which somebody may still measure what was measured; judgement


def detail_of(request, reading: Reading) -> dict:
    """Everything that the page of a reading shows, decided."""
    span, role = span_of(reading), role_at(request.user, reading.site) or 0
    void, deviation = getattr(reading, "void", None), getattr(reading, "deviation", None)
    why = breach(reading.limit_version, reading.value_milli, reading.hold_s, reading.since_start_s)
    now = timezone.now()
    seen, others = seen_now(reading, span, now)
    return {
        "reading": reading,
        "site": reading.site_then,
        "void": void,
        "deviation": deviation,
        "verdict": first_words(seen, verdict_of(reading, why)),
        "usual_action": reading.limit_version.usual_action if why else "",
        "settled": bool(deviation) and not open_deviations([reading.site_id]).filter(pk=deviation.pk).exists(),
        "standing": seen.standing,
        "standing_why": seen.standing_why,
        "doubts": track_of(reading.probe).doubts(reading.value_milli, reading.site_id, reading.taken_at),
        "facts": facts_of(reading),
        "before": earlier(reading),
        "trail": told_trail(reading),
        "late": is_late(reading.taken_at, reading.recorded_at, MADE_AT_THE_TIME),
        "corrects": role >= Role.COOK and void is None,
        "voids": role >= Role.MANAGER and void is None,
        "acts": role >= Role.MANAGER,
        "records": role >= Role.COOK,
        "brackets": brackets_of(span, reading.site.zone) if void is None else [],
        **links_of(reading, span, seen, others),
    }


def brackets_of(span: Span | None, zone) -> list[dict]:
    """The checks on both sides of a reading, with where each is told, its bath and its budget."""
    sides = (("The check before", span.behind), ("The check after", span.ahead)) if span else ()
    return [
        {
            "side": side,
            "check": check,
            "at": zoned_moment(check.checked_at, zone),
            "url": (url := reverse("check_detail", args=[check.pk])),
            "bath_url": f"{url}?figures=open#bath" if kind_of(check).guidance else None,
            "budget_url": f"{url}?figures=open#budget" if check.budget.get("components") else None,
        }
        for side, check in sides
        if check
    ]


def seen_now(reading: Reading, span, now) -> tuple[ReadingWorth, list]:
    """The reading as its page shows it, and the probes to measure again with where that is wanted and still possible."""
    probe, zone = reading.probe, reading.site.zone
    found = fitness_of([probe.pk], reading.taken_at)[probe.pk]
    standing = span.standing if span else Standing.UNPROVEN.value
    seen = ReadingWorth(
        probe=probe.code,
        standing=standing,
        standing_why=why_standing(span, reading.probe_then.code, zone),
        fitness=found.state,
        why=found.why(zone, now),
        entered=reading.fitness,
    )
    if seen.stands or now - reading.recorded_at > SAME_FOOD:
        return seen, []
    others = fit_probes(reading.site, reading.limit_version.limit_id, now, but=probe.pk)
    return replace(seen, others=[other.code for other in others]), others


def check_url(reading: Reading) -> str | None:
    """Where its probe is checked as it is asked for now; None where no check is asked for while withdrawn, or it is elsewhere."""
    probe = reading.probe
    if is_let_be(probe) or probe.site_id != reading.site_id:
        return None
    return address(wanted_check(getattr(probe, "state", None)).address, probe.pk)


def links_of(reading: Reading, span, seen: ReadingWorth, others: list) -> dict:
    probe = others[0] if others else reading.probe
    of = f"&appliance={reading.appliance_id}" if reading.appliance_id else ""
    again = f"?site={reading.site_id}&probe={probe.pk}&limit={reading.limit_version.limit_id}{of}"
    return {
        "next_url": f"{reverse('reading_add')}{again}",
        "check_url": check_url(reading) if seen.others is not None else None,
        "next_label": f"Measure again with {probe}" if others else "Take another reading",
        "probe_url": address("probe_detail", reading.probe_id),
        "case_url": address("case_detail", span.anchor.replace(":", "-")) if span and span.anchor else None,
    }


def facts_of(reading: Reading) -> list[tuple[str, object]]:
    version, zone = reading.limit_version, reading.site.zone
    facts = [
        *_appliance_facts(reading),
        ("Food or unit", reading.item),
        ("Reading", f"{reading.typed} {Unit(reading.unit).label}"),
        ("Limit", f"{version.limit.title}: {demand(version)}"),
        ("Source", f"{version.source} {version.edition}".strip()),
        ("Probe", reading.probe_then.code),
        ("Taken", zoned_moment(reading.taken_at, zone)),
        ("Taken by", in_full(reading.name_of("taken_by"))),
    ]
    values = 2 + bool(reading.appliance)
    if reading.unit != (unit := reading.site_then.unit):
        facts.insert(values, ("In the unit of the site", show(reading.value_milli, unit)))
    if reading.hold_s is not None or reading.lacks_hold:
        facts.insert(values, ("Held for", NOT_RECORDED if reading.lacks_hold else duration(reading.hold_s) or "0 s"))
    if reading.since_start_s is not None:
        facts.insert(values, (f"Since {beginning(version)} began", duration(reading.since_start_s) or "0 s"))
    if reading.fitness not in ("", Fitness.OK):
        facts.insert(-2, ("The probe when this was entered", reading.get_fitness_display()))
    if reading.used_despite:
        facts.insert(-2, ("Used all the same, because", reading.used_despite))
    if reading.note:
        facts.append(("Note", reading.note))
    if reading.phone:
        facts.append(("Typed on a phone without network", phone_words(reading.phone, zone)))
    facts.append(("Entered", f"{zoned_moment(reading.recorded_at, zone)} by {reading.name_of()}"))
    return facts


def _appliance_facts(reading: Reading) -> list[tuple[str, str]]:
    if reading.appliance is None:
        return []
    then = reading.appliance.named_at(reading.taken_at)
    return [("Appliance", f"{then}, {then.place}" if then.place else str(then))]


def in_full(name: Name) -> str:
    return f"{name} ({name.initials})"


def earlier(reading: Reading) -> list[dict]:
    """The entries that this one replaced, the latest first, each with who struck it out and why."""
    found, current = [], reading
    while getattr(current, "corrects", None) is not None:
        void = current.corrects
        found.append(
            {"reading": void.voids, "void": void, "value": f"{void.voids.typed} {Unit(void.voids.unit).label}"}
        )
        current = void.voids
    return found


def told_trail(reading: Reading) -> list[dict]:
    zone = reading.site.zone
    return [
        {
            "at": zoned_moment(entry.at, zone),
            "who": f"{entry.actor}, on {device}," if (device := entry.data.get("device")) else entry.actor,
            "did": ACTS.get(entry.action, entry.action),
            "reason": entry.reason,
        }
        for entry in trail_of(reading)
    ]
