"""The list of probes, and one probe with its timeline."""

from django.db.models import Q
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from compliance.plans.queries import plan_in_force
from compliance.probes.access import get_probe
from compliance.probes.models import Event, Placement, Probe
from compliance.probes.wording import probe_changes
from shared.bounds import number_in
from shared.keyset import Page, page_by_key
from shared.templatetags.noughtbook import when
from shared.time_text import local_moment
from shared.units import from_milli, number, show_spread, show_step
from sites.access import keys_of_areas, keys_of_sites, role_at
from sites.addresses import address
from sites.models import Role, Site
from sites.wording import lines_of

from .. import drafts, unfinished
from ..filters import ProbeFilter
from ..fitness import Judgement, fitness_of
from ..models import BEGINNING, Check, Span, Standing
from ..pictures import SHOWN, timeline_pair
from ..queries import due_word, is_let_be, probes_now_at_sites_of
from ..signals import contradictions_wanted
from ..surroundings import unfit_for_boiling
from ..tables import CheckTable, EventTable, PlacementTable, ProbeTable, standing_of

PAGE, FEW = 50, 15
AWAY = "Label it and keep it apart. When it comes back, record that it was returned to use and check it."
WAITS = (
    "What it read since its last good check waits for another one: check it, or record that it is gone, before that is "
    "relied on."
)
MEANS = {
    Standing.PROVEN: ("good", "A good check on either side: it was in tolerance."),
    Standing.PENDING: ("info", "In tolerance at its last check. The next one proves what is read meanwhile."),
    Standing.QUARANTINED: ("bad", "Do not use it. What it measures now cannot be relied on until it passes a check."),
    Standing.UNPROVEN: ("caution", "No good check yet. What it measures now is unproven: check it before use."),
}


@require_GET
def probe_list(request):
    chosen = ProbeFilter(request.GET, queryset=probes_now_at_sites_of(request.user), person=request.user)
    now = timezone.now()
    page, judged = _page(chosen, request, now)
    rows = page.rows
    writes = set(keys_of_sites(request.user, Role.COOK))
    manages = bool(keys_of_sites(request.user, Role.MANAGER))
    table = ProbeTable(rows, now=now, writes=writes, judged=judged or fitness_of([row.pk for row in rows], now))
    table.pager = page
    active = sum(1 for name in ("code", "site", "fitness", "use") if chosen.form.cleaned_data.get(name))
    context = {
        "table": table,
        "form": chosen.form,
        "active": active,
        "reset_url": reverse("probe_list"),
        "add_url": address("probe_add") if manages else None,
        "labels_url": _labels(chosen.form.cleaned_data.get("site")) if manages else None,
        "none": not (rows or active or request.GET),
        "add_site": address("site_add") if not manages and keys_of_areas(request.user) else None,
    }
    return render(request, "checks/probe_list.html", context)


def _labels(site: Site | None) -> str | None:
    """Where labels are printed for the site that the list was asked for, or for one of them all."""
    page = address("probe_labels_site")
    return f"{page}?site={site.pk}" if page and site else page


def _page(chosen: ProbeFilter, request, now) -> tuple[Page, dict[int, Judgement]]:
    """One page by code, so that the thousandth costs no more than the first; and what was judged to find it."""
    query, queryset = request.GET.copy(), chosen.qs
    code, _, pk = query.pop("from", [""])[-1].rpartition("~")
    first = f"?{query.urlencode()}" if code else None
    if number_in(pk) is not None:
        queryset = queryset.filter(Q(code__gt=code) | Q(code=code, pk__gte=number_in(pk)))
    # Put in order by what is narrow; joined to the rest are those of the page alone.
    found, judged = chosen.first(queryset, PAGE + 1, now)
    following = None
    if len(found) > PAGE:
        query["from"] = "~".join(map(str, found[PAGE]))
        following = f"?{query.urlencode()}"
    rows = queryset.in_bulk([pk for _, pk in found[:PAGE]])
    shown = [rows[pk] for _, pk in found[:PAGE] if pk in rows]  # one may have gone from the list meanwhile
    return Page(shown, older=following, newer=first, newer_label="First page", older_label="Next"), judged


@require_GET
def probe_detail(request, pk):
    probe, now = get_probe(request.user, pk), timezone.now()
    if unfinished.store_left(now, probe):
        probe = get_probe(request.user, pk)  # as it is now
    site, role = probe.site, role_at(request.user, probe.site) or 0
    history = Check.objects.filter(probe=probe).select_related("void").prefetch_related("checked_by__names")
    page = page_by_key(history, request, "checked_at", FEW)
    table = CheckTable(page.rows, site=site)
    table.pager = page
    happened = Event.objects.filter(probe=probe).select_related("void")
    happened = happened.prefetch_related("recorded_by__names", "void__recorded_by__names")
    events = list(happened.order_by("-at", "-pk")[:100])
    stays = Placement.objects.filter(probe=probe).select_related("site").prefetch_related("recorded_by__names")
    placements = PlacementTable(stays.order_by("-starts_at", "-pk")[:50])
    context = {
        "probe": probe,
        "site": site,
        "fitness": fitness_of([pk], now)[pk].state.value,
        "checks": table,
        "facts": _facts(probe, now),
        "events": EventTable(events, site=site, strikes=role >= Role.SUPERVISOR),
        "placements": placements,
        "about": _about(probe),
        "picture": _picture(probe, history, events, now),
        "notices": _notices(request, probe, role),
        "changes": lines_of(probe_changes([pk], site.unit), site.zone),
        "actions": _actions(probe, role),
        "check_url": reverse("zero_check", args=[pk]) if role >= Role.COOK else "",
        "tag_url": address("probe_tag", pk) if role >= Role.COOK else None,
        "labels_url": _labels_of(probe) if role >= Role.MANAGER else None,
        "print_url": address("probe_print", pk),
        "outlook_url": address("probe_outlook", pk),
        "outlook_part_url": address("probe_outlook_part", pk),
    }
    return render(request, "checks/probe_detail.html", context)


def _labels_of(probe: Probe) -> str | None:
    """Where its label is printed; none for one that is withdrawn."""
    page = None if probe.withdrawn else address("probe_labels", probe.site_id)
    return page and f"{page}?probe={probe.pk}"


def _picture(probe: Probe, history, events, now):
    spans = list(Span.objects.filter(probe=probe, ends_at__gt=now - SHOWN))
    checks = list(history.filter(checked_at__gt=now - SHOWN))
    return timeline_pair(probe, probe.site, spans, checks, [e for e in events if not hasattr(e, "void")], now)


def _facts(probe: Probe, now) -> list[tuple]:
    state, zone = getattr(probe, "state", None), probe.site.zone
    last_good = when(state.last_good_at, zone) if state and state.last_good_at else "never"
    if is_let_be(probe):
        due = "not while withdrawn"
    elif state is None or state.due_at == BEGINNING:
        due = "now: never checked"
    elif state.due_at is None:
        due = f"none: {state.due_because}"
    else:
        since = {"overdue": "overdue since ", "due": "due since "}.get(due_word(state, now), "")
        due = f"{since}{local_moment(state.due_at, zone)} ({state.due_because})"
    unit = probe.site.unit
    return [
        ("Last good check", last_good),
        ("Next check", due),
        ("Tolerance", show_spread(probe.tolerance_milli, unit, 1)),
        ("Where it is", probe.site),
    ]


def _about(probe: Probe) -> list[tuple]:
    unit, label, plan = probe.site.unit, probe.site.get_unit_display(), plan_in_force(probe)
    low, high = (number(from_milli(m, unit), 0) for m in (probe.lowest_milli, probe.highest_milli))
    return [
        ("Kind of sensor", probe.get_sensor_display()),
        ("Display steps", show_step(probe.resolution_milli)),
        ("Working range", f"{low} to {high} {label}"),
        ("Checked", f"{plan.plan.told} ({plan.source})"),
        ("Maker and model", " ".join(filter(None, [probe.maker, probe.model]))),
        ("Serial number", probe.serial),
    ]


def _notices(request, probe: Probe, role: int) -> list[dict]:
    notices, begun = [], drafts.of(probe)
    told = (words for _, words in contradictions_wanted.send(Probe, probe=probe) if words)
    notices += [
        {"tone": "doubt", "heading": "Two records of it contradict each other", "text": words} for words in told
    ]
    if any(draft.outside_since for draft in begun):
        notices.append(
            {
                "tone": "bad",
                "heading": "Do not use it",
                "text": "A check that is not finished shows a number beyond what is allowed.",
            }
        )
    for draft in (each for each in begun if each.person_id == request.user.pk and role >= Role.COOK):
        page = reverse(drafts.guidance_of(draft).address, args=[probe.pk])
        notices.append(
            {
                "tone": "info",
                "heading": f"You have begun a check of its {draft.get_kind_display()}",
                "text": "",
                "url": page,
                "link": "Go on with it",
            }
        )
    if probe.withdrawn:
        notices.append(
            {
                "tone": "caution",
                "heading": "Withdrawn from use",
                "text": AWAY if is_let_be(probe) else f"{AWAY} {WAITS}",
            }
        )
    standing = standing_of(probe)
    tone, text = MEANS[Standing(standing)]
    if standing in (Standing.PENDING, Standing.PROVEN) and probe.state.at_once_because:
        tone, text = "caution", f"Check it before you use it: {probe.state.at_once_because}."
    last = Span.objects.filter(probe=probe, standing=Standing.QUARANTINED).order_by("-ends_at").first()
    case = address("case_detail", last.anchor.replace(":", "-")) if last and standing == Standing.QUARANTINED else None
    notices.append({"tone": tone, "text": text, "url": case, "link": "Readings in quarantine"})
    return notices


def _actions(probe: Probe, role: int) -> list[dict]:
    offered = [
        (Role.COOK, "event_add", "Something happened to it"),
        (Role.MANAGER, "check_paper_zero", "Enter a check from paper"),
        (Role.MANAGER, "certificate_add", "Enter a certificate"),
        (Role.MANAGER, "plan_probe", "Change its plan"),
        (Role.MANAGER, "probe_move", "Move to another site"),
        (Role.MANAGER, "probe_edit", "Edit"),
    ]
    if not unfit_for_boiling(probe):
        offered.insert(0, (Role.COOK, "boiling_check", "Check at boiling"))
        offered.insert(3, (Role.MANAGER, "check_paper_boiling", "Enter a boiling check from paper"))
    found = [{"url": address(name, probe.pk), "label": label} for needed, name, label in offered if role >= needed]
    return [action for action in found if action["url"]]
