"""A recorded check in words and figures for its page: the verdict first, what to do next, the rest one tap away."""

from django.db.models import Max
from django.urls import reverse
from django.utils.html import format_html

from compliance.metrology.vocabulary import Verdict
from shared.phone_time import phone_words
from shared.templatetags.noughtbook import when
from shared.time_text import stopwatch, styled
from shared.unit_text import in_unit
from shared.units import Unit, show, show_error, show_spread
from sites.addresses import address

from .budget import chance_wrong, lines_of, rule_in_words, totals_of
from .draft_numbers import TAKEN_BACK, TIMED_AGAIN, Moved, shown
from .evaluation import Typed
from .failed_page import in_doubt, others_in_the_ice, without_salt
from .guide import struck_in_words
from .kinds import Guidance, kind_of, of_the_same_points, wanted_check
from .models import END, Check, ProbeState, Span, Stage, Standing
from .pictures import SettlingCourse, settling_svg
from .queries import is_near_edge, not_cleared, passed_near_edge, run_of
from .surroundings import told as told_air
from .tables import off_by, remarks_of

NOT_YET = "Do not use it yet"
OLD = "This is not its last check"
SOON = "Check it again soon"


def told(check: Check) -> dict:
    """The context of the page."""
    void = getattr(check, "void", None)
    following = None if void else next_steps(check)
    headline = _headline(check, following["heading"] if following else "")
    why, figures = sentences(check)
    failed = check.verdict == Verdict.OUT_OF_TOLERANCE and not void
    why, salt = without_salt(why) if failed else (why, [])
    kind = kind_of(check)
    return {
        "check": check,
        "probe": check.probe,
        "site": check.site,
        "void": void,
        "remarks": remarks_of(check),
        "title": kind.title.format(check.probe),
        "headline": headline,
        "why": why,
        "salt": salt,
        "lead": in_doubt(check) if failed else "",
        "others": others_in_the_ice(check) if failed else "",
        "figures": figures,
        "totals": totals_of(check),
        "rule": rule_in_words(check),
        "next": following,
        "facts": _facts(check),
        "picture": _picture(check),
        "budget": lines_of(check),
        "bath": preparation_of(check),
        "taken": _taken(check),
        "mistyped": mistyped_of(check),
        "typing": typing_of(check),
        "tries": [*struck_of(check), *begun_before(check)],
        "sources": kind.sources,
        "picture_caption": f"What the display showed over time, {kind.guidance.words.inside}." if kind.guided else "",
    }


def _headline(check: Check, following: str) -> str:
    """The verdict in a sentence. What was stored speaks of the day of the check: it must not clear a probe today."""
    stored = stored_verdict(check)
    if check.verdict != Verdict.IN_TOLERANCE:
        return stored
    if not kind_of(check).may_clear:
        return kind_of(check).near_edge if is_near_edge(check) else stored
    if following == NOT_YET:
        return "In tolerance where it was checked, but do not use it yet."
    if not_cleared([check]):
        return "In tolerance where it was checked, but it did not clear the probe: a check away from zero had failed."
    near = is_near_edge(check)
    if following in ("", OLD):
        return f"In tolerance when it was checked{', but near the edge' if near else ''}."
    return kind_of(check).near_edge if near else stored


def sentences(check: Check) -> tuple[list[str], list[str]]:
    """What follows the verdict, and the figures in words, in the unit of the site."""
    unit = check.site.unit
    return [in_unit(line, unit) for line in check.why[1:]], [in_unit(line, unit) for line in check.figures]


def stored_verdict(check: Check) -> str:
    """The verdict in a sentence as it was given on the day of the check, in the unit of the site."""
    return in_unit((check.why or [check.get_verdict_display().capitalize()])[0], check.site.unit)


def shown_in(check: Check) -> str:
    """The figure of the verdict in the site's own unit."""
    unit = check.site.unit
    if check.error_milli is None:
        return f"It gave no figure: {check.get_no_figure_display()}." if check.no_figure else "It gave no figure."
    return f"It is off by {show_error(check.error_milli, unit)}, where {show_spread(check.tolerance_milli, unit, 1)} is allowed."


def next_steps(check: Check) -> dict:
    """What whoever holds the probe does now: a heading, steps, and the way to the readings in doubt."""
    state, kind = getattr(check.probe, "state", None), kind_of(check)
    run = run_of(check)
    case = address("case_detail", run.replace(":", "-")) if run else None
    if state and state.last_check_id != check.pk and _superseded(check):
        steps = ("What it is worth now is told by its last check: see the probe.",)
        return {"tone": "info", "heading": OLD, "steps": steps, "case_url": case}
    again = {"again_url": reverse((kind.guidance or wanted_check(state)).address, args=[check.probe_id])}
    if check.verdict == Verdict.OUT_OF_TOLERANCE:
        return {"tone": "bad", "heading": "What to do now", "steps": _after_failure(check), "case_url": case} | again
    if check.verdict == Verdict.INCONCLUSIVE:
        typing = check.typing or {}
        showed = typing.get("showed")
        steps = (
            *([f"Do not use the probe until it has passed a check: it showed {showed}."] if showed else []),
            "This check neither clears the probe nor condemns it.",
            "Check it again." if "unfinished" in typing else "Put right what is said above and check again.",
        )
        return {"tone": "caution", "heading": "Check again", "steps": steps, "case_url": None} | again
    steps = list(kind.afterwards)
    if check.stage == Stage.AS_LEFT:
        steps.append("It vouches for what is read from now on. It says nothing of what was read before the adjustment.")
    if is_near_edge(check):
        earlier = " Its next check falls due earlier." if passed_near_edge(check) else ""
        steps.insert(0, f"It is near the edge of its tolerance: check it again soon.{earlier}")
    if state and (missing := _not_yet(check, state)):
        return {"tone": "caution", "heading": NOT_YET, "steps": [missing, *steps], "case_url": case}
    if is_near_edge(check):
        return {"tone": "caution", "heading": SOON, "steps": steps, "case_url": case} | again
    return {"tone": "good", "heading": kind.passed_heading, "steps": steps, "case_url": case}


def _not_yet(check: Check, state: ProbeState) -> str:
    """What a good check leaves open, of those that say on their own that the probe may be used."""
    if not kind_of(check).may_clear or state.standing not in (Standing.QUARANTINED, Standing.UNPROVEN):
        return ""
    if state.standing == Standing.QUARANTINED and Span.objects.filter(probe=check.probe_id, ends_at=END).exclude(
        doubt=None
    ):
        return "It failed a check away from zero, which no check at zero makes up for. Check it at boiling as well."
    return "No check at zero vouches for it now. Check it at zero as well."


def _superseded(check: Check) -> bool:
    """Whether a later check spoke of the same end of the scale; a certificate may speak of either."""
    later = Check.objects.live().filter(probe=check.probe_id, checked_at__gte=check.checked_at).exclude(pk=check.pk)
    return later.filter(kind__in=of_the_same_points(kind_of(check))).exists()


def _after_failure(check: Check) -> tuple[str, ...]:
    return (
        f"Stop using {check.probe}. Label it “Do not use” and keep it apart.",
        "Hold the food that was judged by this probe since its last good check until somebody has decided on it.",
        "After an adjustment or a repair check it again, as left.",
    )


def _facts(check: Check) -> list[tuple]:
    unit, zone = check.site.unit, check.site.zone
    facts = [
        ("Off by", off_by(check, unit)),
        ("What it showed", check.get_no_figure_display().capitalize()),
        ("Against", kind_of(check).against(check, unit)),
        ("Allowed", show_spread(check.tolerance_milli, unit, 1)),
        ("Chance that this verdict is wrong", chance_wrong(check)),
        ("Stage", check.get_stage_display()),
        ("Checked", when(check.checked_at, zone)),
        ("Where", check.site),
        ("By", check.name_of("checked_by")),
        ("Typed on a phone without network", phone_words(check.phone, zone)),
        ("Recorded", _recorded(check)),
        ("Laboratory", check.laboratory),
        ("Certificate", check.certificate_number),
        ("Note", check.note),
    ]
    return [(label, value) for label, value in facts if value]


def _recorded(check: Check) -> str:
    """Said where it was written down later, or by somebody else, than the check was made, and where a phone kept it."""
    if not check.phone and "late" not in remarks_of(check) and check.recorded_by_id == check.checked_by_id:
        return ""
    return format_html("{} by {}", when(check.recorded_at, check.site.zone), check.name_of())


def _picture(check: Check):
    readings = _readings(check)
    if not readings:
        return None
    settling = check.budget.get("settling", {})
    value = None if check.reading_milli is None else check.reading_milli / 1000
    residual = settling.get("residual") if value is not None else None
    course = SettlingCourse(value, residual, check.reference_milli)
    return settling_svg(check.probe, readings, kind_of(check), course, check.site.unit)


def _taken(check: Check) -> list[tuple]:
    return [(stopwatch(r.elapsed_ms / 1000), shown(r)) for r in _readings(check)]


def _readings(check: Check) -> list[Typed]:
    return [Typed(t.elapsed_ms, t.typed, t.unit, t.value_milli) for t in check.timed_readings.all()]


def mistyped_of(check: Check) -> dict[int, str]:
    """Readings that were probably mistyped, by their number in the order of time, each with the question that it raises."""
    return {s["number"]: s["sentence"] for s in check.budget.get("settling", {}).get("suspects", [])}


def typing_of(check: Check) -> list[str]:
    """Of the numbers typed: those taken back, which count for nothing, and what was answered when something was asked."""
    typing, who = check.typing or {}, check.name_of("checked_by")
    lines = [*struck_of(check), *begun_before(check)]
    if unit := typing.get("unit"):
        lines.append(f"Asked which unit the display shows, {who} answered {Unit(unit).label}.")
    if answer := typing.get("moved"):
        lines.append(f"The same number from the first on. Asked “Did you see it fall?”, {ANSWERED[answer].format(who)}")
    return lines


def struck_of(check: Check) -> list[str]:
    """The numbers typed in this check that count for nothing."""
    taken_back = (check.typing or {}).get("taken_back", [])
    kept = {why: [struck for struck in taken_back if struck["why"] == why] for why in STRUCK}
    return [f"{STRUCK[why]}: {', '.join(struck_in_words(struck))}." for why, struck in kept.items() if struck]


def begun_before(check: Check) -> list[str]:
    """The checks that were begun since the last one that was finished, and that nobody finished, with all their numbers."""
    if "unfinished" in (check.typing or {}):
        return []
    earlier = Check.objects.live().filter(probe=check.probe_id, kind=check.kind, checked_at__lt=check.checked_at)
    finished = earlier.filter(typing__unfinished__isnull=True).aggregate(at=Max("checked_at"))["at"]
    since = earlier.filter(checked_at__gt=finished) if finished else earlier
    return [_begun(each) for each in since.filter(typing__unfinished__isnull=False).order_by("checked_at", "pk")]


def _begun(check: Check) -> str:
    counted = [f"{text} (at {at})" for at, text in _taken(check)]
    numbers = ", ".join([*struck_in_words((check.typing or {}).get("taken_back", [])), *counted])
    at = styled(check.checked_at, check.site.zone, "short")
    return f"Begun before by {check.name_of('checked_by')}, {at}, and {check.typing['unfinished']}: {numbers}."


ANSWERED = {
    Moved.YES: "{} answered yes.",
    Moved.NO: "{} answered no: the display may have been held.",
    Moved.UNANSWERED: "nobody answered: the display may have been held.",
}
NOT_DONE, NOT_CONFIRMED, NOT_SETTLED, NOT_SEEN = "not done", "not confirmed", "not settled", "not seen"
STRUCK = {
    TAKEN_BACK: "Typed and taken back",
    TIMED_AGAIN: "Typed before the timing was started again",
}


def preparation_of(check: Check) -> dict | None:
    """The bath or the pan: how it was made, point by point, and the temperature that it stands for.

    Each point with what is wrong with it, if anything: left out, as somebody said, or not confirmed by anybody. `deep`: the
    same of its depth.
    """
    guidance = kind_of(check).guidance
    if guidance is None:
        return None
    done, left = check.preparation.get("points", []), check.preparation.get("left", [])
    way = check.preparation["kind"]
    lacking = {point: _lacking(point, done, left, guidance) for point in guidance.met}
    return {
        "heading": guidance.words.reference_heading,
        "kind": guidance.ways[way],
        "points": [(guidance.met[point], lacking[point]) for point in guidance.wanted.get(way, ())],
        "deep": next(words for point, words in lacking.items() if point == "immersed"),
        "why": [in_unit(line, check.site.unit) for line in check.budget.get("bath", {}).get("why", [])],
        "depth_label": guidance.words.depth,
        "depth": check.immersion_mm,
        "reference": show(check.reference_milli, check.site.unit, 2),
        "air": told_air(check.surroundings, check.site.unit) if check.surroundings else [],
    }


def _lacking(point: str, done: list[str], left: list[str], guidance: Guidance) -> str:
    """Nobody is asked whether it settled: its readings show that."""
    if point in done:
        return ""
    if point in left:
        return {guidance.waited: NOT_SETTLED, guidance.moved: NOT_SEEN}.get(point, NOT_DONE)
    return NOT_CONFIRMED
