"""Lists of appliances, and of when they were out of use."""

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from compliance.limits.wording import demand
from shared.tables import ACT, LEAD, LINK
from shared.time_text import short_moment


class ApplianceTable(tables.Table):
    """Rows: `appliance`, `version` of its limit in force (None: none is), `away` the time out of use that lasts, or None."""

    name = tables.Column("Appliance", accessor="appliance__name", attrs=LEAD)
    place = tables.Column("Where it stands", accessor="appliance__place")
    limit = tables.Column("Limit", empty_values=())
    state = tables.Column("Now", empty_values=())
    act = tables.Column("", empty_values=(), attrs=ACT)

    class Meta:
        orderable = False
        empty_text = "No appliance is named yet."

    def __init__(self, rows, *, site, manages: bool, writes: bool, **kwargs):
        super().__init__(rows, **kwargs)
        self.site, self.manages, self.writes = site, manages, writes

    def render_limit(self, record):
        limit, version = record["appliance"].limit, record["version"]
        return f"{limit}, {demand(version)}" if version else f"{limit}, not in force now"

    def render_state(self, record):
        away = record["away"]
        return away_words(away, self.site.zone) if away else "in use"

    def render_act(self, record):
        pk, name = record["appliance"].pk, record["appliance"].name
        links = (
            [(reverse("appliance_out", args=[pk]), "Out of use", name)] if self.writes and not record["away"] else []
        )
        if self.manages:
            links += [(reverse("appliance_edit", args=[pk]), "Change", name)]
            links += [(reverse("appliance_retire", args=[pk]), "Retire", name)]
        return format_html_join(" ", LINK, links)


class OutOfUseTable(tables.Table):
    """Of one site, the latest first."""

    appliance = tables.Column("Appliance", attrs=LEAD)
    starts_at = tables.Column("From")
    ended = tables.Column("Until", empty_values=())
    why = tables.Column("Why", accessor="words")
    recorded_by = tables.Column("Entered by", accessor="name_of")
    act = tables.Column("", empty_values=(), attrs=ACT)

    class Meta:
        orderable = False
        row_attrs = {"class": lambda record: "is-void" if getattr(record, "void", None) else None}
        empty_text = "None of them was out of use lately."

    def __init__(self, rows, *, site, manages: bool, **kwargs):
        super().__init__(rows, **kwargs)
        self.site, self.manages = site, manages

    def render_starts_at(self, value):
        return short_moment(value, self.site.zone)

    def render_ended(self, record):
        return short_moment(record.ended_at, self.site.zone) if record.ended_at else "not yet back"

    def render_act(self, record):
        if not self.manages or getattr(record, "void", None):
            return ""
        return format_html(LINK, reverse("out_of_use_void", args=[record.pk]), "Strike out", record)


def away_words(away, zone) -> str:
    """Such as “out of use since 14 Mar 16:05, until 15 Mar 08:00: broken”."""
    until = f", until {short_moment(away.ended_at, zone)}" if away.ended_at else ""
    return f"out of use since {short_moment(away.starts_at, zone)}{until}: {away.words}"
