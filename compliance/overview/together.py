"""Choosing which of the probes due at a site are checked together in one ice bath."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from compliance.checks import shared_bath as baths
from compliance.checks.kinds import USUAL
from compliance.checks.queries import to_be_checked
from compliance.probes.models import Probe
from shared.fields import RecordsField
from sites.access import get_site
from sites.models import Role, Site

from .queries import probes_in_use
from .todo import for_one_bath, to_do_today


class Together(forms.Form):
    """Which probes go into the bath. One that a colleague checked meanwhile may still be chosen; it is at this site."""

    probes = RecordsField(
        queryset=None,
        widget=forms.CheckboxSelectMultiple,
        label="Probes for this bath",
        error_messages={
            "required": "Choose at least one probe.",
            "invalid_choice": "One of these probes is not in use at this site. Look at the list and choose again.",
        },
    )

    def __init__(self, *args, site: Site, due: list[Probe], **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["probes"].queryset = Probe.objects.filter(to_be_checked(), site=site).select_related("site")
        self.fields["probes"].choices = [(probe.pk, _named(probe)) for probe in due]
        self.initial.setdefault("probes", [probe.pk for probe in due])


@require_http_methods(["GET", "HEAD", "POST"])
def together(request: HttpRequest, pk: int) -> HttpResponse:
    """The probes due for a check at zero, all chosen; the way of making the bath is the button."""
    site, now = get_site(request.user, pk, Role.COOK), timezone.now()
    due = [each.probe for each in for_one_bath(to_do_today(site, probes_in_use(site), now))]
    form = Together(request.POST or None, site=site, due=due)
    if form.is_valid():
        begun = baths.begin(
            request.user, list(form.cleaned_data["probes"]), USUAL.guidance.way(request.POST.get("kind")), now
        )
        return redirect(reverse(USUAL.guidance.address, args=[begun[0].probe_id]))
    context = {"site": site, "form": form, "title": "Check these together", "nothing": not due}
    return render(request, "overview/together.html", context | {"back_url": reverse("today_site", args=[pk])})


def _named(probe: Probe) -> str:
    return f"{probe.code} · {probe.description}" if probe.description else probe.code
