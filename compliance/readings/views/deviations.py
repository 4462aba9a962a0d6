"""Deviations: what waits, and what was done about each."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from shared.forms import attempt
from shared.keyset import page_by_key
from shared.time_text import zoned_moment
from sites.access import may, people_at
from sites.models import Role

from ..access import get_deviation
from ..actions import act_on_deviation
from ..data import ActData
from ..filters import DeviationFilter
from ..forms import ActForm, sentence
from ..models import Disposition
from ..queries import SETTLED, deviations_seen_by
from ..tables import DeviationTable
from ..wording import not_met
from .detail import facts_of, in_full
from .parts import list_tabs


@require_safe
def deviation_list(request):
    """Those that wait come first: they are what the page opens with."""
    done = request.GET.get("state") == "done"
    chosen = DeviationFilter(request.GET, request.user)
    seen = deviations_seen_by(request.user)
    found = chosen.narrow(seen).filter(SETTLED if done else ~SETTLED)
    page = page_by_key(found, request, "taken_at", shown=None if done else seen)
    table = DeviationTable(page.rows, exclude=("site",) if chosen.one_site else ())
    table.pager = page
    if not done:
        table.empty_text = "Nothing waits: every deviation has its corrective action."
    template = "readings/rows.html" if request.htmx else "readings/deviation_list.html"
    return render(
        request,
        template,
        {
            "table": table,
            "form": chosen,
            "active": chosen.active,
            "lists": list_tabs("deviation_list"),
            "tabs": tabs(request, done),
            "state": "done" if done else "",
            "reset_url": reverse("deviation_list") + ("?state=done" if done else ""),
        },
    )


def tabs(request, done: bool) -> list[dict]:
    kept = request.GET.copy()
    for name in ("state", "after", "before"):
        kept.pop(name, None)
    rest = f"&{kept.urlencode()}" if kept else ""
    return [
        {"label": "Open", "url": f"?state=open{rest}", "current": not done},
        {"label": "Done", "url": f"?state=done{rest}", "current": done},
    ]


@require_http_methods(["GET", "HEAD", "POST"])
def deviation_detail(request, pk):
    deviation = get_deviation(request.user, pk)
    reading, form = deviation.reading, None
    void = getattr(reading, "void", None)
    acts = may(request.user, reading.site, Role.MANAGER) and void is None
    if request.method == "POST" and not may(request.user, reading.site, Role.MANAGER):
        raise PermissionDenied(f"This needs the role of site manager at {reading.site}.")
    made = list(deviation.actions.prefetch_related("decided_by__names", "recorded_by__names").order_by("-pk"))
    if acts:
        form = ActForm(
            request.POST or None, initial=told(request, made), site=reading.site, deciders=deciders(reading.site)
        )
        if form.is_valid() and _act(request, deviation, form):
            messages.success(request, "What was done is in the record.")
            return redirect("deviation_detail", pk)
    return render(
        request,
        "readings/deviation_detail.html",
        {
            "deviation": deviation,
            "reading": reading,
            "form": form,
            "void": void,
            "facts": facts_of(reading),
            "told": not_met(reading, deviation.why),
            "state": "closed" if made and made[0].disposition != Disposition.HELD else "open",
            "made": [act_facts(act, reading.site) for act in made],
            "open_form": bool(form and (form.errors or not made or made[0].disposition == Disposition.HELD)),
        },
    )


def _act(request, deviation, form):
    given = dict(form.cleaned_data)
    after = given.pop("after")
    return attempt(form, act_on_deviation, by=request.user, deviation=deviation, data=ActData(**given), after=after)


def deciders(site):
    return people_at(site, Role.MANAGER)


def told(request, made) -> dict:
    """An act that is already there is where the next one begins."""
    first = {"done_at": timezone.now(), "decided_by": request.user.pk, "after": made[0].pk if made else 0}
    if not made:
        return first
    last = made[0]
    if last.disposition == Disposition.HELD:  # the food waits: what becomes of it is still to be said
        return first | {"action": last.action, "cause": last.cause}
    return first | {"action": last.action, "cause": last.cause, "disposition": last.disposition, "note": last.note}


def act_facts(act, site) -> dict:
    facts = [
        ("What was done", act.action),
        ("Why it happened", act.cause),
        ("What became of the food", sentence(act.get_disposition_display())),
        ("Risk, and who was told", act.note),
        ("Done", zoned_moment(act.done_at, site.zone)),
        ("Decided by", in_full(act.name_of("decided_by"))),
        ("Entered", f"{zoned_moment(act.recorded_at, site.zone)} by {act.name_of()}"),
    ]
    return {"facts": [(label, value) for label, value in facts if value], "held": act.disposition == Disposition.HELD}
