"""What people type about checks and events. Temperatures are in the site's unit, times on the site's clock."""

from collections.abc import Mapping
from enum import StrEnum
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from compliance.probes.models import EventKind
from shared.fields import PlainNumberField, ReasonField, SiteDateTimeField
from shared.long_ago import LongAgoForm
from shared.units import NUMBER, Unit, from_milli, number, read
from shared.widgets import TapNumber
from sites.models import Site

from .models import Check, NoFigure, Stage

STAGES = ((Stage.AS_FOUND, "As found: nothing was done to it"), (Stage.AS_LEFT, "As left: it was adjusted just before"))
SAID_OF_EVENTS = {
    EventKind.WITHDRAWN: "Withdrawn from use, put aside: what it read since its last good check still waits for a check",
    EventKind.GONE: "Withdrawn from use, gone: dead, lost or thrown away; it can never be checked again",
}
EVENTS = [(kind.value, SAID_OF_EVENTS.get(kind, kind.label.capitalize())) for kind in EventKind]


def stage_field() -> forms.ChoiceField:
    return forms.ChoiceField(label="Before or after an adjustment?", choices=STAGES, widget=forms.RadioSelect)


def note_field() -> forms.CharField:
    return forms.CharField(label="Note", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))


def reason_field(label: str) -> ReasonField:
    return ReasonField(label=label, max_length=1000, widget=forms.Textarea(attrs={"rows": 3}))


def depth_field(label: str = "") -> PlainNumberField:
    return PlainNumberField(
        label=label,
        required=False,
        min_value=0,
        max_value=1000,
        help_text="Only if you measured it.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


class FinishForm(forms.Form):
    stage = stage_field()
    immersion_mm = depth_field()
    note = note_field()

    def __init__(self, *args, depth: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["immersion_mm"].label = f"{depth} in mm"


class CheckVoidForm(forms.Form):
    reason = reason_field("Why does it not count?")


class AtSite(LongAgoForm):
    """A check whose times are on the clock of a site; a hidden key makes sending it twice harmless."""

    dated = "checked_at"
    follows = "What readings since then are worth, and which checks were due, is worked out anew from that day on."

    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args, site: Site, **kwargs):
        kwargs["initial"] = {"key": uuid4(), **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)
        self.site = site
        for field in self.fields.values():
            if isinstance(field, SiteDateTimeField):
                field.zone = site.zone
                field.help_text = f"On the clock of {site} ({site.time_zone})."
            if isinstance(field.widget, TapNumber):
                field.widget.unit = Unit(site.unit).label


def ways_field(label: str, ways: Mapping[StrEnum, str]) -> forms.ChoiceField:
    return forms.ChoiceField(label=label, choices=[(way.value, words) for way, words in ways.items()])


def points_field(met: Mapping[StrEnum, str]) -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        label="What was done",
        required=False,
        choices=[(p.value, words) for p, words in met.items()],
        widget=forms.CheckboxSelectMultiple,
    )


def readings_field(sample: str) -> forms.CharField:
    return forms.CharField(
        label="Readings",
        required=False,
        widget=forms.Textarea(attrs={"rows": 8, "inputmode": "text"}),
        help_text=f"One a line: seconds since the probe went in, a space, what the display showed. Such as: {sample}",
    )


class Correction(AtSite):
    """A guided check written down again, with the mistake put right; each kind names its `guidance` and `data_type`."""

    reason = reason_field("What was wrong?")
    checked_at = SiteDateTimeField(label="Checked at")
    stage = stage_field()
    no_figure = forms.ChoiceField(
        label="What did it show?",
        required=False,
        choices=[("", "Numbers, as below"), *((value, f"No figure: {label}") for value, label in NoFigure.choices)],
    )
    note = note_field()

    field_order = [
        *("key", "reason", "checked_at", "stage", "kind", "points", "no_figure", "readings", "immersion_mm", "note")
    ]

    def clean_readings(self) -> list[tuple[int, str, str]]:
        rows = []
        for number_, line in enumerate(self.cleaned_data["readings"].splitlines(), start=1):
            if line.strip():
                rows.append(self._row(number_, line.split()))
        return rows

    def _row(self, number_: int, words: list[str]) -> tuple[int, str, str]:
        try:
            seconds, text = words
            read(text, self.site.unit)
            return round(parse_seconds(seconds) * 1000), text, self.site.unit
        except ValueError:
            raise ValidationError(
                f"Line {number_} should be seconds, a space and a temperature, such as: 40 0.3"
            ) from None

    def said(self) -> dict:
        names = ("key", "stage", "checked_at", "no_figure", "readings", "immersion_mm", "note")
        return {name: self.cleaned_data[name] for name in names} | {"preparation": self.preparation()}

    def preparation(self):
        """With what somebody said at the time was not done; of whatever else is not ticked nobody says anything."""
        guidance = self.guidance
        points, left = (
            frozenset(map(guidance.point, names))
            for names in (self.cleaned_data["points"], self.initial.get("left", []))
        )
        way = type(guidance.usual)(self.cleaned_data["kind"])
        return guidance.preparation(kind=way, points=points, left=left - points)

    def check_data(self):
        """The check as it is written down now."""
        return self.data_type(site=self.site, **self.said())


def paper_form(correction: type[Correction], data, *, site: Site, people, usual: str) -> Correction:
    """The form of a guided check, as it stands on paper: nothing is put right, and somebody else may have made it."""
    form = correction(data, site=site, initial={"stage": Stage.AS_FOUND, "kind": usual})
    del form.fields["reason"]
    form.fields["checked_by"] = forms.ModelChoiceField(people, label="Who made it", empty_label="Choose who made it")
    form.order_fields(["key", "checked_at", "checked_by", *form.field_order])
    return form


def parse_seconds(text: str) -> float:
    """Seconds from 0 to 7200. Raises ValueError."""
    plain = text.replace(",", ".")
    seconds = float(plain) if NUMBER.fullmatch(plain) else -1.0
    if not 0 <= seconds <= 7200:
        raise ValueError("Give seconds from 0 to 7200.")
    return seconds


def guided_initial(check: Check, unit: str) -> dict:
    """A recorded check as its correction starts from it; readings typed in another unit are converted."""
    lines = [f"{t.elapsed_ms / 1000:g} {_retyped(t, unit)}" for t in check.timed_readings.all()]
    return {
        "checked_at": check.checked_at,
        "stage": check.stage,
        "kind": check.preparation.get("kind"),
        "points": check.preparation.get("points", []),
        "left": check.preparation.get("left", []),
        "no_figure": check.no_figure,
        "readings": "\n".join(lines),
        "immersion_mm": check.immersion_mm,
        "note": check.note,
    }


def _retyped(timed, unit: str) -> str:
    return timed.typed if timed.unit == unit else number(from_milli(timed.value_milli, unit), 2)


class EventForm(LongAgoForm):
    follows = (
        "What readings since then are worth, and which checks were due, is worked out anew from that day on; while a probe is "
        "withdrawn, none is due but the one that its readings wait for."
    )

    kind = forms.ChoiceField(label="What happened?", choices=EVENTS, widget=forms.RadioSelect)
    at = SiteDateTimeField(label="When")
    note = note_field()

    def __init__(self, *args, site: Site, **kwargs):
        kwargs["initial"] = {"at": timezone.now(), **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)
        self.fields["at"].zone = site.zone
        self.fields["at"].help_text = f"On the clock of {site} ({site.time_zone})."


class EventVoidForm(EventForm):
    """Strike an event out; where it happened otherwise, say how."""

    reason = reason_field("What was wrong?")
    replace = forms.BooleanField(
        label="Put the right one in its place",
        required=False,
        help_text="As filled in below. Leave it off if nothing happened at all.",
    )

    field_order = ["reason", "replace", "kind", "at", "note"]

    def enters(self, given: dict) -> bool:
        return bool(given.get("replace"))
