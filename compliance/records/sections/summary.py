"""The first page: what was planned and what became of it, what failed, what is in doubt; each with the page that tells more."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from itertools import chain

from compliance.checks.models import Standing
from compliance.limits.models import Limit
from compliance.plans.queries import InForce, rounds_in_force
from compliance.readings.models import Disposition
from compliance.reviews.wording import in_words as reviews_in_words
from shared.plurals import plural
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import day_words

from ..check_history import plans_of
from ..planned_counts import DONE, LATE, MISSED, count_planned, in_words
from ..scope import RecordScope
from ..summary_counts import (
    CheckCount,
    bursts_here,
    count_cases,
    count_checks,
    count_deviations,
    count_readings,
    named,
    titles,
)
from .reviews import HEADING as REVIEWS
from .reviews import days_reviewed

COLUMNS = [
    Column("In the period", points=118),
    Column("What is recorded", share=1, links=True),
    Column("More", points=30, align="right", page=True),
]
PLANS, PLANNED, PROBES, FAILED = (
    "Days of work and plans of checks",
    "Planned and done",
    "Probes and their checks",
    "Checks that did not pass, in full",
)
READINGS, DEVIATIONS, CASES = "Readings", "Deviations and what was done", "Cases of quarantine and decisions"


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Summary")
    writer.table(COLUMNS, chain(*(part(scope) for part in PARTS)))


def _plans(scope: RecordScope) -> Iterator[Row]:
    yield Row(("HACCP plan", "Its version, who approved it and when it was last reviewed: not recorded here.", ""))
    yield Row(("Plan of checks", "\n".join(check_plans(scope)), PLANS))
    yield Row(("Plan of readings", "\n".join(_rounds(scope)), "Limits in force"))


def check_plans(scope: RecordScope) -> Iterator[str]:
    """The plans in force at the end of the period, and for which probes."""
    plans, codes, found = plans_of(scope), defaultdict(list), {}
    for here in scope.probes:
        plan = plans.in_force(here.probe)
        key = plan.plan.key, plan.source
        found[key] = plan
        codes[key].append(here.probe.code)
    for key, plan in found.items():
        whose = named(codes[key]) if len(found) > 1 else "all probes here"
        yield f"{_origin(plan, scope)} For {whose}."
    if not found:
        yield "No probe was here in the period, so no check was planned."


def _origin(plan: InForce, scope: RecordScope) -> str:
    told = f"{plan.plan.told[0].upper()}{plan.plan.told[1:]}"
    if plan.record is None:
        return f"{told}: {plan.source}; nobody has set another."
    since, by = day_words(plan.record.effective_from), scope.people.full_of(plan.record)
    return f"{told}, in force since {since}, set by {by}: {plan.source}."


def _rounds(scope: RecordScope) -> Iterator[str]:
    """The rounds in force at the end of the period, those at equal times together."""
    limits = {limit.pk: limit for limit in Limit.objects.filter(site=scope.site)}
    by_start = defaultdict(list)
    for pk, each in sorted(rounds_in_force(limits.values(), scope.last).items()):
        by_start[each.effective_from, scope.people.full_of(each)].append(f"{limits[pk].title} {each.usual}")
    for (since, by), told in by_start.items():
        yield f"{'; '.join(told)}. In force since {day_words(since)}, set by {by}."
    if not by_start:
        yield "No round of readings was in force at the end of the period."


def _checks(scope: RecordScope) -> Iterator[Row]:
    became = count_planned(scope).became(checks=True)
    told = _planned(became, "check") or scope.none("No check fell due in the period.")
    yield Row(("Checks planned", told, PLANNED), strong=_missed(became))
    checks = count_checks(scope)
    if not (checks.made or checks.void):
        yield Row(("Checks made", scope.none("None in the period."), PROBES), strong=bool(scope.probes))
        return
    lines = [f"{plural(checks.made, 'check')}: {len(checks.passed):,} passed, {_some('failed', checks.failed)}"]
    lines[0] += f", {_some('inconclusive', checks.inconclusive)}."
    lines += [f"{label}: {named(which)}." for label, which in _remarks(checks) if which]
    lines += [f"{plural(checks.void, 'check')} void, not counted above."] * bool(checks.void)
    yield Row(("Checks made", " ".join(lines), FAILED), strong=bool(checks.failed or checks.void_failures))


def _remarks(checks: CheckCount) -> Iterator[tuple[str, list[str]]]:
    yield "Failed, without a figure", checks.without_figure
    yield "Failed, and struck out since", checks.void_failures
    yield "Made after the day they were due", checks.late


def _planned(became: Counter, noun: str) -> str:
    """Such as “9 checks: 8 done, 1 missed.”; empty where nothing fell due."""
    if not became:
        return ""
    late = f", {became[LATE]:,} of them late" if became[LATE] else ""
    rest = Counter({word: number for word, number in became.items() if word not in (DONE, LATE)})
    return f"{plural(became.total(), noun)}: {became[DONE] + became[LATE]:,} done{late}, {_rest(rest)}."


def _rest(rest: Counter) -> str:
    return ", ".join(filter(None, ("" if rest["missed"] else "0 missed", in_words(rest))))


def _some(word: str, which: list[str]) -> str:
    return f"{len(which):,} {word}" + (f" ({named(which)})" if which else "")


def _missed(became: Counter) -> bool:
    return any(became[word] for word in MISSED)


def _readings(scope: RecordScope) -> Iterator[Row]:
    planned, readings = count_planned(scope), count_readings(scope)
    became = planned.became(checks=False)
    told = _planned(became, "reading") or scope.none("No round of readings fell due in the period.")
    if planned.doubted:
        told += f" {planned.doubted:,} of these not done: taken, with a probe that was not to be relied on."
    yield Row(("Readings planned", told, PLANNED), strong=_missed(became))
    if not (readings.taken or readings.void):
        yield Row(("Readings taken", scope.none("None in the period."), READINGS), strong=True)
        return
    lines = [f"{plural(readings.taken, 'reading')}; {readings.late:,} entered late; {readings.void:,} void."]
    lines += [f"Time at temperature, or since the start, not recorded: {readings.untimed:,}."] * bool(readings.untimed)
    if together := len(bursts_here(scope)):
        lines.append(f"Entered at one go though of different times: {plural(together, 'time')}.")
    yield Row(("Readings taken", " ".join(lines), READINGS), strong=bool(readings.untimed or together))


def _deviations(scope: RecordScope) -> Iterator[Row]:
    count = count_deviations(scope)
    if count.total:
        yield Row(("Deviations, and the food", deviations_in_words(scope), DEVIATIONS), strong=True)
    else:
        yield Row(("Deviations, and the food", no_deviation(scope), DEVIATIONS))


def no_deviation(scope: RecordScope) -> str:
    """Where none was found: how far that can be told."""
    readings = count_readings(scope)
    if not readings.taken:
        return scope.none("No reading was taken in this period.")
    words = "No reading of the period failed to meet its limit."
    if readings.untimed:
        missing = plural(readings.untimed, "reading")
        words += (
            f" Of {missing} the limit asks for a time, and none is recorded, so that is not known to have been met."
        )
    return scope.none(words)


def deviations_in_words(scope: RecordScope) -> str:
    """How many of the readings of the period did not meet their limit, and what became of the food."""
    count = count_deviations(scope)
    food = [f"{number:,} {Disposition(fate).label}" for fate, number in count.food.most_common()]
    food += [f"{count.open:,} open, nothing recorded yet about what was done"] * bool(count.open)
    return f"{plural(count.total, 'deviation')}: {'; '.join(food)}."


def _doubt(scope: RecordScope) -> Iterator[Row]:
    readings, cases = count_readings(scope), count_cases(scope)
    if readings.taken:
        told = ", ".join(f"{readings.by_standing[s]:,} {s.label}" for s in Standing) + "."
        yield Row(("What the readings are worth", told, READINGS), strong=bool(readings.by_standing[Standing.UNPROVEN]))
    if cases.total:
        states = {"open": "to decide on", "to_sign": "decided, not signed", "signed": "signed"}
        told = ", ".join(f"{len(of):,} {states[state]} ({titles(of)})" for state, of in cases.by_state.items())
        words = f"{plural(cases.total, 'case')}: {told}. Of {plural(cases.readings, 'reading')} in them "
        words += f"{cases.readings - cases.undecided:,} decided, {cases.undecided:,} still to decide on."
        yield Row(("Readings in doubt", words, CASES), strong=bool(cases.undecided))
    elif readings.taken:
        yield Row(("Readings in doubt", "No case of quarantine touches the period.", CASES))
    yield from _used(scope)


def _used(scope: RecordScope) -> Iterator[Row]:
    readings = count_readings(scope)
    codes = {here.probe.pk: here.probe.code for here in scope.probes}
    used = [f"{plural(number, 'reading')} with {codes[pk]}" for pk, number in readings.after_failure.most_common()]
    lines = [f"{', '.join(used)}."] if used else []
    if readings.not_to_be_used or readings.to_check_first:
        lines.append(
            f"When they were entered, {readings.not_to_be_used:,} with a probe not to be used, "
            f"{readings.to_check_first:,} with one to be checked first."
        )
    if readings.taken:
        yield Row(
            (
                "Used after failing",
                " ".join(lines) or "No reading was taken with a probe after it had failed.",
                READINGS,
            ),
            strong=bool(used),
        )


def _reviews(scope: RecordScope) -> Iterator[Row]:
    days = days_reviewed(scope)
    told = reviews_in_words(days) or scope.none("No day was to be reviewed.")
    yield Row(("Reviewed by a second person", told, REVIEWS), strong=any(each.asks and each.late for each in days))


PARTS = (_plans, _checks, _readings, _deviations, _doubt, _reviews)
