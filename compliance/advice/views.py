"""What lies ahead of one probe, how often it should be checked, and the same for all probes at one's sites."""

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from compliance.probes.access import get_probe
from compliance.probes.models import Probe
from shared.bounds import number_in
from shared.forms import attempt
from shared.keyset import Page
from shared.request_slots import HEAVY, few
from sites.access import role_at
from sites.models import Role

from . import actions, wording
from .forms import AcceptForm
from .models import Acceptance
from .outlook import Outlook
from .queries import outlooks_of, probes_by_need
from .tables import AcceptanceTable, OutlookTable

PAGE, ACCEPTED_SHOWN = 25, 50


@require_safe
@few(HEAVY, "drawing drift pages")
def outlook_list(request: HttpRequest) -> HttpResponse:
    """The probes at the sites of whoever asks; only those of the page are put to the measurement."""
    page = _page(request)
    table = OutlookTable(sorted(outlooks_of(page.rows, timezone.now()), key=lambda outlook: outlook.urgency))
    table.pager = page
    return render(request, "advice/outlook_list.html", {"table": table, "pages": bool(page.older or page.newer)})


@require_safe
@few(HEAVY, "drawing drift pages")
def probe_outlook(request: HttpRequest, pk: int) -> HttpResponse:
    outlook = _outlook(get_probe(request.user, pk))
    return render(request, "advice/outlook.html", _context(request, outlook, _form(request, outlook)))


@require_safe
def probe_outlook_part(request: HttpRequest, pk: int) -> HttpResponse:
    """A sentence or two for the page of the probe."""
    outlook = _outlook(get_probe(request.user, pk))
    context = {"state": outlook.state, "lines": wording.in_short(outlook), "url": _url(outlook.probe)}
    return render(request, "advice/part.html", context)


@require_POST
@few(HEAVY, "drawing drift pages")
def probe_outlook_accept(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody sets the days between checks; the advice is worked out again, so that nobody accepts an old one."""
    outlook = _outlook(get_probe(request.user, pk, Role.MANAGER))
    if not outlook.acceptable:
        messages.error(request, "There is no advice to accept now. Nothing was changed.")
        return redirect("probe_outlook", pk)
    form = _accept_form(outlook, request.POST)
    if form.is_valid():
        given = form.cleaned_data
        advised = actions.Advised(
            days_before=given["before"],
            days_advised=outlook.advice.days,
            days_accepted=given["days"],
            target=outlook.target,
            figures=outlook.figures(),
        )
        why = given["why"]
        accepted = attempt(form, actions.accept, by=request.user, probe=outlook.probe, advised=advised, why=why)
        if accepted:
            messages.success(request, f"{outlook.probe} is to be checked {wording.every(given['days'])} from now on.")
            return redirect("probe_outlook", pk)
    fresh = _outlook(get_probe(request.user, pk))
    return render(request, "advice/outlook.html", _context(request, fresh, _shown_again(form, fresh)), status=422)


def _outlook(probe: Probe) -> Outlook:
    return outlooks_of([probe], timezone.now())[0]


def _url(probe: Probe) -> str:
    return reverse("probe_outlook", args=[probe.pk])


def _form(request: HttpRequest, outlook: Outlook) -> AcceptForm | None:
    manages = (role_at(request.user, outlook.probe.site) or 0) >= Role.MANAGER
    offered = manages and not outlook.probe.withdrawn and outlook.acceptable
    return _accept_form(outlook) if offered else None


def _accept_form(outlook: Outlook, data=None) -> AcceptForm:
    return AcceptForm(data, advised=outlook.advice.days, before=outlook.every_days)


def _shown_again(form: AcceptForm, outlook: Outlook) -> AcceptForm:
    """What was typed and why it was refused, with what holds now in its hidden fields."""
    form.data = form.data.copy()
    form.data.update({"before": outlook.every_days, "advised": outlook.advice.days})
    return form


def _context(request: HttpRequest, outlook: Outlook, form: AcceptForm | None) -> dict:
    from .pictures import drift_pair  # heavy, and loaded with the first picture

    probe = outlook.probe
    accepted = list(
        Acceptance.objects.filter(probe=probe).prefetch_related("recorded_by__names").order_by("-pk")[:ACCEPTED_SHOWN]
    )
    return {
        "probe": probe,
        "state": outlook.state,
        "notices": wording.notices(outlook),
        "meaning": wording.meaning(outlook),
        "advice": wording.advice(outlook),
        "because": wording.because(outlook),
        "form": form,
        "acceptable": outlook.acceptable,
        "changes": wording.differs(outlook),
        "accept_url": reverse("probe_outlook_accept", args=[probe.pk]),
        "picture": drift_pair(outlook),
        "figures": wording.figures(outlook),
        "sources": wording.SOURCES,
        "accepted": AcceptanceTable(accepted, zone=probe.site.zone) if accepted else None,
    }


def _page(request: HttpRequest) -> Page:
    """One page, those first that used most of their tolerance, by key."""
    found = probes_by_need(request.user)
    used, _, pk = request.GET.get("from", "").partition("~")
    started = _number(used) is not None and _number(pk) is not None
    if started:
        found = found.filter(Q(used__lt=_number(used)) | Q(used=_number(used), pk__gte=_number(pk)))
    rows = list(found[: PAGE + 1])
    following = f"?from={rows[PAGE].used}~{rows[PAGE].pk}" if len(rows) > PAGE else None
    newer = reverse("outlook_list") if started else None
    return Page(rows[:PAGE], older=following, newer=newer, newer_label="First page", older_label="Next")


def _number(text: str) -> int | None:
    found = number_in(text.removeprefix("-"))
    return -found if found is not None and text.startswith("-") else found
