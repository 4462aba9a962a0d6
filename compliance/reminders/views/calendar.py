"""When a site works, and when readings are taken there."""

from django.contrib import messages
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from compliance.limits.access import get_limit
from compliance.plans.access import get_closure
from compliance.plans.actions import set_round
from compliance.plans.calendar import local_day
from compliance.plans.data import ClosureData, RoundData
from compliance.plans.forms import ClosureForm, OpeningForm, RoundForm, StrikeForm
from compliance.plans.queries import opening_in_force, rounds_in_force
from compliance.plans.wording import closure_scope, day_words, round_words, span_words
from shared.forms import attempt, form_page
from shared.stale_forms import newest
from sites.access import get_site, may
from sites.models import Person, Role, Site

from ..access import has_whole_business
from ..planning import add_closure, change_opening, strike_closure

FORM = ["GET", "HEAD", "POST"]


@require_http_methods(FORM)
def opening_change(request, site_pk):
    site = get_site(request.user, site_pk, Role.MANAGER)
    today = local_day(timezone.now(), site.zone)
    present, after = opening_in_force(site, today), newest(site.openings.all())
    form = OpeningForm(request.POST or None, present=present, today=today, after=after)
    if form.is_valid() and (made := attempt(form, change_opening, by=request.user, site=site, **form.figures())):
        messages.success(request, f"The hours hold from {day_words(made.effective_from)}. What is due follows them.")
        return redirect("plan_list", site.pk)
    lead = (
        "Leave both times empty where it is closed: nothing falls due that day. "
        "A closing time before the opening is after midnight."
    )
    return _page(request, form, site, "plans/opening_form.html", title=f"Opening days of {site}", lead=lead)


@require_http_methods(FORM)
def closure_add(request, site_pk):
    site = get_site(request.user, site_pk, Role.MANAGER)
    named = {"site": site, "area": site.area, "business": site.area.business}
    today = local_day(timezone.now(), site.zone)
    form = ClosureForm(request.POST or None, scopes=_scopes(request.user, site), today=today)
    if form.is_valid():
        given = dict(form.cleaned_data)
        scope, excused = given.pop("scope"), given.pop("excuse_open")
        data = ClosureData(**{scope: named[scope]}, **given)
        if closure := attempt(form, add_closure, by=request.user, data=data, excuse_open=excused):
            days = span_words(closure.first_day, closure.last_day)
            left = "What had fallen due is excused." if excused else "What has fallen due already stays."
            told = f"{closure_scope(closure)} is closed {days}. What is to come moves to the next open day. {left}"
            messages.success(request, told)
            return redirect("plan_list", site.pk)
    return _page(request, form, site, title="Enter a closure", lead=str(site), submit_label="Enter it")


def _scopes(person: Person, site: Site) -> list[tuple[str, str]]:
    """What a person may close, the site first."""
    found = [("site", site.name)]
    if may(person, site, Role.SUPERVISOR):
        found.append(("area", f"All sites of {site.area}"))
    if has_whole_business(person, site):
        found.append(("business", f"All sites of {site.area.business}"))
    return found


@require_http_methods(FORM)
def closure_void(request, closure_pk):
    closure = get_closure(request.user, closure_pk)
    back = reverse("plan_list", args=[closure.site_id]) if closure.site_id else reverse("site_list")
    form = StrikeForm(request.POST or None)
    if form.is_valid() and (
        void := attempt(form, strike_closure, by=request.user, closure=closure, **form.cleaned_data)
    ):
        rest = f" Closed until {day_words(void.replacement.last_day)}." if void.replacement else ""
        messages.success(request, f"The days are worked after all.{rest} What is due follows.")
        return redirect(back)
    return form_page(
        request,
        "components/confirm.html",
        form,
        title="Strike out this closure?",
        lead=f"{closure_scope(closure)}: {closure.why}. Of one that has begun, the days that are over stay.",
        facts=[("Days", span_words(closure.first_day, closure.last_day))],
        tone="danger",
        submit_label="Strike it out",
        back_url=back,
        back_label="Plans",
        cancel_url=back,
    )


@require_http_methods(FORM)
def round_change(request, limit_pk):
    limit = get_limit(request.user, limit_pk, Role.MANAGER)
    today = local_day(timezone.now(), limit.site.zone)
    present = rounds_in_force([limit], today).get(limit.pk)
    form = RoundForm(request.POST or None, present=present, today=today, after=newest(limit.rounds.all()))
    if form.is_valid() and (
        made := attempt(form, set_round, by=request.user, limit=limit, data=RoundData(**form.figures()))
    ):
        messages.success(request, f"Set from {day_words(made.effective_from)}: {made.usual}.")
        return redirect("plan_list", limit.site_id)
    lead, title = f"Now: {round_words(present)}.", f"Rounds for “{limit}”"
    return _page(request, form, limit.site, title=title, lead=lead, submit_label="Set these rounds")


def _page(request, form, site: Site, template: str = "plans/plan_form.html", **told):
    back = reverse("plan_list", args=[site.pk])
    return form_page(request, template, form, back_url=back, back_label="Plans", **told)
