"""Lists of readings and of deviations."""

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from compliance.checks.fitness import Fitness
from compliance.checks.models import Standing
from compliance.checks.queries import is_late
from compliance.limits.wording import demand
from shared.badges import badge
from shared.templatetags.noughtbook import when
from shared.units import show

from .queries import MADE_AT_THE_TIME

LEAD = {"td": {"class": "lead-cell"}}
NUMBER = {"td": {"class": "number"}, "th": {"class": "number"}}
SPARE = {"td": {"class": "spare"}, "th": {"class": "spare"}}


def is_unfit(reading) -> bool:
    """Whether its probe was not OK to use, as known when the reading was entered."""
    return reading.fitness not in ("", Fitness.OK)


def moment(at, zone) -> str:
    """The day and the clock at the site; its zone is told on the page of the reading."""
    return format_html("<span>{} {}</span>", when(at, zone, "day"), when(at, zone, "clock"))


class ReadingTable(tables.Table):
    item = tables.Column("Food or unit", attrs=LEAD)
    taken_at = tables.Column("Taken")
    site = tables.Column(attrs=SPARE)
    probe = tables.Column()
    value = tables.Column("Value", accessor="value_milli", attrs=NUMBER)
    limit = tables.Column("Limit", accessor="limit_version")
    deviation_state = tables.Column("Deviation", empty_values=())
    standing = tables.Column()

    class Meta:
        orderable = False
        row_attrs = {"class": lambda record: "is-void" if record.voided else None}
        empty_text = "No readings here."

    def __init__(self, rows, *, one_site: bool = False, **kwargs):
        super().__init__(rows, exclude=("site",) if one_site else (), **kwargs)

    def render_item(self, record):
        """With the appliance where that is not what the item says."""
        link = format_html('<a href="{}">{}</a>', reverse("reading_detail", args=[record.pk]), record.item)
        then = record.appliance and record.appliance.named_at(record.taken_at)
        if then is None or then.name.casefold() == record.item.casefold():
            return link
        return format_html('{} <span class="because">{}</span>', link, then)

    def render_taken_at(self, record):
        taken = moment(record.taken_at, record.site.zone)
        late = is_late(record.taken_at, record.recorded_at, MADE_AT_THE_TIME) and not record.source_id
        return format_html("<span>{} {}</span>", taken, badge("record", "late")) if late else taken

    def render_site(self, record):
        return record.site_then

    def render_probe(self, record):
        code, despite = record.probe_then.code, record.used_despite
        worth = badge("fitness", record.fitness) if is_unfit(record) and not record.voided else ""
        reason = format_html('<span class="because">used all the same: {}</span>', despite) if despite else ""
        return format_html("<span>{} {}{}</span>", code, worth, reason) if worth or reason else code

    def render_value(self, record):
        value = show(record.value_milli, record.site_then.unit)
        missing = '{} <span class="because">hold time not recorded</span>'
        return format_html(missing, value) if record.lacks_hold else value

    def render_limit(self, record):
        return f"{record.limit_version.limit.title}, {demand(record.limit_version)}"

    def render_deviation_state(self, record):
        """A figure within its limit says little where the probe was not OK to use and no good check followed."""
        if record.voided:
            return badge("record", "void")
        if record.deviated:
            return badge("deviation", "closed" if record.settled else "open")
        return "–" if is_unfit(record) and record.standing != Standing.PROVEN else badge("deviation", "none")

    def render_standing(self, record):
        return "–" if record.voided else badge("standing", record.standing)


class DeviationTable(tables.Table):
    item = tables.Column("Food or unit", accessor="reading__item", attrs=LEAD)
    taken_at = tables.Column("Taken", accessor="reading__taken_at")
    site = tables.Column(accessor="reading__site_then")
    why = tables.Column("What was wrong")
    by = tables.Column("Taken by", accessor="reading__taken_by", attrs=SPARE)
    state = tables.Column(empty_values=())

    class Meta:
        orderable = False
        empty_text = "None here."

    def render_item(self, record):
        return format_html('<a href="{}">{}</a>', reverse("deviation_detail", args=[record.pk]), record.reading.item)

    def render_taken_at(self, record):
        return moment(record.reading.taken_at, record.reading.site.zone)

    def render_by(self, record):
        return record.reading.name_of("taken_by")

    def render_state(self, record):
        return badge("deviation", "closed" if record.settled else "open")


class LineTable(tables.Table):
    """Lines of a file, each with words about it."""

    line = tables.Column(accessor="0", attrs={"td": {"class": "lead-cell"}})
    words = tables.Column("Why", accessor="1")

    class Meta:
        orderable = False

    def render_line(self, value):
        return f"Line\N{NO-BREAK SPACE}{value}"
