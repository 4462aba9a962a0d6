"""Lists of plans, rounds and closures."""

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from .wording import closure_scope, plan_words, span_words

LEAD = {"td": {"class": "lead-cell"}, "th": {"class": "lead-cell"}}
ACT = {"td": {"class": "act"}, "th": {"class": "act"}}
LINK = '<a class="button quiet-button small-button" href="{}">{}<span class="visually-hidden">: {}</span></a>'


class ScopeTable(tables.Table):
    """Rows: `name` of the scope, `found` the plan in force there, `url` to change it (None: not for this person)."""

    name = tables.Column("For", attrs=LEAD)
    plan = tables.Column("Checked", empty_values=())
    source = tables.Column("By", empty_values=())
    act = tables.Column("", empty_values=(), attrs=ACT)

    class Meta:
        orderable = False
        empty_text = "No probe is here yet."

    def render_plan(self, record):
        return plan_words(record["found"])

    def render_source(self, record):
        return record["found"].source

    def render_act(self, record):
        return format_html(LINK, record["url"], "Change", record["name"]) if record["url"] else ""


class RoundTable(tables.Table):
    """Rows: `title` of a limit or of several, `told` the round in words, `url` to change it (None: not for this person)."""

    title = tables.Column("Limit", attrs=LEAD)
    told = tables.Column("Readings are asked for")
    act = tables.Column("", empty_values=(), attrs=ACT)

    class Meta:
        orderable = False
        empty_text = "No limits yet."

    def render_act(self, record):
        return format_html(LINK, record["url"], "Change", record["title"]) if record["url"] else ""


class ClosureTable(tables.Table):
    days = tables.Column("Closed", empty_values=(), attrs=LEAD)
    why = tables.Column("Why")
    scope = tables.Column("Where", empty_values=())
    recorded_by = tables.Column("Entered by", accessor="name_of")
    act = tables.Column("", empty_values=(), attrs=ACT)

    class Meta:
        orderable = False
        empty_text = "No closures to come."

    def __init__(self, *args, strikes: set[int], **kwargs):
        super().__init__(*args, **kwargs)
        self.strikes = strikes

    def render_days(self, record):
        return span_words(record.first_day, record.last_day)

    def render_scope(self, record):
        return closure_scope(record)

    def render_act(self, record):
        if record.pk not in self.strikes:
            return ""
        return format_html(LINK, reverse("closure_void", args=[record.pk]), "Strike out", self.render_days(record))
