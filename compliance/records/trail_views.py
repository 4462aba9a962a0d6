"""The trail as a page: who did what, when, to which record, and why."""

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import format_html
from django.views.decorators.http import require_safe

from shared.audit.chain import newest_of
from shared.audit.head import in_groups
from shared.audit.models import Entry
from shared.keyset import page_by_key
from shared.templatetags.noughtbook import when
from sites.access import clock_of, sites_of

from .trail_filter import TrailFilter, seen_by
from .trail_words import PRIVATE, act_of, page_of, record_of

LEAD, SPARE = {"td": {"class": "lead-cell"}}, {"td": {"class": "spare"}, "th": {"class": "spare"}}


class TrailTable(tables.Table):
    at = tables.Column("When")
    actor = tables.Column("Who")
    action = tables.Column("What")
    subject = tables.Column("Which record", attrs=LEAD)
    reason = tables.Column("Why", empty_values=())
    site = tables.Column("Site", accessor="site_id", attrs=SPARE, empty_values=())

    class Meta:
        orderable = False
        empty_text = "No entry matches. Clear the filter."

    def __init__(self, rows, *, sites: dict, zone, **kwargs):
        super().__init__(rows, **kwargs)
        self._sites, self._zone = sites, zone

    def render_at(self, record):
        site = self._sites.get(record.site_id)
        zone = site.zone if site else self._zone
        return format_html("<span>{} {}</span>", when(record.at, zone, "day"), when(record.at, zone, "clock"))

    def render_action(self, record):
        return act_of(record)

    def render_subject(self, record):
        address = page_of(record)
        return format_html('<a href="{}">{}</a>', address, record_of(record)) if address else record_of(record)

    def render_reason(self, value):
        return value or "–"

    def render_site(self, value):
        site = self._sites.get(value)
        return site.name if site else "–"


@require_safe
def record_trail(request: HttpRequest) -> HttpResponse:
    """What was entered and changed, the newest first."""
    sites = sites_of(request.user)
    chosen = TrailFilter(request.GET, request.user)
    keys = (
        [chosen.chosen["site"].pk] if "site" in chosen.chosen else list(sites.order_by().values_list("pk", flat=True))
    )
    entries = chosen.narrow(Entry.objects.exclude(action__in=PRIVATE))
    page = page_by_key(entries, request, "at", shown=Entry.objects.all(), narrowing=seen_by(request.user, keys))
    shown = sites.in_bulk({entry.site_id for entry in page.rows if entry.site_id})
    table = TrailTable(
        page.rows,
        sites=shown,
        zone=clock_of(request.user),
        exclude=("site",) if chosen.one_site else (),
    )
    table.pager = page
    context = {
        "table": table,
        "form": chosen,
        "active": chosen.active,
        "reset_url": reverse("record_trail"),
        "head": _head(sites),
    }
    return render(request, "records/trail_rows.html" if request.htmx else "records/trail.html", context)


def _head(sites) -> dict | None:
    """Of the business of the first site."""
    site = sites.select_related("area").order_by("area__name", "name", "pk").first()
    entry = site and newest_of(site.area.business_id)
    return entry and {"number": entry.number, "hash": in_groups(entry.hash), "at": when(entry.at, site.zone)}
