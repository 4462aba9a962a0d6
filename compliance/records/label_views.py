"""Labels for probes, and the tag for one that may not be used. Printing reads and writes nothing.

What prints is heavy, and loaded with the first print.
"""

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from compliance.checks.fitness import fitness_of
from compliance.probes.access import get_probe
from shared.bounds import number_in
from shared.printing.grid import GRIDS
from shared.request_slots import HEAVY, few
from shared.system_checks import is_here
from sites.access import get_site
from sites.choosing import SiteOffer
from sites.models import Role, Site
from sites.views.parts import ask_for_site

from .label_forms import LabelForm
from .views import pdf


@require_safe
def probe_labels_site(request: HttpRequest) -> HttpResponse:
    """Leads to the labels of the site that `?site=` names; asks which, where the person manages several."""
    asked, offer = number_in(request.GET.get("site")), SiteOffer(request.user, "managed")
    managed = list(offer.sites()[:2])
    if not managed:
        raise PermissionDenied(f"This needs the role of {Role.MANAGER.label}.")
    if asked is None and len(managed) > 1:
        return ask_for_site(request, offer, title="Print labels", lead="For the probes of which site?")
    return redirect("probe_labels", managed[0].pk if asked is None else asked)


@require_safe
def probe_labels(request: HttpRequest, site_pk: int) -> HttpResponse:
    """Probes, size of label and first free one; the answer is the sheet. `?probe=` ticks one ahead."""
    site = get_site(request.user, site_pk, Role.MANAGER)
    ticked = number_in(request.GET.get("probe"))
    return _form_page(request, site, LabelForm(site=site, ticked=[] if ticked is None else [ticked]))


@require_safe
@few(HEAVY, "printing")
def probe_labels_print(request: HttpRequest, site_pk: int) -> HttpResponse:
    """The labels as a PDF, or the form again where there is something wrong with it."""
    from .labels import write_labels

    site = get_site(request.user, site_pk, Role.MANAGER)
    form = LabelForm(request.GET, site=site)
    probes = form.probes() if form.is_valid() else []
    if form.is_valid() and not probes:
        form.add_error(None, "There is no probe in use at this site.")
    if not form.is_valid():
        return _form_page(request, site, form, status=400)
    grid, first = GRIDS[form.cleaned_data["grid"]], form.cleaned_data["first"]
    name = f"labels-{slugify(site.name)[:60] or site.pk}.pdf"
    return pdf(lambda out: write_labels(out, site, probes, grid, first), name)


@require_safe
@few(HEAVY, "printing")
def probe_tag(request: HttpRequest, pk: int) -> HttpResponse:
    """The tag of a probe that may not be used, for whoever records there; of another there is none."""
    from .tag import refusal_of, write_tag

    probe, now = get_probe(request.user, pk, Role.COOK), timezone.now()
    judged = fitness_of([pk], now)[pk]
    if not judged.refused:
        messages.info(request, f"Nothing was printed: {probe} is not one that may not be used.")
        return redirect("probe_detail", pk)
    refusal, by = refusal_of(probe, judged), request.user.name
    name = f"do-not-use-{slugify(probe.code) or probe.pk}.pdf"
    return pdf(lambda out: write_tag(out, probe, refusal, printed_by=by, now=now), name)


def _form_page(request: HttpRequest, site: Site, form: LabelForm, status: int = 200) -> HttpResponse:
    context = {
        "site": site,
        "form": form,
        "back_url": reverse("probe_list"),
        "print_url": reverse("probe_labels_print", args=[site.pk]),
        "only_here": settings.ADDRESS if is_here(settings.ADDRESS) else "",
    }
    return render(request, "records/label_form.html", context, status=status)
