import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from compliance.limits.wording import demand
from shared import units
from shared.badges import badge
from shared.tables import PickColumn
from shared.templatetags.noughtbook import when
from shared.time_text import duration

from .models import Decision
from .queries import decision_in_words, range_in_words
from .reopening import SHORT

NUMBER = {"td": {"class": "number"}, "th": {"class": "number"}}


def _left_out(decides: bool, decided: bool, again: bool) -> tuple[str, ...]:
    """The outcome is the name of the list itself, except among the decided ones."""
    return (
        (() if decides else ("pick",)) + (() if decided else ("outcome",)) + (() if decided or again else ("decision",))
    )


def _decided(decision: Decision, zone):
    """What was decided, by whom and when, in a line."""
    fate = decision.get_fate_display().split(":")[0]
    return format_html(
        "{}, {}, {}", fate, decision.name_of("decided_by").initials, when(decision.recorded_at, zone, "day")
    )


class AssessedTable(tables.Table):
    """Readings of a case. `unit` is what the site shows."""

    pick = PickColumn(accessor="pk", label="words")
    item = tables.Column("Food or unit", accessor="reading__item", attrs={"td": {"class": "lead-cell"}})
    taken = tables.Column("Taken", accessor="reading")
    limit = tables.Column("Limit", accessor="reading__limit_version")
    shown = tables.Column("Read", accessor="reading", attrs=NUMBER)
    truth = tables.Column("Could have been", accessor="pk", attrs=NUMBER)
    likely = tables.Column("Likely", attrs=NUMBER, default="–")
    outcome = tables.Column("What can be said")
    again = tables.Column("Measured again", accessor="pk", empty_values=())
    decision = tables.Column("Decision", default="still to decide")

    class Meta:
        orderable = False
        attrs = {"id": "readings"}

    def __init__(self, data, *args, many_sites: bool, decides: bool, decided: bool, picked=(), good=None, **kwargs):
        self.many_sites, self.picked, self.good = many_sites, frozenset(picked), good or {}
        lost = any(row.lost for row in data)
        left_out = (*_left_out(decides, decided, lost), *(() if any(self.good.values()) else ("again",)))
        super().__init__(data, *args, exclude=left_out, **kwargs)

    def render_item(self, value, record):
        return format_html('<a href="{}">{}</a>', reverse("reading_detail", args=[record.pk]), value)

    def render_taken(self, value):
        at = when(value.taken_at, value.site.zone, "short")
        return format_html("<span>{}<br>{}</span>", at, value.site_then) if self.many_sites else at

    def render_limit(self, value):
        return demand(value)

    def render_shown(self, value):
        times = (("for", value.hold_s), ("after", value.since_start_s))
        told = [f"{word} {duration(seconds) or '0 s'}" for word, seconds in times if seconds is not None]
        return " ".join([units.show(value.value_milli, value.site_then.unit), *told])

    def render_truth(self, record):
        if record.lowest is None:
            return "no bound yet"
        return range_in_words(record.lowest, record.highest, record.reading.site_then.unit)

    def render_likely(self, value, record):
        return units.show(value, record.reading.site_then.unit)

    def render_outcome(self, value):
        return badge("outcome", value)

    def render_again(self, value, record):
        """The next good reading of the same thing, by which it can be decided."""
        later = self.good.get(value)
        if not later:
            return "–"
        reading, zone = later[0], record.reading.site.zone
        return format_html(
            "{} {}, {}, {}",
            reading.typed,
            reading.get_unit_display(),
            reading.probe_then.code,
            when(reading.taken_at, zone, "short"),
        )

    def render_decision(self, value, record):
        zone = record.reading.site.zone
        told = format_html_join("", "<br>{}", ((line,) for line in decision_in_words(value, zone)))
        earlier = format_html_join("", "<br>Before: {}", ((_decided(d, zone),) for d in record.earlier))
        lost = format_html("<strong>Decide again: {}.</strong><br>", SHORT[record.lost]) if record.lost else ""
        return format_html(
            "<span>{}{}<span class='quiet'>{}{}</span></span>", lost, _decided(value, zone), told, earlier
        )


class CaseTable(tables.Table):
    probe = tables.Column("Probe", attrs={"td": {"class": "lead-cell"}})
    period = tables.Column("In doubt", accessor="summary")
    readings = tables.Column("Readings", accessor="summary__readings", attrs=NUMBER)
    undecided = tables.Column("Still to decide", accessor="summary__undecided", attrs=NUMBER)
    state = tables.Column("Case", accessor="summary__state")

    class Meta:
        orderable = False

    def render_probe(self, value, record):
        url = reverse("case_detail", args=[record.summary.slug])
        return format_html('<span><a href="{}">{}</a> <span class="quiet">{}</span></span>', url, value, value.site)

    def render_period(self, record):
        return format_html("<span>{} to {}</span>", record.starts, record.ends)

    def render_state(self, value, record):
        shown = badge("case", {"to_sign": "decided"}.get(value, value))
        again = "signed before, open again" if value == "open" else "signed before, to sign again"
        return format_html('{} <span class="quiet">{}</span>', shown, again) if record.summary.reopened else shown
