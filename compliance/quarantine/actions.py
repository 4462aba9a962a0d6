"""What people do with a case: decide on readings, sign when none is left. Nothing is released by default."""

from dataclasses import dataclass, replace

from django.core.exceptions import ValidationError
from django.db import connection
from django.db.models import Count, Max, QuerySet

from compliance.checks.queries import sensor_of
from compliance.checks.timeline import lock
from compliance.metrology.vocabulary import Outcome
from compliance.readings.models import Reading
from shared import clock
from shared.audit import trail
from shared.audit.trail import action, note
from shared.plurals import plural
from shared.reasons import as_reason
from shared.stale_forms import refuse_newer
from sites.models import Site

from .assessing import DECISION, Selection, assessed_sql, page_of_ids
from .cases import Case, load_case
from .measured_again import Doubted, MeasuredAgain, Thing, each_by_its_own, look_up, name_of, refuse_unlike
from .models import Decision, Fate, Signature
from .queries import decisions_on, meaning_for

AT_ONCE = 300  # readings, of those that were measured again each by itself
NOT_AGAIN = (
    "None of these was measured again: no later reading of the same appliance or food under the same limit, within it and by a "
    "probe in tolerance, is in the record. Take it first, or decide in another way."
)

NEEDED = {
    Fate.EATEN: (
        ("risk", "Say how the risk was assessed."),
        ("told", "Say who was told, or that nobody needed to be."),
    ),
    Fate.RELEASED: (("evidence", "Say on what evidence it is released."),),
    Fate.DISCARDED: (("why", "Say what was discarded and how much."),),
    Fate.REWORKED: (("why", "Say how it was cooked on or reheated, and to what."),),
}


@dataclass(frozen=True, kw_only=True)
class DecisionData:
    """What is decided on readings, and on what it rests."""

    fate: str
    why: str = ""
    good_reading: Reading | None = None
    risk: str = ""
    told: str = ""
    evidence: str = ""


@action("case.decide")
def decide(
    *, by, case: Case, selection: Selection, data: DecisionData, after: int | None = None, most: int | None = None
) -> int:
    """Record one decision on each selected reading; a decision made before is replaced and stays readable.

    Where food was measured again and no reading is named, each reading has its own, and those that have none are left out.
    `after`: the newest decision on this probe that `by` was shown; `most`: how many readings there were. Gives how many were
    decided on. Raises ValidationError, and decides nothing, where the decision lacks what it needs, and where somebody has
    decided on one of them, or another one has come in, since.
    """
    lock(case.probe)
    case = _still_there(case.anchor)
    fate, texts = data.fate, {name: getattr(data, name).strip() for name in ("why", "risk", "told", "evidence")}
    _check_complete(fate, texts)
    _refuse_decided(case, selection, after)
    good = None
    if fate == Fate.MEASURED_AGAIN:
        selection, good = _measured_again(case, selection, data.good_reading)
    if fate == Fate.STANDS:
        texts["why"] = texts["why"] or "The limit held within all that the checks of the probe allow."
    last_before = _insert(by=by, case=case, selection=selection, fate=fate, texts=texts, good=good)
    decided = Decision.objects.filter(case=case.anchor, pk__gt=last_before)
    per_site = _count_by_site(decided)
    if not per_site:
        raise ValidationError("No reading was chosen. Choose at least one that is yours to decide on.")
    if most is not None and sum(per_site.values()) > most:
        raise ValidationError(
            "More readings have come in since you opened this page. Look at the list again, and decide then."
        )
    _check_decided(decided, fate, good)
    trail.made(Decision, list(decided.values_list("pk", flat=True)))
    for site_id, count in per_site.items():
        note(
            "case.decide",
            by=by,
            subject=case.probe,
            site_id=site_id,
            reason=texts["why"],
            case=case.anchor,
            fate=str(fate),
            readings=count,
            selection=_told(selection),
        )
    return sum(per_site.values())


def _still_there(anchor: str) -> Case:
    case = load_case(anchor)
    if case is None:
        raise ValidationError(
            "This case has ended: its check was voided or the timeline has changed. Open the list again."
        )
    return case


def _refuse_decided(case: Case, selection: Selection, after: int | None) -> None:
    """Of readings that were picked, any that was decided on since; of all that are left, if none is."""
    made = decisions_on(case.probe)
    if selection.ids is not None:
        refuse_newer(after, made.filter(reading__in=selection.ids), _told_of)
    elif selection.undecided and not case.undecided_at(selection.sites, selection.outcome):
        refuse_newer(after, made.filter(case=case.anchor), _told_of)


def _told_of(decision: Decision) -> str:
    return f"{decision.recorded_by} has decided on this meanwhile: {decision.get_fate_display().lower()}."


def _check_complete(fate: str, texts: dict[str, str]) -> None:
    if fate not in Fate.values:
        raise ValidationError("Choose what is decided.")
    for name, message in NEEDED.get(Fate(fate), ()):
        if not texts[name]:
            raise ValidationError({name: message})
    for name in ("why", "risk", "evidence"):
        as_reason(texts[name], name)


def _check_decided(
    decided: QuerySet[Decision], fate: str, good: MeasuredAgain | dict[int, MeasuredAgain] | None
) -> None:
    """Looks at what was just written, so that a reading that came in between is not passed over; an error takes it back."""
    if fate == Fate.STANDS and (others := decided.exclude(outcome=Outcome.HELD).count()):
        raise ValidationError(
            f"For {others} of the chosen readings the limit may not have held. Decide on them in another way."
        )
    if isinstance(good, MeasuredAgain):
        names = ("reading__item", "reading__appliance", "reading__limit_version__limit", "reading__site")
        kinds = decided.order_by().values_list(*names).annotate(last=Max("reading__taken_at"))
        refuse_unlike(good, [Doubted(item, Thing(name_of(item), *told), last) for item, *told, last in kinds])


def _measured_again(
    case: Case, selection: Selection, named: Reading | None
) -> tuple[Selection, MeasuredAgain | dict[int, MeasuredAgain]]:
    """The reading that speaks for all that are selected, or, where none is named, each one's own; then those that were not
    measured again are left out. Raises ValidationError where none was."""
    if named:
        return selection, look_up(named)
    found = [pk for pk, *_ in page_of_ids(case.spans, selection, size=AT_ONCE)[:AT_ONCE]]
    related = ("limit_version__limit", "site")
    spoken = each_by_its_own(list(Reading.objects.filter(pk__in=found).select_related(*related)), selection.sites)
    if not spoken:
        raise ValidationError({"good_reading": NOT_AGAIN})
    return replace(selection, ids=tuple(spoken)), spoken


def _insert(
    *,
    by,
    case: Case,
    selection: Selection,
    fate: str,
    texts: dict[str, str],
    good: MeasuredAgain | dict[int, MeasuredAgain] | None,
) -> int:
    """One INSERT for any number of readings. Gives the highest number of a decision made before."""
    ctes, values, where, args = assessed_sql(case.spans, selection)
    before = Decision.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    given = {
        "recorded_at": (_time_type(), connection.ops.adapt_datetimefield_value(clock.now())),
        "recorded_by_id": ("bigint", by.pk),
        "decided_by_id": ("bigint", by.pk),
        "probe_id": ("bigint", case.probe.pk),
        "sensor": ("text", sensor_of(case.spans[-1]).value),
        '"case"': ("text", case.anchor),
        "fate": ("text", str(fate)),
        **{name: ("text", text) for name, text in texts.items()},
    }
    casts = ", ".join(f"CAST(%s AS {kind})" for kind, _ in given.values())
    again, of_again = _good_sql(good)
    sql = f"""INSERT INTO {DECISION} (reading_id, replaces_id, outcome, behind_id, ahead_id, doubt_id, {", ".join(given)},
        good_reading_id, good_standing) {ctes}
        SELECT id, decision_id, outcome, behind_id, ahead_id, doubt_id, {casts}, {again} FROM judged WHERE {where}"""
    with connection.cursor() as cursor:
        cursor.execute(sql, values + [value for _, value in given.values()] + of_again + args)
    return before


def _good_sql(good: MeasuredAgain | dict[int, MeasuredAgain] | None) -> tuple[str, list]:
    """The reading measured again and its standing, with their parameters: one for all, or by the reading in doubt."""
    if not isinstance(good, dict):
        return "CAST(%s AS bigint), CAST(%s AS text)", [good and good.reading.pk, good and good.standing]
    whens = " ".join(f"WHEN {pk:d} THEN CAST(%s AS {{0}})" for pk in good)
    case = f"CASE id {whens} END"
    told = [[each.reading.pk for each in good.values()], [each.standing for each in good.values()]]
    return f"{case.format('bigint')}, {case.format('text')}", [*told[0], *told[1]]


def _time_type() -> str:
    return "timestamptz" if connection.vendor == "postgresql" else "text"


def _count_by_site(decided) -> dict[int, int]:
    rows = decided.order_by().values_list("reading__site_id").annotate(n=Count("pk"))
    return dict(rows)


def _told(selection: Selection) -> dict:
    ids = list(selection.ids[:200]) if selection.ids is not None else None
    return {"readings": ids, "outcome": str(selection.outcome), "sites": list(selection.sites)}


@action("case.sign")
def sign(*, by, anchor: str, note_text: str = "", after: int | None = None) -> Signature:
    """A supervisor's signature, with its printed name and meaning. `after`: the newest decision on the probe that was shown.

    Raises ValidationError while a reading is undecided, and where somebody has decided anew since."""
    case = _still_there(anchor)
    lock(case.probe)
    case = _still_there(anchor)
    if case.undecided:
        are = "is" if case.undecided == 1 else "are"
        raise ValidationError(f"{plural(case.undecided, 'reading')} {are} still to be decided on.")
    if case.signature:
        raise ValidationError(f"{case.signature.signed_name} has signed this case already.")
    refuse_newer(after, decisions_on(case.probe), _told_of)
    signature = Signature.objects.create(
        recorded_by=by,
        case=anchor,
        probe=case.probe,
        starts_at=case.spans[0].starts_at,
        ends_at=case.spans[-1].ends_at,
        readings=case.readings,
        counts=case.fates,
        signed_by=by,
        signed_name=by.name,
        meaning=meaning_for(case, by),
        note=note_text.strip(),
    )
    for site in case.sites.values() or [case.probe.site]:
        _note_signature(by, signature, site)
    return signature


def _note_signature(by, signature: Signature, site: Site) -> None:
    note(
        "case.sign",
        by=by,
        subject=signature,
        site_id=site.pk,
        reason=signature.note,
        case=signature.case,
        readings=signature.readings,
        counts=signature.counts,
    )
