"""The days of a site with their reviews, and the sheet that a second person reads and signs."""

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from compliance.plans.calendar import DAY, local_day
from compliance.plans.wording import span_words
from shared.forms import attempt
from shared.plurals import plural
from shared.time_text import styled, weekday_day
from sites.access import get_site, may
from sites.models import Role, Site

from .actions import MADE_BY_THEM, MOST_DAYS, ReviewData, sign_review
from .days import SHOWN_DAYS, DayState, ReviewedDay, days_of, site_day
from .facts import makers_of
from .forms import DaysForm, ReviewForm
from .sheet import ReviewSheet


@require_safe
def review_list(request: HttpRequest, site_pk: int) -> HttpResponse:
    """Four weeks of a site, the newest day first, with what became of the review of each day."""
    site, now = get_site(request.user, site_pk), timezone.now()
    yesterday = local_day(now, site.zone) - DAY
    last = min(_asked(request).get("last") or yesterday, yesterday)
    first = last - DAY * (SHOWN_DAYS - 1)
    days = days_of(site, first, last, now)
    base = reverse("review_list", args=[site_pk])
    context = {
        "site": site,
        "title": "Review of days",
        "lead": f"{site}, {span_words(first, last)}. Of each day somebody who made none of its records reads and signs them, "
        f"within {site.area.business.review_days} working days.",
        "days": [_day(site, each) for each in reversed(days)],
        "earlier": f"{base}?last={first - DAY:%Y-%m-%d}",
        "later": f"{base}?last={last + DAY * SHOWN_DAYS:%Y-%m-%d}" if last < yesterday else "",
        "back_url": reverse("today_site", args=[site_pk]),
    }
    return render(request, "reviews/review_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def review_sheet(request: HttpRequest, site_pk: int) -> HttpResponse:
    """The records of a day, or of up to seven, to be read; below them the signature of who made none of them."""
    role = Role.MANAGER if request.method == "POST" else Role.READER
    site, now = get_site(request.user, site_pk, role), timezone.now()
    first, last = _days_asked(request, site, now)
    days = days_of(site, first, last, now)
    shown = {"after": sum(each.facts.count for each in days)}
    form = ReviewForm(request.POST or None, initial=shown)
    if request.method == "POST" and form.is_valid():
        data = ReviewData(first=first, last=last, **form.cleaned_data)
        if attempt(form, sign_review, by=request.user, site=site, data=data):
            messages.success(
                request, f"Signed: {span_words(first, last)}. What changes afterwards asks for review again."
            )
            return redirect("review_list", site_pk=site_pk)
        form.data = form.data.copy()
        form.data.update(shown)  # the sheet is shown anew
    context = _sheet(site, days, now) | {
        "form": form if may(request.user, site, Role.MANAGER) and any(each.asks for each in days) else None,
        "makers": _makers(request, site, days),
        "action": _address(site, first, last),
    }
    return render(request, "reviews/review_sheet.html", context, status=422 if form.is_bound else 200)


def _sheet(site: Site, days: list[ReviewedDay], now) -> dict:
    first, last = days[0].day, days[-1].day
    begins, ends = site_day(site, first).starts, site_day(site, last).ends
    week = last - DAY * (MOST_DAYS - 1)
    reviews = {each.review.pk: each.review for each in days if each.review}
    return ReviewSheet(site, begins, ends, now).context() | {
        "site": site,
        "title": f"Records of {span_words(first, last)}",
        "days": [_day(site, each) for each in days],
        "reviews": [reviews[pk] for pk in sorted(reviews)],
        "back_url": reverse("review_list", args=[site.pk]),
        "all_readings": f"{reverse('reading_list')}?site={site.pk}&first={first:%Y-%m-%d}&last={last:%Y-%m-%d}",
        "week_url": _address(site, week, last) if first == last else "",
    }


def _makers(request: HttpRequest, site: Site, days: list[ReviewedDay]) -> str:
    """Why the person who looks cannot sign; empty where they can."""
    mine = makers_of([site_day(site, each.day) for each in days]).get(request.user.pk)
    return MADE_BY_THEM.format(", ".join(mine)) if mine else ""


def _asked(request: HttpRequest) -> dict[str, date]:
    form = DaysForm(request.GET)
    form.is_valid()
    return {name: day for name, day in form.cleaned_data.items() if day}


def _days_asked(request: HttpRequest, site: Site, now) -> tuple[date, date]:
    """As the address says, no more than seven; without, yesterday."""
    asked, yesterday = _asked(request), local_day(now, site.zone) - DAY
    last = asked.get("last") or asked.get("first") or yesterday
    first = asked.get("first") or last
    return max(min(first, last), last - DAY * (MOST_DAYS - 1)), last


def _address(site: Site, first: date, last: date) -> str:
    return f"{reverse('review_sheet', args=[site.pk])}?first={first:%Y-%m-%d}&last={last:%Y-%m-%d}"


def _day(site: Site, told: ReviewedDay) -> dict:
    review = told.review
    by = f"{review.name_of()}, {styled(review.recorded_at, site.zone, 'short')}" if review else ""
    parts = (plural(told.facts.count, "record") if told.facts else "", by, review.remarks if review else "")
    late = told.late and told.state == DayState.WAITING
    return {
        "title": weekday_day(told.day),
        "url": _address(site, told.day, told.day),
        "meta": " · ".join(filter(None, parts)),
        "badge_kind": "review",
        "badge_value": "late" if late else told.state.value,
        "tone": "bad" if told.late else "doubt" if told.asks and told.review else "",
    }
