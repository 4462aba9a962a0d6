"""Lists of limits and of their versions."""

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from shared.templatetags.noughtbook import when
from shared.units import show

from .models import LimitVersion
from .wording import unbroken

LEAD = {"td": {"class": "lead-cell"}}


class LimitTable(tables.Table):
    """Rows are limits with `.version`, the one that counts now (None: none has begun) and `.next`, the one to come."""

    title = tables.Column("Limit", attrs=LEAD)
    code = tables.Column("Short name", attrs={"td": {"class": "spare"}, "th": {"class": "spare"}})
    step = tables.Column()
    demands = tables.Column(empty_values=())
    target = tables.Column(empty_values=())
    source = tables.Column(empty_values=(), attrs={"td": {"class": "spare"}, "th": {"class": "spare"}})
    since = tables.Column("Holds from", empty_values=())

    class Meta:
        orderable = False
        row_attrs = {"class": lambda record: "quiet" if record.version and not record.version.in_force else None}
        empty_text = "No limits yet."

    def __init__(self, rows, site):
        aims = any(row.version and row.version.target_milli is not None for row in rows)
        super().__init__(rows, exclude=() if aims else ("target",))
        self.site = site

    def render_title(self, record):
        return format_html('<a href="{}">{}</a>', reverse("limit_detail", args=[record.pk]), record.title)

    def render_demands(self, record):
        if record.version is None:
            return "Not yet"
        return unbroken(record.version) if record.version.in_force else "Retired"

    def render_target(self, record):
        version = record.version
        return show(version.target_milli, version.unit) if version and version.target_milli is not None else "–"

    def render_source(self, record):
        return record.version.source if record.version else "–"

    def render_since(self, record):
        begins = when(record.version.effective_from, self.site.zone, "day") if record.version else "–"
        if record.next:
            return format_html(
                "<span>{} (changes {})</span>", begins, when(record.next.effective_from, self.site.zone, "day")
            )
        return begins


class VersionTable(tables.Table):
    """Rows are versions, each with `.state`: in words, whether and when it counts."""

    effective_from = tables.Column("Holds from", attrs=LEAD)
    state = tables.Column("Now", orderable=False)
    demands = tables.Column(empty_values=())
    target_milli = tables.Column("Target", default="–")
    reason = tables.Column("Why", empty_values=())
    recorded_by = tables.Column("Set by", accessor="name_of")
    recorded_at = tables.Column("Entered", attrs={"td": {"class": "spare"}, "th": {"class": "spare"}})

    class Meta:
        orderable = False
        row_attrs = {"class": lambda record: "is-void" if record.state == REPLACED else None}

    def __init__(self, rows, site):
        super().__init__(rows)
        self.site = site

    def render_effective_from(self, value):
        return when(value, self.site.zone)

    def render_demands(self, record):
        return unbroken(record) if record.in_force else "Retired"

    def render_target_milli(self, record, value):
        return show(value, record.unit)

    def render_reason(self, record):
        return record.reason or "–"

    def render_recorded_at(self, value):
        return when(value, self.site.zone)


REPLACED, COMING, IN_FORCE, PAST, RETIRED = "Replaced", "To come", "In force", "Past", "Retired"


def with_states(versions: list[LimitVersion], now) -> list[LimitVersion]:
    """Say of each version, the one that begins last first, whether it counts now."""
    seen, counting = set(), False
    for version in versions:
        if version.effective_from in seen:
            version.state = REPLACED
        elif version.effective_from > now:
            version.state = COMING
        elif counting:
            version.state = PAST
        else:
            version.state, counting = IN_FORCE if version.in_force else RETIRED, True
        seen.add(version.effective_from)
    return versions
