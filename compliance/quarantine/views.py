"""The list of cases, one case, deciding and signing."""

from dataclasses import dataclass

from django.contrib import messages
from django.core import signing
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.html import format_html
from django.views.decorators.http import require_POST, require_safe

from compliance.checks.fitness import fitness_of
from compliance.checks.models import BEGINNING, END, Check
from compliance.metrology.vocabulary import Outcome
from compliance.probes.models import Probe
from shared.bounds import number_in
from shared.forms import attempt
from shared.keyset import Page
from shared.page_numbers import numbered_page
from shared.plurals import plural
from shared.stale_forms import newest
from shared.templatetags.noughtbook import when
from shared.time_text import styled
from sites.access import get_area, keys_of_sites
from sites.addresses import address
from sites.models import Area, Role, Site

from . import actions
from .access import CaseAccess, get_case
from .assessing import Selection
from .case_explanation import at_once, how_found, meaning
from .cases import Case, CaseState, Summary, doubts_seen_by, summaries
from .forms import ALL, DecisionForm, SignForm
from .measured_again import next_good, offers
from .models import Fate
from .queries import assessed_page, counted, decisions_on, meaning_for, reasons
from .reopening import reopened
from .struck_out import StruckOut
from .tables import AssessedTable, CaseTable

LISTS = (
    (Outcome.BROKEN, "limit broken", "bad"),
    (Outcome.UNDECIDED, "cannot be told", "doubt"),
    (Outcome.HELD, "limit held", "info"),
)
DECIDED = "decided"
OUTCOMES = tuple(Outcome)
PAGE_SALT = "noughtbook.case.page"
BADGES = {CaseState.OPEN: "open", CaseState.TO_SIGN: "decided", CaseState.SIGNED: "signed"}


@dataclass(frozen=True, slots=True)
class CaseLine:
    """A case in the list, with its probe and its period at the probe's site."""

    summary: Summary
    probe: Probe

    @property
    def starts(self) -> str:
        at = self.summary.starts_at
        return "the beginning" if at == BEGINNING else when(at, self.probe.site.zone, "day")

    @property
    def ends(self) -> str:
        return "now" if self.summary.ends_at == END else when(self.summary.ends_at, self.probe.site.zone, "day")


@require_safe
def case_list(request: HttpRequest) -> HttpResponse:
    """Every case with readings at my sites, or at the open sites of one area: open ones first; or those in one state."""
    area, states = _asked_for(request)
    of_area = Site.objects.filter(area=area, closed=False).values_list("pk", flat=True)
    sites = of_area if area else keys_of_sites(request.user)
    found = [line for line in summaries(sites, doubts_seen_by(request.user)) if line.state in states]
    page = numbered_page(found, request)
    probes = Probe.objects.select_related("site").in_bulk({line.probe_id for line in page.rows})
    lines = [CaseLine(summary, probes[summary.probe_id].particulars_at(summary.ends_at)) for summary in page.rows]
    still_open = [line for line in lines if line.summary.state != CaseState.SIGNED]
    closed = [line for line in lines if line.summary.state == CaseState.SIGNED]
    context = {
        "open_table": CaseTable(still_open) if still_open else None,
        "closed_table": CaseTable(closed, exclude=("undecided",)) if closed else None,
        "chosen": _chosen_words(area, states),
        "pager": page,
    }
    return render(request, "quarantine/case_list.html", context)


def _asked_for(request: HttpRequest) -> tuple[Area | None, list[CaseState]]:
    """The area and the states that the address names. Raises Http404 for an area that is not the person's."""
    number, state = number_in(request.GET.get("area")), request.GET.get("state")
    area = None if number is None else get_area(request.user, number, Role.READER)
    return area, [CaseState(state)] if state in list(CaseState) else list(CaseState)


def _chosen_words(area: Area | None, states: list[CaseState]) -> str:
    cases = {CaseState.OPEN: "Cases to decide on", CaseState.TO_SIGN: "Cases to sign", CaseState.SIGNED: "Signed cases"}
    if len(states) == 1:
        return f"{cases[states[0]]}, {area}" if area else cases[states[0]]
    return str(area or "")


@require_safe
def case_detail(request: HttpRequest, slug: str) -> HttpResponse:
    reach = get_case(request.user, slug)
    return render(request, "quarantine/case_detail.html", _page(request, reach))


@require_POST
def case_decide(request: HttpRequest, slug: str) -> HttpResponse:
    """One decision for the readings picked, or for all in the list shown that are still to decide."""
    reach = get_case(request.user, slug, Role.MANAGER)
    outcome = request.POST.get("outcome", "")
    form = _decision_form(reach, outcome, request.POST)
    if form.is_valid():
        count = attempt(form, _decide, request=request, reach=reach, outcome=outcome, given=form.cleaned_data)
        if count:
            messages.success(request, f"{plural(count, 'reading')} decided on.{_not_again(request, form, count)}")
            return redirect(_address(reach, outcome))
    page = _page(request, reach, form=form)
    if page["form"] is None:  # nothing is left in the list
        messages.error(request, " ".join(form.non_field_errors()))
    return render(request, "quarantine/case_detail.html", page, status=422)


@require_POST
def case_sign(request: HttpRequest, slug: str) -> HttpResponse:
    reach = get_case(request.user, slug, Role.SUPERVISOR)
    if not reach.signs:
        raise PermissionDenied("A supervisor of a site of this case signs it.")
    form = SignForm(request.POST)
    try:
        if form.is_valid():
            given = {"note_text": form.cleaned_data["note"], "after": form.cleaned_data["after"]}
            actions.sign(by=request.user, anchor=reach.case.anchor, **given)
            messages.success(request, "Signed. The case is closed.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("case_detail", slug=reach.case.slug)


def _decide(request, reach: CaseAccess, outcome: str, given: dict) -> int:
    everything = given["scope"] == ALL
    picked = _picked(request)
    if not everything and not picked:
        raise ValidationError("Tick the readings that this decision is for, or press the button for all of them.")
    if everything and picked:
        raise ValidationError("You ticked some of them: press the button for those ticked, or take the ticks away.")
    selection = Selection(
        sites=reach.decides,
        ids=None if everything else picked,
        outcome=outcome if everything and outcome in OUTCOMES else "",
        undecided=True if everything else None,
    )
    names = ("fate", "why", "good_reading", "risk", "told", "evidence")
    data, most = actions.DecisionData(**{name: given[name] for name in names}), given["most"] if everything else None
    shown = {"after": given["after"], "most": most}
    return actions.decide(by=request.user, case=reach.case, selection=selection, data=data, **shown)


def _not_again(request: HttpRequest, form: DecisionForm, count: int) -> str:
    """What is said of those that were to be decided on and were not measured again."""
    asked = form.cleaned_data
    if asked["fate"] != Fate.MEASURED_AGAIN:
        return ""
    wanted = asked["most"] or 0 if asked["scope"] == ALL else len(_picked(request))
    left = wanted - count
    return f" {plural(left, 'other')} not measured again: still to decide." if left > 0 else ""


def _picked(request: HttpRequest) -> tuple[int, ...]:
    return tuple(pk for pk in map(number_in, request.POST.getlist("pick")) if pk is not None)


def _shown(request: HttpRequest, reach: CaseAccess) -> str:
    """Which list is asked for; at first the gravest that still has something to decide."""
    asked = request.POST.get("outcome") or request.GET.get("show", "")
    if asked == DECIDED or asked in OUTCOMES:
        return asked
    for outcome, *_ in LISTS:
        if reach.case.undecided_at(reach.seen, outcome):
            return str(outcome)
    return DECIDED


def _address(reach: CaseAccess, outcome: str) -> str:
    left = reach.case.undecided_at(reach.decides, outcome)
    address = reverse("case_detail", args=[reach.case.slug])
    return f"{address}?show={outcome}" if left and outcome in OUTCOMES else address


def _page(request: HttpRequest, reach: CaseAccess, form: DecisionForm | None = None) -> dict:
    case, shown = reach.case, _shown(request, reach)
    rows, page = _rows(request, reach, shown)
    decides = bool(reach.decides) and bool(rows)
    many, again = len(case.sites) > 1, shown == DECIDED
    doubted = [row.reading for row in rows if row.reading.site_id in reach.decides] if decides and not again else []
    good = next_good(doubted, reach.decides)
    given = {"picked": _picked(request), "good": good}
    table = AssessedTable(rows, many_sites=many, decides=decides, decided=again, **given)
    table.pager = page
    if form is None and decides:
        form = _decision_form(reach, shown)
    if form and decides:
        doubted = [row.reading for row in rows if row.reading.site_id in reach.decides]
        form.fields["good_reading"].offer(offers(doubted, _picked(request), reach.decides))
    return {
        "case": case,
        "print_url": address("case_print", case.slug),
        "state_badge": BADGES[case.state],
        "title": f"Probe {case.probe}: closed case"
        if case.state == CaseState.SIGNED
        else f"{case.probe} in quarantine",
        "tiles": _lists(reach, shown),
        "out_of_use": _out_of_use(case),
        "facts": _facts(case, _left(reach)),
        "reasons": reasons(case),
        "reopened": reopened(case, case.probe.site.zone),
        "struck": [_struck(each) for each in case.struck if each.reading.site_id in reach.seen],
        "means": meaning(shown) if rows else "",
        "at_once": at_once(shown),
        "left": case.undecided_at(reach.decides, shown) if shown in OUTCOMES else 0,
        "list_words": next((label for outcome, label, _ in LISTS if outcome == shown), ""),
        "how_found": how_found(case, case.probe.site.unit),
        "table": table,
        "rows": rows,
        "shown": shown,
        "form": form if decides else None,
        "sign_form": (sign_form := _sign_form(reach)),
        "signs": _signs(request, case) if sign_form else {},
        "signed": [(signature, counted(signature.counts)) for signature in case.signatures],
        "waiting": case.state == CaseState.TO_SIGN and not reach.signs,
        "again": again,
        "elsewhere": _elsewhere(reach),
        **_cause(case),
    }


def _struck(each: StruckOut) -> dict:
    """A line of what was struck out or corrected, for `components/worklist.html`."""
    void, zone = each.void, each.reading.site.zone
    new = void.replacement
    instead = f": {new}, probe {new.probe_then.code}, {styled(new.taken_at, zone, 'short')}" if new else ""
    by = f"{void.name_of()}, {styled(void.recorded_at, zone, 'short')}: {void.reason}"
    return {
        "title": f"{each.reading}, {styled(each.reading.taken_at, zone, 'short')}",
        "url": reverse("reading_detail", args=[each.reading.pk]),
        "meta": f"{each.became[0].upper()}{each.became[1:]}{instead} · {by}",
        "badge_kind": "record",
        "badge_value": "corrected" if new else "void",
    }


def _left(reach: CaseAccess) -> str:
    """How far the case has come at the sites that this person sees."""
    seen = [tally for tally in reach.case.tallies if tally.site_id in reach.seen]
    left = sum(tally.readings for tally in seen if tally.fate is None)
    return f"{sum(tally.readings for tally in seen)}, {left or 'none'} still to decide"


def _out_of_use(case) -> str:
    """Why the probe may not be used now; empty where it may, or where it is withdrawn for good."""
    found = fitness_of([case.probe.pk], timezone.now())[case.probe.pk]
    return found.words(case.probe.site.zone, timezone.now()) if found.refused else ""


def _signs(request: HttpRequest, case: Case) -> dict:
    """What somebody signs: the decisions by their number, and the words of the signature."""
    return {"decisions": counted(case.fates), "meaning": meaning_for(case, request.user)}


def _sign_form(reach: CaseAccess) -> SignForm | None:
    case = reach.case
    if not (reach.signs and case.state == CaseState.TO_SIGN and (case.readings or case.struck)):
        return None
    return SignForm(initial={"after": newest(decisions_on(case.probe))})


def _rows(request: HttpRequest, reach: CaseAccess, shown: str):
    selection = Selection(
        sites=reach.seen,
        outcome="" if shown == DECIDED else shown,
        undecided=shown != DECIDED,
    )
    rows, more = assessed_page(reach.case, selection, _position(request.GET.get("after")))
    older = None
    address = f"{reverse('case_detail', args=[reach.case.slug])}?show={shown}"
    if more:
        last = rows[-1].reading
        token = signing.dumps([last.taken_at.isoformat(), last.pk], salt=PAGE_SALT)
        older = f"{address}&after={token}"
    newer = address if request.GET.get("after") else None
    return rows, Page(rows, older, newer)


def _position(text: str | None):
    if not text:
        return None
    try:
        at, pk = signing.loads(text, salt=PAGE_SALT)
        return parse_datetime(at), int(pk)
    except (signing.BadSignature, ValueError, TypeError):
        return None


def _decision_form(reach: CaseAccess, outcome: str, data=None) -> DecisionForm:
    return DecisionForm(
        data,
        site_ids=reach.decides,
        count=reach.case.undecided_at(reach.decides, outcome if outcome in OUTCOMES else ""),
        stands=outcome == Outcome.HELD or (outcome == DECIDED and reach.case.count(Outcome.HELD) > 0),
        again=outcome == DECIDED,
        zone=reach.case.probe.site.zone,
        after=newest(decisions_on(reach.case.probe)),
    )


def _lists(reach: CaseAccess, shown: str) -> list[dict]:
    """The lists of a case, each with how many readings are in it: those still to decide on, and those decided."""
    case, address = reach.case, reverse("case_detail", args=[reach.case.slug])
    decided = sum(t.readings for t in case.tallies if t.fate and t.site_id in reach.seen)
    found = [(outcome, label, tone, case.undecided_at(reach.seen, outcome)) for outcome, label, tone in LISTS]
    return [
        {
            "value": count,
            "label": label,
            "tone": tone if count else "plain",
            "url": f"{address}?show={name}",
            "current": shown == name,
        }
        for name, label, tone, count in (*found, (DECIDED, "decided", "good", decided))
    ]


def _facts(case, left: str) -> list[tuple[str, str]]:
    zone = case.probe.site.zone
    starts = when(case.starts_at, zone) if case.starts_at else "before any good check"
    ends = when(case.ends_at, zone) if case.ends_at else "now: no good check has been made since"
    sites = ", ".join(f"{site}" for site in case.sites.values()) or "no readings"
    probe = format_html('<a href="{}">{}</a>', reverse("probe_detail", args=[case.probe.pk]), case.probe)
    return [("Probe", probe), ("Readings", left), ("From", starts), ("To", ends), ("Read at", sites)]


def _cause(case) -> dict[str, str]:
    """Where the page leads for what began the case: the check, or the probe whose life has the event."""
    if isinstance(case.cause, Check):
        return {"cause_url": reverse("check_detail", args=[case.cause.pk]), "cause_link": "See the check"}
    return {"cause_url": reverse("probe_detail", args=[case.probe.pk]), "cause_link": "See what happened to the probe"}


def _elsewhere(reach: CaseAccess) -> str:
    """The other sites that still have to decide, for whoever has decided on all of the own."""
    case = reach.case
    if not (reach.decides or reach.signs) or case.undecided_at(reach.decides):
        return ""
    return ", ".join(f"{site}" for pk, site in case.sites.items() if case.undecided_at([pk]))
