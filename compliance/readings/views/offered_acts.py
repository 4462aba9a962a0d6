"""What a site offers as buttons where a limit is not met."""

from django.contrib import messages
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shared.forms import attempt, form_page
from shared.stale_forms import newest
from sites.access import get_site
from sites.models import Role

from ..actions import set_offered_acts
from ..forms import OfferedActsForm
from ..offered_acts import ActsData, acts_of


@require_http_methods(["GET", "HEAD", "POST"])
def acts_change(request, site_pk):
    site, back = get_site(request.user, site_pk, Role.MANAGER), reverse("site_list")
    form = OfferedActsForm(request.POST or None, acts=acts_of(site), after=newest(site.offered_acts.all()))
    if form.is_valid():
        given = dict(form.cleaned_data)
        after = given.pop("after")
        if attempt(form, set_offered_acts, by=request.user, site=site, data=ActsData(**given), after=after):
            messages.success(request, "Set. A round offers these from now on.")
            return redirect("appliance_list", site.pk)
    context = {
        "form": form,
        "title": "Where a limit is not met",
        "lead": f"{site}. What a round offers as buttons; other words can always be typed.",
        "back_url": back,
        "back_label": "Sites",
        "submit_label": "Set these lists",
    }
    return form_page(request, "plans/plan_form.html", **context)
