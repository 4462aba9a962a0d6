"""Readings: the list, one of them, taking, correcting and voiding."""

from functools import partial
from urllib.parse import urlsplit
from uuid import uuid4

from django.contrib import messages
from django.http import QueryDict, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from compliance.limits.queries import version_in_force
from shared.bounds import number_in
from shared.forms import attempt
from shared.kept_pages import keep
from shared.key_lists import among
from shared.keyset import page_by_key
from shared.request_slots import FILES, few
from shared.time_text import duration
from sites.access import get_site, keys_of_sites, sites_of
from sites.choosing import SiteOffer
from sites.models import Role
from sites.views.parts import ask_for_site

from ..access import get_reading, sites_to_record_at
from ..actions import correct, record, void
from ..data import ReadingData
from ..exporting import csv_lines
from ..filters import ReadingFilter
from ..forms import CorrectForm, ReadingForm, ReadingVoidForm
from ..limit_evaluation import doubts_of
from ..models import Reading
from ..queries import readings_seen_by, sent_before, track_of
from ..tables import ReadingTable
from .detail import detail_of
from .parts import list_tabs, part_asked_for, reading_page, voided_notice

FORM = ["GET", "HEAD", "POST"]


@require_safe
def reading_list(request):
    chosen = ReadingFilter(request.GET, request.user)
    seen = readings_seen_by(request.user)
    narrowing = chosen.narrowing
    by_key = {"narrowing": narrowing} if narrowing else {}
    shown = seen if chosen.few or narrowing else None
    page = page_by_key(chosen.narrow(seen), request, "taken_at", shown=shown, **by_key)
    table = ReadingTable(page.rows, one_site=chosen.one_site)
    table.pager = page
    template = "readings/rows.html" if request.htmx else "readings/reading_list.html"
    query = request.GET.copy()
    for name in ("after", "before"):
        query.pop(name, None)
    return render(
        request,
        template,
        {
            "table": table,
            "form": chosen,
            "active": chosen.active,
            "export": f"{reverse('reading_export')}?{query.urlencode()}",
            "tabs": list_tabs("reading_list"),
            "writes": bool(keys_of_sites(request.user, Role.COOK)),
            "reset_url": reverse("reading_list"),
            "other_site": request.htmx and _site_of(request.htmx.current_url) != chosen.asked_site,
        },
    )


def _site_of(address: str | None) -> int | None:
    """The site that the page was about until now."""
    return number_in(QueryDict(urlsplit(address or "").query).get("site"))


@require_safe
@few(FILES, "taking out files")
def reading_export(request):
    """The readings of the list, whole, as a file of the shape that comes in."""
    chosen = ReadingFilter(request.GET, request.user)
    if wrong := chosen.ahead():
        messages.error(request, wrong)
        return redirect(f"{reverse('reading_list')}?{request.GET.urlencode()}")
    sites = list(sites_of(request.user).select_related("area"))
    found = chosen.narrow(Reading.objects.filter(site__in=among([site.pk for site in sites])))  # all of them are sent
    response = StreamingHttpResponse(csv_lines(found, sites), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="readings-{timezone.now():%Y-%m-%d}.csv"'
    return response


@require_http_methods(FORM)
def reading_add(request):
    site = site_asked_for(request)
    if site is None:
        offer = SiteOffer(request.user, "recording")
        if offer.are_many():
            return ask_for_site(request, offer, title="Take a reading", lead="At which site are you?")
        sites = sites_to_record_at(request.user).order_by("name")
        items = [{"title": s.name, "url": f"?site={s.pk}", "meta": s.area.name} for s in sites]
        return render(request, "readings/choose_site.html", {"items": items})
    url = reverse("reading_add") + f"?site={site.pk}"
    form = ReadingForm(request.POST or None, initial=asked(request), site=site, person=request.user, url=url)
    if request.htmx and request.method == "GET":
        return part_asked_for(request, form)
    doubts = []
    if form.is_valid():
        doubts = doubts_about(form)
        reading = save(form, partial(record, by=request.user)) if sure(request, doubts) else None
        if reading:
            return redirect("reading_detail", reading.pk)
    page = reading_page(request, form, doubts, title="Take a reading", lead=site.name, submit_label="Save the reading")
    return keep(page, url)


def site_asked_for(request):
    """The site in the address, or the only one there is; None where somebody has to choose."""
    pk = number_in(request.GET.get("site"))
    if pk is not None:
        return get_site(request.user, pk, Role.COOK)
    sites = list(sites_to_record_at(request.user)[:2])
    return sites[0] if len(sites) == 1 else None


def asked(request) -> dict:
    """What the address, or the part of the page that is drawn again, says already."""
    names = ("probe", "limit", "appliance", "item", "hold_s", "since_start_s", "typed", "unit", "used_despite")
    return {name: request.GET[name] for name in names if request.GET.get(name)}


def doubts_about(form) -> list[str]:
    """What should make somebody look again before it is saved."""
    data = ReadingData(**form.facts(), taken_at=form.cleaned_data["taken_at"] or timezone.now())
    return doubts_of(version_in_force(data.limit, data.taken_at), track_of(data.probe), data)


def sure(request, doubts: list[str]) -> bool:
    return not doubts or "all_the_same" in request.POST


def save(form, act):
    """What the action made; None where it refused, with its words on the form. A key that was used gets a fresh one."""
    facts = form.facts()
    known = sent_before(form.site, facts["key"])
    facts["taken_at"] = (
        form.cleaned_data["taken_at"] or (known and known.taken_at) or timezone.now().replace(microsecond=0)
    )
    made = attempt(form, act, data=ReadingData(**facts))
    if made is None and known:
        form.data = form.data.copy()
        form.data["key"] = uuid4().hex
    return made


@require_safe
def reading_detail(request, pk):
    reading = get_reading(request.user, pk)
    return render(request, "readings/reading_detail.html", detail_of(request, reading))


@require_http_methods(FORM)
def reading_correct(request, pk):
    reading = get_reading(request.user, pk, Role.COOK)
    notice = voided_notice(request, reading)
    if notice:
        return notice
    url = reverse("reading_correct", args=[pk])
    form = CorrectForm(
        request.POST or None,
        initial=told(reading) | asked(request),
        site=reading.site,
        person=request.user,
        url=url,
        old=reading,
    )
    if request.htmx and request.method == "GET":
        return part_asked_for(request, form)
    doubts = []
    if form.is_valid():
        keep_seconds(form, reading)
        doubts = doubts_about(form)
        act = partial(correct, by=request.user, reading=reading, reason=form.cleaned_data["reason"])
        new = save(form, act) if sure(request, doubts) else None
        if new:
            messages.info(request, "Corrected. The old entry stays readable.")
            return redirect("reading_detail", new.pk)
    lead = f"{reading}, {reading.site}"
    return reading_page(
        request,
        form,
        doubts,
        title="Correct a reading",
        lead=lead,
        submit_label="Save the correction",
        back_url=reverse("reading_detail", args=[pk]),
    )


def told(reading) -> dict:
    return {
        "probe": reading.probe_id,
        "limit": reading.limit_version.limit_id,
        "appliance": reading.appliance_id,
        "item": reading.item,
        "typed": reading.typed,
        "unit": reading.unit,
        "taken_at": reading.taken_at,
        "taken_by": reading.taken_by_id,
        "note": reading.note,
        "hold_s": f"{reading.hold_s} s" if reading.hold_s is not None else "",
        "used_despite": reading.used_despite,
        "since_start_s": duration(reading.since_start_s) or "0 s" if reading.since_start_s is not None else "",
    }


def keep_seconds(form, reading) -> None:
    """The form shows minutes; a time that was left alone stays what it was."""
    at = form.cleaned_data["taken_at"]
    if at is None or at == reading.taken_at.replace(second=0, microsecond=0):
        form.cleaned_data["taken_at"] = reading.taken_at


@require_http_methods(FORM)
def reading_void(request, pk):
    reading = get_reading(request.user, pk, Role.MANAGER)
    notice = voided_notice(request, reading)
    if notice:
        return notice
    form = ReadingVoidForm(request.POST or None)
    if form.is_valid() and attempt(form, void, by=request.user, reading=reading, **form.cleaned_data):
        messages.success(request, "Struck out. It stays readable.")
        return redirect("reading_detail", pk)
    return render(request, "readings/reading_void.html", {"form": form, "reading": reading})
