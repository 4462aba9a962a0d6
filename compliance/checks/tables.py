import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from shared.badges import badge
from shared.tables import ACT, LEAD, NUMBER, SPARE
from shared.templatetags.noughtbook import when
from shared.time_text import styled
from shared.units import Unit, difference_from_milli, number, rounded_up

from .fitness import Judgement
from .kinds import kind_of, wanted_check
from .models import Stage
from .queries import (
    due_word,
    entered_late,
    event_entered_late,
    is_let_be,
    move_entered_late,
    not_cleared,
    passed_near_edge,
)


class ProbeTable(tables.Table):
    """Probes with what the checks say of each; times on the clock of each probe's own site."""

    code = tables.Column("Probe", attrs=LEAD)
    site = tables.Column("Site")
    kind = tables.Column("Kind", accessor="description", empty_values=())
    fitness = tables.Column("May it be used?", accessor="pk")
    last_good = tables.Column("Last good check", accessor="pk")
    due = tables.Column("Next check", accessor="pk")
    act = tables.Column("", accessor="pk", attrs=ACT)

    class Meta:
        orderable = False
        empty_text = "No probe matches. Clear the filter, or add the probe."

    def __init__(self, *args, now, writes: set[int], judged: dict[int, Judgement], **kwargs):
        super().__init__(*args, **kwargs)
        self.now, self.writes, self.judged = now, writes, judged

    def render_code(self, value, record):
        return format_html('<a href="{}">{}</a>', reverse("probe_detail", args=[record.pk]), value)

    def render_kind(self, record):
        return record.description or record.get_sensor_display()

    def render_fitness(self, record):
        withdrawn = badge("record", "withdrawn") if record.withdrawn else ""
        return together(badge("fitness", self.judged[record.pk].state.value), withdrawn)

    def render_last_good(self, record):
        state = getattr(record, "state", None)
        return when(state.last_good_at, record.site.zone, "day") if state and state.last_good_at else "never"

    def render_due(self, record):
        state = getattr(record, "state", None)
        if is_let_be(record):
            return "–"
        at = state.due_at if state else None
        shown = when(at, record.site.zone, "day") if state and state.last_check_id else ""
        return together(badge("due", due_word(state, self.now)), shown)

    def render_act(self, record):
        if record.site_id not in self.writes or is_let_be(record):
            return ""
        check = wanted_check(getattr(record, "state", None))
        label = f"Check {record} {check.words.at}"
        address = reverse(check.address, args=[record.pk])
        return format_html(
            '<a class="button small-button quiet-button" href="{}" aria-label="{}">Check</a>', address, label
        )


def together(*parts: str) -> str:
    """Several words or badges in one cell; a dash where there is none."""
    inside = format_html_join("", "<span>{}</span>", ((part,) for part in parts if part))
    return format_html('<span class="cell">{}</span>', inside) if inside else "–"


def standing_of(probe) -> str:
    state = getattr(probe, "state", None)
    return state.standing if state else "unproven"


class CheckTable(tables.Table):
    """The checks of one probe, newest first."""

    checked_at = tables.Column("Checked", attrs=LEAD)
    verdict = tables.Column("Verdict")
    error_milli = tables.Column("Off by", attrs=NUMBER, empty_values=())
    kind = tables.Column("Kind")
    checked_by = tables.Column("By", attrs=SPARE)
    remarks = tables.Column("Remarks", accessor="pk")

    class Meta:
        orderable = False
        empty_text = "Not checked yet."
        row_attrs = {"class": lambda record: "is-void" if hasattr(record, "void") else ""}

    def __init__(self, *args, site, **kwargs):
        super().__init__(*args, **kwargs)
        self.site, self.not_cleared = site, not_cleared([row.record for row in self.rows])

    def render_checked_at(self, value, record):
        return format_html(
            '<a href="{}">{}</a>', reverse("check_detail", args=[record.pk]), when(value, self.site.zone)
        )

    def render_verdict(self, record):
        return badge("verdict", record.verdict)

    def render_error_milli(self, record):
        return off_by(record, self.site.unit)

    def render_kind(self, record):
        left = record.stage == Stage.AS_LEFT
        kind = kind_of(record).against(record, self.site.unit) or record.get_kind_display()
        return together(kind, badge("stage", record.stage) if left else "")

    def render_checked_by(self, record):
        return record.name_of("checked_by")

    def render_remarks(self, record):
        words = [badge("record", word) for word in remarks_of(record)]
        if record.pk in self.not_cleared and not hasattr(record, "void"):
            words.append("did not clear the probe: it had failed away from zero")
        elif passed_near_edge(record) and not hasattr(record, "void"):
            words.append("near the edge")
        return together(*words)


def off_by(check, unit: str) -> str:
    """Error and expanded uncertainty, such as '+0.30 ± 0.12 °C'; a dash where the check gave no figure."""
    if check.error_milli is None:
        return "–"
    error = number(difference_from_milli(check.error_milli, unit), 2, signed=True)
    return f"{error} ± {number(rounded_up(check.expanded_milli, unit), 2)} {Unit(unit).label}"


def remarks_of(check) -> list[str]:
    """Void or corrected, and entered late."""
    words = []
    if hasattr(check, "void"):
        words.append("corrected" if check.void.replacement_id else "void")
    return words + (["late"] if entered_late(check) else [])


class EventTable(tables.Table):
    """What happened to one probe, newest first; what was struck out stays readable."""

    at = tables.Column("When", attrs=LEAD)
    kind = tables.Column("What happened")
    note = tables.Column("Note", default="–")
    recorded_by = tables.Column("Recorded by", accessor="name_of")
    remarks = tables.Column("Remarks", accessor="pk")
    act = tables.Column("", accessor="pk", attrs=ACT)

    class Meta:
        orderable = False
        empty_text = "Nothing has happened to it so far."
        row_attrs = {"class": lambda record: "is-void" if hasattr(record, "void") else ""}

    def __init__(self, *args, site, strikes: bool, **kwargs):
        super().__init__(*args, **kwargs)
        self.site = site
        if not strikes:
            self.columns.hide("act")

    def render_at(self, value):
        return when(value, self.site.zone)

    def render_remarks(self, record):
        void = getattr(record, "void", None)
        struck = badge("record", "corrected" if void.replacement_id else "void") if void else ""
        late = badge("record", "late") if event_entered_late(record) else ""
        told = f"{void.name_of()}, {styled(void.recorded_at, self.site.zone, 'short')}: {void.reason}" if void else ""
        return together(struck, told, late)

    def render_act(self, record):
        if hasattr(record, "void"):
            return ""
        address, label = reverse("event_void", args=[record.pk]), f"Put right: {record.get_kind_display()}"
        return format_html(
            '<a class="button small-button quiet-button" href="{}" aria-label="{}">Put right</a>', address, label
        )


class PlacementTable(tables.Table):
    """Where one probe has been."""

    starts_at = tables.Column("From", attrs=LEAD)
    site = tables.Column("Site")
    reason = tables.Column("Why", default="–")
    recorded_by = tables.Column("Recorded by", accessor="name_of")
    recorded_at = tables.Column("Entered")

    class Meta:
        orderable = False
        empty_text = "Its place was never recorded."

    def render_recorded_at(self, value, record):
        return together(when(value, record.site.zone), badge("record", "late") if move_entered_late(record) else "")

    def render_starts_at(self, value, record):
        return when(value, record.site.zone)
