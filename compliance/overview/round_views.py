"""The page of a round: its sheet, a line that is saved, and what was done about one that is beyond its limit."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from compliance.appliances.models import Why
from compliance.readings.access import get_deviation
from compliance.readings.actions import act_on_deviation
from compliance.readings.data import ActData
from compliance.readings.forms import sentence
from compliance.readings.models import Deviation
from compliance.readings.offered_acts import Offered, acts_of, offered
from compliance.readings.queries import recent_items
from shared.bounds import number_in
from shared.kept_pages import keep
from shared.stale_forms import newest
from sites.access import get_site, may
from sites.models import Role, Site

from .round_sheet import RoundSheet, breaches

BOXES = (
    ("action_words", "What was done, in other words"),
    ("cause_words", "Why it happened, in other words"),
    ("note", "Risk, and who was told"),
)
ALL_TAKEN = "The round is recorded. Nothing more is due now."


@require_http_methods(["GET", "HEAD", "POST"])
def today_round(request: HttpRequest, pk: int) -> HttpResponse:
    """One sheet for all that is due. Line by line with scripts; without, all that is filled in at once."""
    site, now = get_site(request.user, pk, Role.COOK), timezone.now()
    if "act" in request.POST:
        return _act(request, site, number_in(request.POST["act"]))
    sheet = RoundSheet(site, request.user, now, request.POST if request.method == "POST" else None)
    if request.method != "POST":
        return keep(_page(request, sheet), request.path)
    sure = number_in(request.POST.get("sure"))
    one = sheet.line(sure or number_in(request.POST.get("line")))
    for line in [one] if one else [line for line in sheet.lines if line.is_typed]:
        sheet.save(line, sure=line.pk == sure)
    if _is_over(request, sheet):
        return _to_today(request, site)
    if request.htmx and one:
        return render(request, "overview/round_line.html", _context(request, sheet) | {"line": one})
    return _page(request, sheet)


def _is_over(request: HttpRequest, sheet: RoundSheet) -> bool:
    """Whether all is saved, and nothing waits that this person could say something about."""
    saved = any(line.reading for line in sheet.lines)
    return saved and not sheet.left and not breaches(sheet.site, sheet.now)


def _to_today(request: HttpRequest, site: Site) -> HttpResponse:
    messages.success(request, ALL_TAKEN)
    url = reverse("today_site", args=[site.pk])
    return HttpResponse(headers={"HX-Redirect": url}) if request.htmx else redirect(url)


def _act(request: HttpRequest, site: Site, pk: int | None) -> HttpResponse:
    """What was done about one reading, by buttons or in words."""
    deviation = get_deviation(request.user, pk or 0, Role.MANAGER)
    told = {name: request.POST.get(f"{name}-{pk}", "").strip() for name in ("action", "cause", "disposition", "note")}
    for name in ("action", "cause"):
        told[name] = request.POST.get(f"{name}_words-{pk}", "").strip() or told[name]
    error, now = "", timezone.now()
    try:
        after = number_in(request.POST.get(f"after-{pk}"))
        act_on_deviation(by=request.user, deviation=deviation, data=ActData(**told, done_at=now), after=after)
    except ValidationError as refused:
        error = " ".join(refused.messages)
    sheet = RoundSheet(site, request.user, now, request.POST)
    if not error and not sheet.left and not breaches(site, now):
        return _to_today(request, site)
    if not request.htmx:
        return _page(request, sheet, {pk: error})
    part = _breach(request, site, deviation, error) if error else None
    return render(request, "overview/round_acted.html", {"breach": part, "deviation": deviation})


def _page(request: HttpRequest, sheet: RoundSheet, errors: dict[int, str] | None = None) -> HttpResponse:
    shown = {line.deviation.pk for line in sheet.lines if line.deviation}
    others = [each for each in breaches(sheet.site, sheet.now) if each.pk not in shown]
    context = _context(request, sheet) | {
        "title": "Record the round",
        "lead": sheet.site.name,
        "back_url": reverse("today_site", args=[sheet.site.pk]),
        "lines": sheet.lines,
        "probes": sheet.probes if sheet.lines else [],
        "unit": sheet.site.get_unit_display(),
        "foods": recent_items(sheet.site),
        "breaches": [_breach(request, sheet.site, each, (errors or {}).get(each.pk, "")) for each in others],
        "saved": [line for line in sheet.lines if line.reading],
    }
    wrong = any(line.error for line in sheet.lines) or any((errors or {}).values())
    return render(request, "overview/round.html", context, status=422 if wrong else 200)


def _context(request: HttpRequest, sheet: RoundSheet) -> dict:
    for line in sheet.lines:
        line.breach = _breach(request, sheet.site, line.deviation) if line.deviation else None
    return {
        "site": sheet.site,
        "url": reverse("today_round", args=[sheet.site.pk]),
        "unit": sheet.site.get_unit_display(),
        "reasons": Why.choices,
    }


def _breach(request: HttpRequest, site: Site, deviation: Deviation, error: str = "") -> dict:
    """A reading beyond its limit, and what this person may say was done: by buttons, or in words."""
    version, acts = deviation.reading.limit_version, may(request.user, site, Role.MANAGER)
    return {
        "deviation": deviation,
        "error": error,
        "why": f"{deviation.why[0].upper()}{deviation.why[1:]}.",
        "lines": [version.usual_action],
        "after": newest(deviation.actions.all()),
        "groups": _groups(request, deviation, offered(acts_of(site), version)) if acts else [],
        "boxes": [_box(request, deviation, *each) for each in BOXES],
        "words_open": bool(error),
    }


def _groups(request: HttpRequest, deviation: Deviation, told: Offered) -> list[dict]:
    """The buttons; what was tapped before stays so."""
    groups = (
        ("action", "What was done", [(words, words) for words in told.actions]),
        ("cause", "Why it happened", [(words, words) for words in told.causes]),
        ("disposition", "What became of the food", [(each.value, sentence(each.label)) for each in told.dispositions]),
    )
    found = []
    for name, legend, options in groups:
        field = f"{name}-{deviation.pk}"
        chosen = [{"value": v, "label": label, "chosen": request.POST.get(field) == v} for v, label in options]
        found.append({"name": field, "legend": legend, "options": chosen})
    return found


def _box(request: HttpRequest, deviation: Deviation, name: str, label: str) -> dict:
    field = f"{name}-{deviation.pk}"
    return {"name": field, "label": label, "value": request.POST.get(field, "")}
