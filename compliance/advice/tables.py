import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from compliance.checks.tables import together
from shared.badges import badge
from shared.tables import LEAD
from shared.templatetags.noughtbook import when

from .wording import FAR, advised_in_short, every, pace_in_short

TONES = {"out": "tone-bad", "soon": "tone-doubt", "moving": "tone-doubt"}


class OutlookTable(tables.Table):
    """What lies ahead of probes, the most urgent first."""

    probe = tables.Column("Probe", attrs=LEAD)
    site = tables.Column("Site", accessor="probe__site")
    state = tables.Column("Ahead")
    pace = tables.Column("Drift", accessor="now")
    sure = tables.Column("Sure until", accessor="surely_until", empty_values=())
    present = tables.Column("Checked", accessor="every_days")
    advised = tables.Column("Advised", accessor="advice")

    class Meta:
        orderable = False
        empty_text = "No probe is in use at your sites."
        row_attrs = {"class": lambda record: TONES.get(record.state, "")}

    def render_probe(self, value):
        return format_html('<a href="{}">{}</a>', reverse("probe_outlook", args=[value.pk]), value)

    def render_state(self, value, record):
        warned = badge("prospect", "moving") if record.warned and value not in ("moving", "out") else ""
        return together(badge("prospect", value), warned)

    def render_pace(self, record):
        return pace_in_short(record)

    def render_sure(self, value, record):
        if record.trend is None or record.failed:
            return "–"
        near = value and value < record.now + FAR
        return when(value, record.probe.site.zone, "day") if near else "over two years"

    def render_present(self, value):
        return every(value)

    def render_advised(self, record):
        return advised_in_short(record)


class AcceptanceTable(tables.Table):
    """Who set the days between checks after advice, newest first."""

    recorded_at = tables.Column("When", attrs=LEAD)
    days_accepted = tables.Column("Accepted")
    days_advised = tables.Column("Advised")
    days_before = tables.Column("Before")
    recorded_by = tables.Column("By", accessor="name_of")
    why = tables.Column("Why", default="as advised")

    class Meta:
        orderable = False

    def __init__(self, *args, zone, **kwargs):
        super().__init__(*args, **kwargs)
        self.zone = zone

    def render_recorded_at(self, value):
        return when(value, self.zone)

    def _every(self, value):
        return every(value)

    render_days_accepted = render_days_advised = render_days_before = _every
