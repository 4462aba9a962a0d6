"""Sites and areas: which there are, and what is known of them."""

from django.contrib import messages
from django.db.models import Count, Q
from django.http import Http404
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from shared.bounds import number_in
from shared.forms import attempt
from shared.page_numbers import numbered_page
from shared.widgets import searched_words

from ..access import areas_of, businesses_of, clock_of, get_area, get_business, get_site, sites_of
from ..actions import add_area, add_site, amend_area, amend_business, amend_site
from ..addresses import address
from ..choosing import NOT_CHOSEN, SCOPES, SiteOffer, choice_of, words_in
from ..forms import AmendSiteForm, AreaForm, BusinessForm, NewSiteForm, places
from ..models import Area, Business, Role
from ..people import require_supervisor
from ..tables import AreaTable, SiteTable, site_rows
from ..wording import business_changes, lines_of, site_changes
from .parts import setup_tabs

FORM = ["GET", "HEAD", "POST"]


@require_safe
def site_list(request):
    found = sites_of(request.user).select_related("area__business").order_by("closed", "area__name", "name")
    page = numbered_page(found, request)
    table = SiteTable(site_rows(page.rows, request.user))
    table.pager = page
    tabs = setup_tabs(request.user, "site_list")
    some = page.rows or page.newer
    return render(
        request, "sites/site_list.html", {"table": table if some else None, "tabs": tabs, "may_add": bool(tabs)}
    )


@require_safe
def site_choices(request):
    """The options of a menu for the words in its search box. Each form asks again whether its choice may be made."""
    scope, field = request.GET.get("scope", "seen"), request.GET.get("field", "site")
    if scope not in SCOPES:
        raise Http404
    offer = SiteOffer(request.user, scope, number_in(request.GET.get("of")))
    words = words_in(request.GET, field)
    found = offer.search(words)
    context = {
        "first": searched_words(words, found) or NOT_CHOSEN,
        "found": [choice_of(site, field) for site in found],
        "areas": places(areas_of(request.user).order_by("name"), [])[1:] if field == "place" else [],
    }
    return render(request, "sites/site_choices.html", context)


@require_http_methods(FORM)
def site_add(request):
    require_supervisor(request.user)
    areas = areas_of(request.user).order_by("name")
    form = NewSiteForm(request.POST or None, areas=areas, initial=like_its_neighbours(areas))
    if form.is_valid():
        site = attempt(form, add_site, by=request.user, **form.cleaned_data)
        if site:
            messages.success(request, f"{site} is in the book. Next: its limits, its probes, its people.")
            return redirect(address("limit_list", site.pk) or "site_list")
    return render(
        request, "sites/site_form.html", {"form": form, "title": "Add a site", "submit_label": "Add the site"}
    )


def like_its_neighbours(areas) -> dict:
    """A new site is most often like the last one: the same clock, unit and paper."""
    last = (
        areas.model.objects.filter(pk__in=areas.values("pk"))
        .order_by("-sites__pk")
        .values("sites__time_zone", "sites__unit", "sites__paper")
        .first()
    )
    return {name.removeprefix("sites__"): value for name, value in (last or {}).items() if value}


@require_http_methods(FORM)
def site_edit(request, pk, amend=amend_site):
    """`amend`: what a floor above hangs on a site, such as its due times, follows there in the same transaction."""
    site = get_site(request.user, pk, Role.SUPERVISOR)
    areas = Area.objects.filter(Q(pk__in=areas_of(request.user).values("pk")) | Q(pk=site.area_id))
    areas = areas.filter(business=site.area.business_id)
    form = AmendSiteForm(request.POST or None, areas=areas, instance=site)
    if form.is_valid():
        attempt(form, amend, by=request.user, site=site, **form.change())
        if not form.errors:
            messages.success(request, f"{site} is saved.")
            return redirect("site_list")
    return render(
        request,
        "sites/site_form.html",
        {
            "form": form,
            "title": site.name,
            "submit_label": "Save",
            "changes": lines_of(site_changes(site), site.zone),
        },
    )


@require_safe
def area_setup(request):
    require_supervisor(request.user)
    areas = areas_of(request.user).select_related("business")
    counted = areas.annotate(open_sites=Count("sites", filter=Q(sites__closed=False), distinct=True))
    return render(
        request,
        "sites/area_setup.html",
        {
            "table": AreaTable(counted.order_by("name")),
            "tabs": setup_tabs(request.user, "area_setup"),
        },
    )


@require_http_methods(FORM)
def area_add(request):
    areas = require_supervisor(request.user)
    businesses = Business.objects.filter(areas__in=areas).distinct()
    form = AreaForm(request.POST or None, businesses=businesses)
    if form.is_valid():
        business = form.cleaned_data.get("business") or areas[0].business
        area = attempt(form, add_area, by=request.user, business=business, name=form.cleaned_data["name"])
        if area:
            messages.success(request, f"{area} is in the book, and you supervise it.")
            return redirect("area_setup")
    return render(
        request, "sites/area_form.html", {"form": form, "title": "Add an area", "submit_label": "Add the area"}
    )


@require_http_methods(FORM)
def area_edit(request, pk):
    area = get_area(request.user, pk)
    businesses = Business.objects.filter(pk=area.business_id)
    form = AreaForm(request.POST or None, businesses=businesses, initial={"name": area.name})
    if form.is_valid():
        attempt(form, amend_area, by=request.user, area=area, name=form.cleaned_data["name"])
        if not form.errors:
            messages.success(request, f"{area} is saved.")
            return redirect("area_setup")
    return render(request, "sites/area_form.html", {"form": form, "title": area.name, "submit_label": "Save"})


@require_http_methods(FORM)
def business_edit(request):
    """The business of somebody who supervises all of it; where there are several, `business` says which."""
    business = get_business(request.user, number_in(request.GET.get("business")))
    form = BusinessForm(request.POST or None, instance=business)
    if form.is_valid():
        attempt(form, amend_business, by=request.user, business=business, **form.change())
        if not form.errors:
            messages.success(request, f"{business} is saved. Checks from now on are judged by it.")
            return redirect(f"{request.path}?business={business.pk}")
    others = businesses_of(request.user).exclude(pk=business.pk).order_by("name")
    return render(
        request,
        "sites/business_form.html",
        {
            "form": form,
            "title": business.name,
            "submit_label": "Save",
            "others": others,
            "tabs": setup_tabs(request.user, "business_edit"),
            "changes": lines_of(business_changes(business), clock_of(request.user)),
        },
    )
