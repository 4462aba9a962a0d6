"""What is measured regularly at a site: naming it, changing and retiring it, taking it out of use and back."""

from datetime import timedelta

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from compliance.appliances.access import get_appliance, get_out_of_use
from compliance.appliances.forms import (
    ApplianceChangeForm,
    ApplianceForm,
    OutOfUseForm,
    RetireApplianceForm,
    VoidOutOfUseForm,
)
from compliance.appliances.models import OutOfUse, Why
from compliance.appliances.queries import appliances_at, out_of_use_at
from compliance.appliances.tables import ApplianceTable, OutOfUseTable
from compliance.limits.queries import versions_in_force
from shared.forms import attempt, form_page, tell
from shared.time_text import short_moment
from sites.access import get_site, may
from sites.models import Role, Site

from ..planning import add_appliance, change_appliance, put_back_in_use, take_out_of_use, void_out_of_use

FORM = ["GET", "HEAD", "POST"]
LATELY = timedelta(days=28)
ASKED_FOR = "Each round of its limit asks for a reading of it."


@require_safe
def appliance_list(request, site_pk):
    site, now = get_site(request.user, site_pk), timezone.now()
    manages, writes = (may(request.user, site, role) for role in (Role.MANAGER, Role.COOK))
    appliances = list(appliances_at(site))
    versions = {version.limit_id: version for version in versions_in_force(site, now)}
    away = out_of_use_at([each.pk for each in appliances], now)
    rows = [{"appliance": e, "version": versions.get(e.limit_id), "away": away.get(e.pk)} for e in appliances]
    return render(
        request,
        "appliances/appliance_list.html",
        {
            "site": site,
            "manages": manages,
            "table": ApplianceTable(rows, site=site, manages=manages, writes=writes),
            "lately": OutOfUseTable(_lately(site, now), site=site, manages=manages),
            "none": not rows,
            "no_limit": not versions,
        },
    )


def _lately(site: Site, now) -> list[OutOfUse]:
    times = OutOfUse.objects.filter(appliance__site=site, starts_at__gt=now - LATELY)
    related = times.select_related("appliance", "back", "void", "recorded_by").prefetch_related("recorded_by__names")
    return list(related.order_by("-starts_at", "-pk"))


@require_http_methods(FORM)
def appliance_add(request, site_pk):
    site = get_site(request.user, site_pk, Role.MANAGER)
    form = ApplianceForm(request.POST or None, site=site)
    if form.is_valid() and (made := attempt(form, add_appliance, by=request.user, **form.cleaned_data)):
        messages.success(request, f"{made} is named. {ASKED_FOR}")
        return redirect("appliance_list", site.pk)
    return _form_page(request, site, form, title="Name an appliance", lead=ASKED_FOR, submit_label="Name it")


@require_http_methods(FORM)
def appliance_edit(request, pk):
    appliance = get_appliance(request.user, pk, Role.MANAGER)
    form = ApplianceChangeForm(request.POST or None, appliance=appliance)
    if form.is_valid() and attempt(form, change_appliance, by=request.user, appliance=appliance, **form.change()):
        messages.success(request, "Changed.")
        return redirect("appliance_list", appliance.site_id)
    lead = f"{appliance.limit}. For another limit retire it, and name it anew."
    return _form_page(request, appliance.site, form, title=f"Change {appliance}", lead=lead)


@require_http_methods(FORM)
def appliance_retire(request, pk):
    appliance = get_appliance(request.user, pk, Role.MANAGER)
    form, given = RetireApplianceForm(request.POST or None), {"appliance": appliance, "changes": {"retired": True}}
    if appliance.retired:
        messages.error(request, f"{appliance} is not measured any more already. Nothing was changed.")
        return redirect("appliance_list", appliance.site_id)
    if form.is_valid() and attempt(form, change_appliance, by=request.user, **given, **form.cleaned_data):
        messages.success(request, f"{appliance} is measured no longer.")
        return redirect("appliance_list", appliance.site_id)
    lead = "Nothing more falls due for it. What has fallen due stays, and so does its history."
    return _form_page(request, appliance.site, form, title=f"Retire {appliance}?", lead=lead, submit_label="Retire it")


@require_http_methods(FORM)
def appliance_out(request, pk):
    appliance = get_appliance(request.user, pk, Role.COOK)
    form = OutOfUseForm(request.POST or None, site=appliance.site)
    if form.is_valid() and (
        made := attempt(form, take_out_of_use, by=request.user, appliance=appliance, data=form.told())
    ):
        messages.success(request, f"{appliance} is out of use: {made.words}. No reading of it is owed.")
        return redirect(_back(request, appliance.site))
    return form_page(
        request,
        "appliances/out_of_use_form.html",
        form,
        reasons=Why.choices,
        title=f"{appliance} is out of use",
        lead="One tap says why. No reading of it is owed until it is back; the record says so, with your name.",
        back_url=_back(request, appliance.site),
        next=request.POST.get("next") or request.GET.get("next") or "",
        more_open=any(name in form.errors for name in ("starts_at", "ends_at", "note")),
    )


@require_POST
def out_of_use_back(request, pk):
    away = get_out_of_use(request.user, pk, Role.COOK)
    done = f"{away.appliance} is in use again. Rounds ask for it from now on."
    tell(request, done, put_back_in_use, out_of_use=away)
    return redirect(_back(request, away.appliance.site))


@require_http_methods(FORM)
def out_of_use_void(request, pk):
    away = get_out_of_use(request.user, pk, Role.MANAGER)
    site, form = away.appliance.site, VoidOutOfUseForm(request.POST or None)
    if form.is_valid() and attempt(form, void_out_of_use, by=request.user, out_of_use=away, **form.cleaned_data):
        messages.success(request, "Struck out. It stays readable, and what was asked for in that time was owed.")
        return redirect("appliance_list", site.pk)
    since = short_moment(away.starts_at, site.zone)
    lead = f"{away.appliance}, {away.words}, since {since}."
    return _form_page(request, site, form, title="Was it in use all the time?", lead=lead, submit_label="Strike it out")


def _back(request, site: Site) -> str:
    """The page of this book that it was tapped on; that of the day where none is named."""
    there = request.POST.get("next") or request.GET.get("next") or ""
    if there.startswith("/") and url_has_allowed_host_and_scheme(there, allowed_hosts=None):
        return there
    return reverse("today_site", args=[site.pk])


def _form_page(request, site: Site, form, **told):
    back = reverse("appliance_list", args=[site.pk])
    return form_page(request, "plans/plan_form.html", form, back_url=back, back_label="Appliances", **told)
