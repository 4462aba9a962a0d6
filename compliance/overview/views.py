"""The pages of a day (site manager) and of an area (area supervisor)."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from compliance.appliances.queries import appliances_at, out_of_use_at
from compliance.appliances.tables import away_words
from compliance.checks.fitness import Judgement, fitness_of
from compliance.checks.models import Standing
from compliance.plans.calendar import local_day
from compliance.probes.models import Probe
from compliance.quarantine.cases import CaseState, Summary, doubts_seen_by, summaries
from compliance.readings.queries import open_deviations
from compliance.reminders.missed import MISSED_DAYS, missed_by_site
from compliance.reviews.days import unreviewed_by_site
from shared.kept_pages import keep
from shared.key_lists import among
from shared.page_numbers import numbered_page
from shared.plurals import noun, plural
from shared.time_text import long_weekday_day, on_clock, styled
from sites.access import areas_of, get_area, get_site, keys_of_areas, may, sites_of
from sites.choosing import MENU, ChooseSite, SiteOffer
from sites.models import Area, Role, Site

from .day import coming, done_today, missed_before, to_review
from .first_steps import Start, start_of
from .queries import attention, probes_in_use, sites_that_call, state_of
from .tables import AttentionTable, FailedTable
from .todo import ToDo, for_one_bath, to_do_today

CASES_SHOWN = 20
DEVIATIONS_SHOWN = 10


@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """My first site, or the one that is asked for; whoever has none yet is told whom to ask."""
    if request.GET.keys() & {"site", "site_q"}:
        return _ask_for_site(request)
    site = sites_of(request.user).filter(closed=False).order_by("name").first()
    if site is None:
        return render(request, "overview/no_site.html", {"may_add": areas_of(request.user).exists()})
    return redirect("today_site", pk=site.pk)


def _ask_for_site(request: HttpRequest) -> HttpResponse:
    form = ChooseSite(request.GET, SiteOffer(request.user, "open"))
    if form.is_valid():
        return redirect("today_site", pk=form.cleaned_data["site"].pk)
    return render(request, "sites/choose_site.html", {"form": form, "title": "Today", "lead": "At which site?"})


@require_safe
def today_site(request: HttpRequest, pk: int) -> HttpResponse:
    """What is to do at one site today, the most urgent first."""
    site = get_site(request.user, pk)
    now = timezone.now()
    writes = may(request.user, site, Role.COOK)
    probes = probes_in_use(site)
    found = to_do_today(site, probes, now)
    due = [each for each in found if each.now]
    cases = [case for case in summaries([site.pk], doubts_seen_by(request.user)) if case.undecided]
    deviations = open_deviations([site.pk])
    shown = deviations.select_related("reading__probe").order_by("-pk")[:DEVIATIONS_SHOWN]
    waiting = deviations.count()
    judged = fitness_of([probe.pk for probe in probes], now)
    context = {
        "site": site,
        **_other_sites(request, site),
        "lead": long_weekday_day(on_clock(now, site.zone)),
        "tiles": _tiles(site, due, cases, waiting),
        "checks": [_item(each, site, writes, now) for each in due],
        "deviations": [_deviation_item(d, site) for d in shown],
        "more_deviations": waiting > DEVIATIONS_SHOWN,
        "cases": _case_items(cases, site),
        "away": _away_items(site, now),
        "probes": [_probe_item(probe, site, judged[probe.pk], now) for probe in probes],
        "writes": writes,
        "together": _together(due) if writes else 0,
        "coming": coming(site, found, now),
        "reviews": to_review(site, now) if may(request.user, site, Role.MANAGER) else [],
        "missed": missed_before(site, now, may(request.user, site, Role.MANAGER)),
        "done": done_today(site, now).words,
        "round": sum(bool(each.reminder) for each in due) if writes else 0,
        "nothing": bool(probes) and not (due or cases or waiting) and all(found.ok for found in judged.values()),
        "no_probe": None if probes else _no_probe(request, site),
    }
    response = render(request, "overview/today.html", context)
    if not writes:
        return keep(response, request.path)
    return keep(response, request.path, reverse("today_round", args=[pk]), f"{reverse('reading_add')}?site={pk}")


@require_safe
def today_next(request: HttpRequest, pk: int) -> HttpResponse:
    """The part of a saved page that leads on: to what is to be done next, or that nothing is. What is to decide is on Today."""
    site, now = get_site(request.user, pk), timezone.now()
    due = [each for each in to_do_today(site, probes_in_use(site), now) if each.now]
    context = {"site": site, "quiet": "quiet" in request.GET}
    following = next((each for each in due if not each.failed), None)
    if following and may(request.user, site, Role.COOK):
        context |= {"what": _item(following, site, False, now)["title"], "action": following.action}
    return render(request, "overview/next.html", context | {"nothing": not due})


def _no_probe(request: HttpRequest, site: Site) -> dict:
    if may(request.user, site, Role.MANAGER):
        url = f"{reverse('probe_add')}?site={site.pk}"
        return {"text": "Add each thermometer; its first check comes next.", "url": url}
    return {"text": "The site's manager adds them.", "url": ""}


def _together(due: list[ToDo]) -> int:
    """How many probes are due for one bath; 0 where none has company."""
    probes = len(for_one_bath(due))
    return probes if probes > 1 else 0


@require_safe
def area_list(request: HttpRequest) -> HttpResponse:
    """The areas that I supervise; with only one, that one."""
    areas = list(areas_of(request.user).select_related("business").order_by("name"))
    if not areas:
        return redirect("today")
    if len(areas) == 1:
        return redirect("area_detail", pk=areas[0].pk)
    areas_of_sites = dict(Site.objects.filter(area__in=areas, closed=False).order_by().values_list("pk", "area_id"))
    found = sites_that_call(areas_of_sites, timezone.now(), doubts_seen_by(request.user))
    sites, calls = Counter(areas_of_sites.values()), Counter(areas_of_sites[pk] for pk in found)
    items = [_area_item(area, sites[area.pk], calls[area.pk]) for area in areas]
    return render(request, "overview/area_list.html", {"items": items})


@require_safe
def area_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """Every site of an area that needs somebody, the probes that failed, the cases that wait for a signature."""
    area = get_area(request.user, pk, Role.READER)
    sites, now = list(Site.objects.filter(area=area, closed=False)), timezone.now()
    for site in sites:
        site.area = area
    unreviewed = unreviewed_by_site(sites, now)
    known = doubts_seen_by(request.user)
    lines, missed = attention(sites, now, known), missed_by_site([site.pk for site in sites], now)
    cases = summaries([site.pk for site in sites], known)
    failed = _failed(sites, cases)
    to_sign = [case for case in cases if case.state == CaseState.TO_SIGN]
    page = numbered_page(lines, request)
    table = AttentionTable(page.rows, missed=missed, unreviewed=unreviewed)
    table.pager = page
    context = {
        "area": area,
        "tiles": _area_tiles(area, lines, missed, to_sign, unreviewed.total()),
        "table": table,
        "failed": FailedTable(failed) if failed else None,
        "to_sign": _sign_items(to_sign[:CASES_SHOWN]),
        "start": _start(request, area),
        "no_site": not sites,
    }
    return render(request, "overview/area.html", context)


def _start(request: HttpRequest, area: Area) -> Start | None:
    """What the area lacks still, for its supervisors, who alone can do all of it."""
    start = start_of(area.pk, request.user) if area.pk in keys_of_areas(request.user) else None
    return start if start and start.next else None


@dataclass(frozen=True, slots=True)
class Failed:
    probe: Probe
    summary: Summary | None


def _failed(sites: list[Site], cases: list[Summary]) -> list[Failed]:
    latest: dict[int, Summary] = {}
    for case in sorted(cases, key=lambda case: case.ends_at):
        latest[case.probe_id] = case
    in_use = Probe.objects.filter(site__in=among(site.pk for site in sites), withdrawn=False)
    probes = in_use.filter(state__standing=Standing.QUARANTINED).select_related("site", "state__last_check")
    return [Failed(probe, latest.get(probe.pk)) for probe in probes.order_by("site__name", "code")]


def _area_tiles(area, lines, missed, to_sign, unreviewed: int) -> list[dict]:
    """Each leads to a list of exactly what it counts."""

    def tile(value, one, many, tone, url, note=""):
        label = {"label": noun(value, one, many), "tone": tone if value else "good"}
        return {"value": value, **label, "url": url if value else "", "note": note}

    def total(name):
        return sum(getattr(line, name) for line in lines)

    checks, rounds = (sum(counts[n] for counts in missed.values()) for n in (0, 1))
    cases, of_area = reverse("case_list"), f"?area={area.pk}"
    missing, lately = reverse("area_missed", args=[area.pk]), f"in {MISSED_DAYS} days"
    return [
        tile(total("out_of_tolerance"), "probe out of tolerance", "probes out of tolerance", "bad", "#failed"),
        tile(total("in_doubt"), "reading to decide on", "readings to decide on", "bad", f"{cases}{of_area}&state=open"),
        tile(
            total("deviations"), "deviation open", "deviations open", "doubt", f"{reverse('deviation_list')}{of_area}"
        ),
        tile(total("overdue"), "check overdue", "checks overdue", "doubt", reverse("area_overdue", args=[area.pk])),
        tile(checks, "check missed", "checks missed", "doubt", f"{missing}?what=checks", lately),
        tile(rounds, "round missed", "rounds missed", "doubt", f"{missing}?what=rounds", lately),
        tile(unreviewed, "day not reviewed in time", "days not reviewed in time", "doubt", "#sites", lately),
        tile(len(to_sign), "case to sign", "cases to sign", "info", f"{cases}{of_area}&state=to_sign"),
    ]


def _area_item(area: Area, sites: int, calls: int) -> dict:
    waits = f"{calls} {noun(calls, 'needs', 'need')} attention" if calls else "nothing is waiting"
    return {
        "title": area.name,
        "url": reverse("area_detail", args=[area.pk]),
        "meta": f"{plural(sites, 'site')}, {waits}",
        "tone": "doubt" if calls else "good",
    }


def _sign_items(cases: list[Summary]) -> list[dict]:
    probes = Probe.objects.select_related("site").in_bulk({case.probe_id for case in cases})
    return [
        {
            "title": f"Probe {probes[case.probe_id]}",
            "url": reverse("case_detail", args=[case.slug]),
            "meta": f"{probes[case.probe_id].site}, {plural(case.readings, 'reading')}, all decided on",
            "badge_kind": "case",
            "badge_value": "decided",
        }
        for case in cases
    ]


def _other_sites(request, site: Site) -> dict:
    """Tabs where they are few, a search where they are many."""
    offer = SiteOffer(request.user, "open")
    mine = list(offer.sites()[: MENU + 1])
    if len(mine) > MENU:
        return {"find_site": ChooseSite(None, offer)}
    tabs = [{"label": s.name, "url": reverse("today_site", args=[s.pk]), "current": s.pk == site.pk} for s in mine]
    return {"sites": tabs}


def _tiles(site, due: list[ToDo], cases, waiting) -> list[dict]:
    overdue = sum(each.overdue for each in due)
    undecided = sum(case.undecided for case in cases)
    return [
        {
            "value": len(due),
            "label": _asked_for(due),
            "note": f"{overdue} overdue" if overdue else "",
            "tone": _tone(overdue, due),
            "url": reverse("reminder_list", args=[site.pk]),
        },
        {
            "value": undecided,
            "label": noun(undecided, "reading to decide on", "readings to decide on"),
            "tone": "bad" if undecided else "good",
            "url": reverse("case_list") if undecided else "",
        },
        {
            "value": waiting,
            "label": noun(waiting, "deviation open", "deviations open"),
            "tone": "doubt" if waiting else "good",
            "url": f"{reverse('deviation_list')}?site={site.pk}" if waiting else "",
        },
    ]


def _asked_for(due: list[ToDo]) -> str:
    if any(each.reminder for each in due):
        return noun(len(due), "check or reading to do", "checks and readings to do")
    return noun(len(due), "check to do", "checks to do")


def _tone(overdue, due) -> str:
    return "bad" if overdue else "doubt" if due else "good"


def _item(each: ToDo, site: Site, writes: bool, now: datetime) -> dict:
    item = _round_words(each, site, now) if each.reminder else _check_words(each, site, now)
    item |= {
        "badge_kind": "due",
        "badge_value": "overdue" if each.overdue else "due",
        "tone": "bad" if each.overdue else "doubt",
    }
    if writes:
        item["action_label"], item["action_url"] = each.action
    return item


def _check_words(each: ToDo, site: Site, now: datetime) -> dict:
    stake = f"{plural(each.stake, 'reading')} {noun(each.stake, 'depends', 'depend')} on it" if each.stake else ""
    why = "Decide: withdraw, adjust or repair, check again" if each.failed else _first_big(each.because or "check due")
    return {
        "title": _named(each.probe),
        "url": reverse("probe_detail", args=[each.probe.pk]),
        "meta": " · ".join(filter(None, (why, _due(each.due_at, site, now), stake))),
    }


def _due(due_at: datetime | None, site: Site, now: datetime) -> str:
    """Of today only the time; of another day also the day."""
    if due_at is None:
        return "due now"
    if local_day(due_at, site.zone) == local_day(now, site.zone):
        return f"due at {styled(due_at, site.zone, 'clock')}"
    return f"due {styled(due_at, site.zone, 'short')}"


def _round_words(each: ToDo, site: Site, now: datetime) -> dict:
    limit, appliance = each.reminder.limit, each.reminder.appliance
    due = _round_due(each, site, now)
    place = f"{limit.title} · {appliance.place}" if appliance and appliance.place else limit.title
    return {
        "title": f"Reading: {appliance or limit.title}",
        "url": reverse("limit_detail", args=[limit.pk]),
        "meta": f"{place} · {due}" if appliance else _first_big(due),
    }


def _round_due(each: ToDo, site: Site, now: datetime) -> str:
    """A round at a time of day names its time already."""
    due, because = _due(each.due_at, site, now), each.reminder.because
    return due if due == f"due {because}" else f"{because} · {due}"


def _named(probe: Probe) -> str:
    return f"{probe.code} · {probe.description}" if probe.description else probe.code


def _first_big(words: str) -> str:
    return words[:1].upper() + words[1:]


def _deviation_item(deviation, site: Site) -> dict:
    reading = deviation.reading
    return {
        "title": f"{reading.item}: {reading.typed} {reading.get_unit_display()}",
        "url": reverse("deviation_detail", args=[deviation.pk]),
        "meta": f"{deviation.why} · {styled(reading.taken_at, site.zone, 'short')}",
        "badge_kind": "deviation",
        "badge_value": "open",
        "tone": "doubt",
    }


def _away_items(site: Site, now: datetime) -> list[dict]:
    """What is out of use now, and so asked for by no round."""
    away = out_of_use_at(appliances_at(site).values_list("pk", flat=True), now)
    return [
        {
            "title": each.appliance.name,
            "meta": _first_big(away_words(each, site.zone)),
            "back_url": reverse("out_of_use_back", args=[each.pk]),
        }
        for each in away.values()
    ]


def _case_items(cases: list[Summary], site: Site) -> list[dict]:
    probes = Probe.objects.in_bulk({case.probe_id for case in cases})
    return [
        {
            "title": f"Probe {probes[case.probe_id]}: {plural(case.undecided, 'reading')} to decide on",
            "url": reverse("case_detail", args=[case.slug]),
            "meta": "Not to be relied on until somebody decides.",
            "badge_kind": "standing",
            "badge_value": "quarantined",
            "tone": "bad",
        }
        for case in cases
    ]


def _probe_item(probe: Probe, site: Site, found: Judgement, now: datetime) -> dict:
    state = state_of(probe)
    good = styled(state.last_good_at, site.zone, "day") if state.last_good_at else "never"
    return {
        "title": _named(probe),
        "url": reverse("probe_detail", args=[probe.pk]),
        "meta": f"Last good check: {good}" if found.ok else _first_big(found.why(site.zone, now)),
        "badge_kind": "fitness",
        "badge_value": found.state.value,
    }
