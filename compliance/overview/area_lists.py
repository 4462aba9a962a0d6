"""What the tiles of an area count, as lists: checks and rounds that were missed, and checks that are overdue."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django import forms
from django.db.models import Count, QuerySet, Window, prefetch_related_objects
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from compliance.notices.timing import WEEK, week_span
from compliance.plans.calendar import DAY
from compliance.plans.wording import span_words
from compliance.reminders.missed import CHECKS, MISSED_DAYS, ROUNDS, missed, not_in_time
from compliance.reminders.models import Reminder
from compliance.reminders.queries import tell
from compliance.reminders.status import with_status
from shared.fields import DayField
from shared.keyset import page_by_key
from shared.page_numbers import numbered_page
from shared.plurals import plural
from sites.access import get_area, roles_at
from sites.choosing import SiteField, SiteOffer
from sites.models import Person, Role, Site

from .queries import overdue_checks
from .reminders import row_of
from .tables import MissedTable, OverdueTable

KINDS = {"": ("check or reading", "checks and readings"), "checks": ("check", ""), "rounds": ("round", "")}
NOT_DONE = "Fell due and was neither done nor excused."


class MissedFilter(forms.Form):
    """Which of an area's missed reminders a list shows. `week`: the first of the seven days that a weekly message told of."""

    site = SiteField(required=False, empty_label="All sites")
    what = forms.ChoiceField(
        required=False,
        label="What",
        choices=[("", "Checks and rounds"), ("checks", "Checks"), ("rounds", "Rounds of readings")],
    )
    week = DayField(required=False, label="Week that begins on", help_text=f"Empty: the last {MISSED_DAYS} days.")

    def __init__(self, data, offer: SiteOffer):
        super().__init__(data)
        self.fields["site"].offer(offer, data)

    @property
    def chosen(self) -> dict:
        """Only what can be used: a mangled address shows more rather than an error."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


@require_safe
def missed_list(request: HttpRequest, pk: int) -> HttpResponse:
    """Checks and rounds of the open sites of an area that were not done: of 28 days, or of a week as its message counts."""
    area, now = get_area(request.user, pk, Role.READER), timezone.now()
    sites = Site.objects.filter(area=area, closed=False).order_by("name", "pk")
    form = MissedFilter(request.GET, SiteOffer(request.user, "area", area.pk))
    chosen = form.chosen
    found = _missed(list(sites), chosen, now)
    # Counted with the first page, which the database puts in order anyway.
    counted = found.annotate(counted=Window(Count("pk"))) if not {"after", "before"} & request.GET.keys() else found
    page = page_by_key(counted, request, "due_at")
    count = getattr(page.rows[0], "counted", None) if page.rows else 0
    count = found.count() if count is None else count
    table = _table(request.user, page.rows, now)
    table.pager = page
    return render(
        request,
        "overview/area_missed.html",
        {
            "area": area,
            "title": f"{plural(count, *KINDS[chosen.get('what', '')])} missed",
            "table": table,
            "form": form,
            "lead": f"{area}, {_days(chosen.get('week'))}. {NOT_DONE}",
            "active": len(chosen),
            "back_url": reverse("area_detail", args=[pk]),
            "reset_url": request.path,
        },
    )


def _missed(sites: list[Site], chosen: dict, now: datetime) -> QuerySet[Reminder]:
    wanted = [site.pk for site in sites if chosen.get("site") in (None, site)]
    if "week" in chosen:
        start, end = week_span(chosen["week"], _zone(sites))
        found = not_in_time(wanted, start, min(end, now), now)
    else:
        found = missed(wanted, now)
    kinds = {"checks": CHECKS, "rounds": ROUNDS}
    return found.filter(kinds[chosen["what"]]) if "what" in chosen else found


def _zone(sites: list[Site]) -> ZoneInfo:
    """The clock of the weekly message: that of the first site."""
    return min(sites, key=lambda site: site.pk).zone if sites else ZoneInfo("UTC")


def _days(week: date | None) -> str:
    return span_words(week, week + WEEK - DAY) if week else f"the last {MISSED_DAYS} days"


def _table(person: Person, rows: list[Reminder], now: datetime) -> MissedTable:
    chosen = with_status(Reminder.objects.filter(pk__in=[each.pk for each in rows]), now)
    told = list(tell(chosen.order_by("-due_at", "-pk")))
    held = roles_at(person, {each.reminder.site for each in told})
    may = {site: (role >= Role.COOK, role >= Role.MANAGER) for site, role in held.items()}
    return MissedTable([row_of(each, *may[each.reminder.site_id]) for each in told], style="short")


@require_safe
def overdue_list(request: HttpRequest, pk: int) -> HttpResponse:
    """Probes of the open sites of an area whose check is overdue, the longest due first."""
    area, now = get_area(request.user, pk, Role.READER), timezone.now()
    sites = Site.objects.filter(area=area, closed=False)
    found = overdue_checks(sites.values_list("pk", flat=True), now)
    found.sort(key=lambda each: (each[1] is not None, each[1] and each[1].due_at))
    page = numbered_page(found, request)
    prefetch_related_objects([probe for probe, _ in page.rows], "site")
    table = OverdueTable(page.rows)
    table.pager = page
    return render(
        request,
        "overview/area_overdue.html",
        {
            "title": f"{plural(len(found), 'check')} overdue",
            "lead": area.name,
            "table": table,
            "back_url": reverse("area_detail", args=[pk]),
        },
    )
