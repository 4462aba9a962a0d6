"""Taking a probe into the book, amending what is known of it, moving it."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from compliance.probes.access import get_probe
from compliance.probes.forms import AmendProbeForm, MoveForm, NewProbeForm
from shared.bounds import number_in
from shared.forms import attempt
from sites.access import get_site
from sites.choosing import MENU, SiteOffer
from sites.models import Role
from sites.views.parts import ask_for_site

from ..instruments import amend_probe, move_probe, register_probe

FORM = ["GET", "HEAD", "POST"]


@require_http_methods(FORM)
def probe_add(request):
    """A new probe at the site that `?site=` names; asks which, where the person manages several."""
    asked = number_in(request.GET.get("site"))
    offer = SiteOffer(request.user, "managed")
    sites = list(offer.sites()[: MENU + 1])
    if not sites:
        raise PermissionDenied(f"This needs the role of {Role.MANAGER.label}.")
    if asked is None and len(sites) > MENU:
        return ask_for_site(request, offer, title="Add a probe", lead="At which site is it?")
    if asked is None and len(sites) > 1:
        return render(request, "probes/probe_site.html", {"items": [site_item(site) for site in sites]})
    site = get_site(request.user, sites[0].pk if asked is None else asked, Role.MANAGER)
    form = NewProbeForm(request.POST or None, site=site)
    if form.is_valid():
        given = form.figures()
        probe = attempt(
            form, register_probe, by=request.user, site=site, starts_at=form.cleaned_data["starts_at"], **given
        )
        if probe:
            messages.success(request, f"{probe} is in the book. Check it at zero before its readings can be relied on.")
            return redirect("probe_detail", probe.pk)
    return render(
        request,
        "probes/probe_form.html",
        {
            "form": form,
            "title": "Add a probe",
            "lead": str(site),
            "submit_label": "Add the probe",
            "back_url": reverse("probe_list"),
            "back_label": "Probes",
        },
    )


def site_item(site) -> dict:
    return {"title": site.name, "meta": site.area.name, "url": f"?site={site.pk}"}


@require_http_methods(FORM)
def probe_edit(request, pk):
    probe = get_probe(request.user, pk, Role.MANAGER)
    form = AmendProbeForm(request.POST or None, probe=probe)
    if form.is_valid():
        attempt(form, amend_probe, by=request.user, probe=probe, **form.change())
        if not form.errors:
            messages.success(request, f"{probe} is saved.")
            return redirect("probe_detail", pk)
    return render(
        request,
        "probes/probe_form.html",
        {
            "form": form,
            "title": f"Probe {probe.code}",
            "lead": str(probe.site),
            "submit_label": "Save",
            "back_url": reverse("probe_detail", args=[pk]),
            "back_label": "The probe",
        },
    )


@require_http_methods(FORM)
def probe_move(request, pk):
    probe = get_probe(request.user, pk, Role.MANAGER)
    form = MoveForm(request.POST or None, probe=probe, person=request.user)
    if form.is_valid():
        placement = attempt(form, move_probe, by=request.user, probe=probe, **form.cleaned_data)
        if placement:
            messages.success(request, f"{probe} is at {placement.site}. Its readings stay where they were taken.")
            return redirect("probe_detail", pk)
    back = reverse("probe_detail", args=[pk])
    return render(
        request,
        "probes/probe_move.html",
        {
            "form": form,
            "probe": probe,
            "title": f"Move probe {probe.code}",
            "back_url": back,
            "back_label": "The probe",
            "cancel_url": back,
            "facts": [("Now at", str(probe.site))],
            "submit_label": "Move it",
        },
    )
