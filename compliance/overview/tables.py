from dataclasses import dataclass

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from compliance.reminders.queries import Told
from compliance.reminders.status import OPEN
from shared.badges import badge
from shared.templatetags.noughtbook import when
from shared.time_text import clock_time, on_clock
from shared.units import show_error

DOUBTED = "taken, with a probe not to be relied on"
NUMBER = {"td": {"class": "number"}, "th": {"class": "number"}}


class AttentionTable(tables.Table):
    """The sites of an area; what asks for nothing shows a dash, so that the rest stands out."""

    site = tables.Column("Site", attrs={"td": {"class": "lead-cell"}})
    out_of_tolerance = tables.Column("Probes out of tolerance", attrs=NUMBER)
    overdue = tables.Column("Checks overdue", attrs=NUMBER)
    in_doubt = tables.Column("Readings to decide on", attrs=NUMBER)
    deviations = tables.Column("Deviations open", attrs=NUMBER)
    checks = tables.Column("Checks missed, 28 days", accessor="site", attrs=NUMBER)
    rounds = tables.Column("Rounds missed, 28 days", accessor="site", attrs=NUMBER)
    probes = tables.Column("Probes in use", attrs=NUMBER)

    class Meta:
        orderable = False
        attrs = {"class": "attention"}
        row_attrs = {
            "class": lambda record: "" if record.weight[0] else "tone-bad" if record.in_doubt else "tone-doubt"
        }

    def __init__(self, *args, missed: dict[int, tuple[int, int]], **kwargs):
        """`missed`: checks and rounds by the key of the site."""
        super().__init__(*args, **kwargs)
        self.missed = missed

    def render_site(self, value):
        return format_html('<a href="{}">{}</a>', reverse("today_site", args=[value.pk]), value)

    def render_checks(self, value, column):
        return self._missed(value, column, 0, "checks")

    def render_rounds(self, value, column):
        return self._missed(value, column, 1, "rounds")

    def _missed(self, site, column, position: int, what: str):
        count = self._count(self.missed.get(site.pk, (0, 0))[position], column)
        address = f"{reverse('area_missed', args=[site.area_id])}?site={site.pk}&what={what}"
        return count if count == "–" else format_html('<a href="{}">{}</a>', address, count)

    def _count(self, value, column):
        # A phone leaves out what asks for nothing.
        column.attrs = {**NUMBER, "td": {"class": "number" if value else "number spare"}}
        return value or "–"

    render_out_of_tolerance = render_overdue = render_in_doubt = render_deviations = _count


class OverdueTable(tables.Table):
    """Probes of an area whose check is overdue, with what each is asked for; None: it was never checked."""

    probe = tables.Column("Probe", accessor="0", attrs={"td": {"class": "lead-cell"}})
    site = tables.Column("Site", accessor="0__site")
    due = tables.Column("Due", accessor="1", empty_values=())
    why = tables.Column("Why", accessor="1__because", default="never checked")

    class Meta:
        orderable = False
        empty_text = "No check is overdue."

    def render_probe(self, value):
        link = '<span><a href="{}">{}</a> <span class="quiet">{}</span></span>'
        return format_html(link, reverse("probe_detail", args=[value.pk]), value, value.description)

    def render_due(self, value, record):
        return when(value.due_at, record[0].site.zone, "short") if value else "now"


class FailedTable(tables.Table):
    """Probes that are out of tolerance now, over all sites of an area."""

    probe = tables.Column("Probe", attrs={"td": {"class": "lead-cell"}})
    site = tables.Column("Site", accessor="probe__site")
    error = tables.Column("Error at its last check", accessor="probe__state__last_check", default="–")
    last_good = tables.Column("Last good check", accessor="probe__state")
    case = tables.Column("Readings in doubt", accessor="summary", default="none")

    class Meta:
        orderable = False

    def render_probe(self, value):
        return format_html('<a href="{}">{}</a>', reverse("probe_detail", args=[value.pk]), value)

    def render_error(self, value, record):
        return value.get_no_figure_display() or show_error(value.error_milli, record.probe.site.unit)

    def render_last_good(self, value, record):
        return when(value.last_good_at, record.probe.site.zone, "day") if value.last_good_at else "never"

    def render_case(self, value):
        left = f"{value.undecided} of {value.readings} to decide on"
        words = left if value.undecided else f"{value.readings}, all decided on"
        return format_html('<a href="{}">{}</a>', reverse("case_detail", args=[value.slug]), words)


@dataclass(frozen=True, slots=True)
class ReminderRow:
    """What was asked for, who did it, what to do now, and what else there is: words and address each."""

    told: Told
    who: str
    now: tuple[str, str]
    steps: tuple[tuple[str, str], ...]


class ReminderTable(tables.Table):
    """Planned against done, one line a due time."""

    due = tables.Column("Due", accessor="told__reminder__due_at")
    what = tables.Column("What", accessor="told", attrs={"td": {"class": "lead-cell"}})
    status = tables.Column("State", accessor="told__status")
    who = tables.Column("Who", default="")
    steps = tables.Column("", empty_values=(), attrs={"td": {"class": "steps"}})

    class Meta:
        orderable = False
        attrs = {"class": "planned"}
        row_attrs = {"class": lambda record: "tone-bad" if record.told.status == "missed" else ""}

    def __init__(self, *args, style: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.style = style

    def render_due(self, value, record):
        return when(value, record.told.reminder.site.zone, self.style)

    def render_what(self, value):
        about = value.reminder.probe.description if value.reminder.probe else ""
        title = f"{value.title} · {about}" if about else value.title
        because = value.reminder.because
        if (
            because == f"at {clock_time(on_clock(value.reminder.due_at, value.reminder.site.zone))}"
        ):  # the first column says it already
            return title
        return format_html('{}<span class="because">{}</span>', title, because)

    def render_status(self, value, record):
        """Of what is open, also since when, where its turns before were missed."""
        told, reminder = record.told, record.told.reminder
        value = "unfit" if told.unfit else "not_owed" if told.not_owed else value
        if told.doubted and not told.check:
            return format_html("{} {}", badge("reminder", value), DOUBTED)
        if told.done_late:
            return format_html("{} late", badge("reminder", value))
        state = getattr(reminder.probe, "state", None)
        since = state and state.due_at
        if value not in OPEN or since is None or since >= reminder.due_at:
            return badge("reminder", value)
        return format_html("{} not done since {}", badge("reminder", value), when(since, reminder.site.zone, "short"))

    def render_steps(self, value, record):
        subject, (words, address) = record.told.title, record.now
        now = (
            format_html(
                '<a class="button quiet-button small-button" href="{}" aria-label="{}: {}">{}</a> ',
                address,
                words,
                subject,
                words,
            )
            if address
            else ""
        )
        others = ((address, words, subject, words) for words, address in value)
        return format_html("{}{}", now, format_html_join(" ", '<a href="{}" aria-label="{}: {}">{}</a>', others))


class MissedTable(ReminderTable):
    """The same over the sites of an area."""

    site = tables.Column("Site", accessor="told__reminder__site")

    class Meta(ReminderTable.Meta):
        sequence = ("due", "site", "...")
        exclude = ("who",)  # nobody
        empty_text = "Nothing was missed."
