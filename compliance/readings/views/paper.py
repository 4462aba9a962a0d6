"""The page on which a sheet of paper is entered afterwards."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shared.plurals import plural
from sites.choosing import SiteOffer
from sites.views.parts import ask_for_site

from ..access import sites_to_record_at
from ..paper import PaperSheet
from .readings import FORM, site_asked_for

TITLE = "Enter paper notes"


@require_http_methods(FORM)
def reading_paper(request):
    """Readings of one day from paper: each line under who read it, with who entered it and when beside it."""
    site = site_asked_for(request)
    if site is None:
        offer = SiteOffer(request.user, "recording")
        if offer.are_many():
            return ask_for_site(request, offer, title=TITLE, lead="At which site were they read?")
        sites = sites_to_record_at(request.user).order_by("name")
        items = [{"title": s.name, "url": f"?site={s.pk}", "meta": s.area.name} for s in sites]
        return render(request, "readings/choose_site.html", {"items": items, "title": TITLE})
    sheet = PaperSheet(site, request.user, request.POST or None)
    done = sheet.save() if request.method == "POST" else False
    if sheet.saved:
        messages.success(request, f"{plural(len(sheet.saved), 'reading')} saved, with who read and who entered them.")
    if done:
        return redirect(f"{reverse('reading_paper')}?site={site.pk}")
    back = f"{reverse('reading_list')}?site={site.pk}"
    context = {"sheet": sheet, "site": site, "title": TITLE, "back_url": back}
    return render(request, "readings/paper.html", context, status=422 if request.method == "POST" else 200)
