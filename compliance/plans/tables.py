"""Lists of plans, rounds and closures."""

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from shared.tables import ACT, LEAD, LINK

from .wording import closure_scope, span_words


class RoundTable(tables.Table):
    """Rows: the `name` of what something is set for, the `plan` in words, `url` to change it (None: not for this person)."""

    name = tables.Column("Limit", attrs=LEAD)
    plan = tables.Column("Readings are asked for")
    act = tables.Column("", empty_values=(), attrs=ACT)

    class Meta:
        orderable = False
        empty_text = "No limits yet."

    def render_act(self, record):
        return format_html(LINK, record["url"], "Change", record["name"]) if record["url"] else ""


class ScopeTable(RoundTable):
    """With its `source`: the scope whose plan it is."""

    name = tables.Column("For", attrs=LEAD)
    plan = tables.Column("Checked")
    source = tables.Column("By")

    class Meta(RoundTable.Meta):
        sequence = ("name", "plan", "source", "act")
        empty_text = "No probe is here yet."


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
