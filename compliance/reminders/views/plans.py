"""The plans of a site, and changing one: of a probe, of a site, of a kind of probe there, of the business."""

from collections.abc import Iterable

from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.views.decorators.http import require_http_methods, require_safe

from compliance.limits.queries import limits_in_force
from compliance.plans.calendar import DAY, earliest_day, local_day
from compliance.plans.data import PlanData
from compliance.plans.forms import PlanForm
from compliance.plans.queries import (
    InForce,
    PlanBook,
    Reach,
    calendars,
    closures_reaching,
    opening_in_force,
    rounds_in_force,
)
from compliance.plans.tables import ClosureTable, RoundTable, ScopeTable
from compliance.plans.wording import day_words, holidays_ahead, plan_words, round_words, week_in_short
from compliance.probes.access import get_probe
from compliance.probes.models import Probe, Sensor
from shared.bounds import number_in
from shared.forms import attempt, form_page
from shared.page_numbers import numbered_page
from sites.access import get_business, get_site, may
from sites.addresses import address
from sites.models import Role, Site

from ..access import has_whole_business
from ..planning import change_plan

FORM = ["GET", "HEAD", "POST"]
HOLIDAYS_SHOWN = 90  # days


@require_safe
def plan_list(request, site_pk):
    """What is in force at a site and where it comes from: plans, hours, closures, rounds."""
    site = get_site(request.user, site_pk)
    today, manages = local_day(timezone.now(), site.zone), may(request.user, site, Role.MANAGER)
    whole = has_whole_business(request.user, site)
    probes = Probe.objects.filter(site=site, withdrawn=False).order_by("code", "pk")
    page = numbered_page(probes, request)
    book = PlanBook.of_probes(page.rows, at=[site])
    table = ScopeTable(_probe_rows(page.rows, book, today, manages))
    table.pager = page
    calendar = calendars([site])[site.pk]
    return render(
        request,
        "plans/plan_list.html",
        {
            "site": site,
            "manages": manages,
            "probes": table,
            "scopes": ScopeTable(_scopes(site, book, today, manages, whole)),
            "hours": week_in_short(opening_in_force(site, today)),
            "closures": _closures(request.user, site, today, manages, whole),
            "holidays": holidays_ahead(calendar, [today + DAY * n for n in range(HOLIDAYS_SHOWN)]),
            "rounds": RoundTable(_rounds(site, today, manages)),
            "open_today": _today_words(calendar, today),
        },
    )


def _probe_rows(probes: list[Probe], book: PlanBook, today, manages: bool) -> list[dict]:
    """A line for each plan and the probes that follow it, those with a plan of their own first."""
    found = {probe.pk: book.at(Reach.of(probe), today) for probe in probes}
    by_plan: dict[int, list[tuple[str, str]]] = {}
    for probe in probes:
        line = by_plan.setdefault(found[probe.pk].plan.key, [])
        line.append((reverse("plan_probe", args=[probe.pk]), probe.code))
    plans = {each.plan.key: each for each in sorted(found.values(), key=lambda each: each.rank)}
    unseen = "Change the plan of probe "
    return [_row(_links(by_plan[key], manages, unseen), each) for key, each in plans.items()]


def _row(name: str, found: InForce, url: str | None = None) -> dict:
    return {"name": name, "plan": plan_words(found), "source": found.source, "url": url}


def _links(named: list[tuple[str, str]], manages: bool, unseen: str) -> SafeString:
    """Addresses with their names on one line: links where somebody may change what they lead to."""
    link = format_html('<a href="{{}}"><span class="visually-hidden">{}</span>{{}}</a>', unseen)
    words = format_html_join(" ", link, named) if manages else ", ".join(name for _, name in named)
    return format_html('<span class="cell">{}</span>', words)


def _scopes(site: Site, book: PlanBook, today, manages: bool, whole: bool) -> list[dict]:
    """The business, the site, and each kind of probe that is there."""
    business = site.area.business
    sensors = Probe.objects.filter(site=site, withdrawn=False).order_by("sensor").values_list("sensor", flat=True)
    here = reverse("plan_site", args=[site.pk])
    rows = [
        (str(business), Reach(business.pk), f"{reverse('plan_business')}?business={business.pk}" if whole else None),
        (f"All of {site}", Reach(business.pk, site.pk), here if manages else None),
    ]
    for sensor in dict.fromkeys(sensors):
        url = f"{here}?kind={sensor}" if manages else None
        rows.append((f"Kind here: {Sensor(sensor).label}", Reach(business.pk, site.pk, sensor), url))
    return [_row(name, book.at(reach, today), url) for name, reach, url in rows]


def _closures(person, site: Site, today, manages: bool, whole: bool) -> ClosureTable:
    found = closures_reaching([site]).filter(last_day__gte=today).select_related("site", "area", "business")
    rows = list(found.prefetch_related("recorded_by__names"))
    supervises = may(person, site, Role.SUPERVISOR)
    allowed = {c.pk for c in rows if (manages if c.site_id else supervises if c.area_id else whole)}
    return ClosureTable(rows, strikes=allowed)


def _rounds(site: Site, today, manages: bool) -> list[dict]:
    """A line for each limit with a round, and one for all that have none."""
    limits = list(limits_in_force(site, timezone.now()))
    rounds = rounds_in_force(limits, today)
    links = {limit.pk: (address("round_change", limit.pk), limit.title) for limit in limits}
    rows = [
        {"name": links[pk][1], "plan": round_words(rounds[pk]), "url": links[pk][0] if manages else None}
        for pk in links
        if pk in rounds
    ]
    without = [link for pk, link in links.items() if pk not in rounds]
    if without:
        rows.append({"name": _links(without, manages, "Set rounds for "), "plan": round_words(None), "url": None})
    return rows


def _today_words(calendar, today) -> str:
    why = calendar.why_closed(today)
    if not why:
        return "Open today."
    following = calendar.next_open(today)
    return f"Not open today ({why})." + (f" Next open on {day_words(following)}." if following else "")


@require_http_methods(FORM)
def plan_probe(request, probe_pk):
    probe = get_probe(request.user, probe_pk, Role.MANAGER)
    page = {"title": f"Plan of probe {probe.code}", "back_url": reverse("plan_list", args=[probe.site_id])}
    return _change(request, {"probe": probe}, [probe.site], page | {"back_label": "Plans"})


@require_http_methods(FORM)
def plan_site(request, site_pk):
    """Of all probes at a site, or of one kind of them."""
    site = get_site(request.user, site_pk, Role.MANAGER)
    page = {"back_url": reverse("plan_list", args=[site.pk]), "back_label": "Plans"}
    return _change_kind(request, {"site": site}, [site], page)


@require_http_methods(FORM)
def plan_business(request):
    """Of all probes of a business, or of one kind; where somebody supervises several, `?business=` says which."""
    business = get_business(request.user, number_in(request.GET.get("business")))
    page = {"back_url": reverse("site_list"), "back_label": "Sites"}
    sites = Site.objects.filter(area__business=business)
    return _change_kind(request, {"business": business}, sites, page, f"business={business.pk}&")


def _change_kind(request, place: dict, sites: Iterable[Site], page: dict, asked: str = ""):
    """Of all probes there, or of the kind of sensor that `?kind=` names; with links to both."""
    chosen, [where] = request.GET.get("kind", ""), place.values()
    if chosen and chosen not in Sensor.values:
        raise Http404
    kinds = [
        {"label": label, "url": f"?{asked}kind={kind}", "current": kind == chosen}
        for kind, label in (("", "All probes"), *Sensor.choices)
    ]
    of_kind = f": {Sensor(chosen).label}" if chosen else ""
    told = page | {"title": f"Plan of {where}{of_kind}", "kinds": kinds}
    return _change(request, place | {"sensor": chosen}, sites, told)


def _change(request, scope: dict, sites: Iterable[Site], page: dict):
    today = earliest_day((site.zone for site in sites), timezone.now())
    book, reach = PlanBook.of_scope(**scope), Reach.of_scope(**scope)
    present, last = book.at(reach, today), book.newest(reach)
    wider = _told(book.wider(reach, today)) if present.rank == reach.rank else ""
    after = last.pk if last else 0
    form = PlanForm(request.POST or None, plan=present.plan, wider=wider, today=today, after=after)
    if form.is_valid() and (
        plan := attempt(form, change_plan, by=request.user, data=PlanData(**scope, **form.figures()))
    ):
        begins = "" if plan.effective_from <= today else f" from {day_words(plan.effective_from)}"
        messages.success(request, f"Set{begins}: {plan}. What is due follows it.")
        return redirect(page["back_url"])
    lead = {"lead": f"Now: {_told(present)}.", "submit_label": "Set this plan"}
    return form_page(request, "plans/plan_form.html", form, **page, **lead)


def _told(found: InForce) -> str:
    return f"{plan_words(found)} ({found.source})"
