"""What people type about checks and events. Temperatures are in the site's unit, times on the site's clock."""

from enum import StrEnum
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from compliance.metrology.bath import BathKind, Point, Preparation
from compliance.metrology.boiling import BoilingKind, BoilingPoint, BoilingPreparation
from compliance.probes.models import EventKind
from shared.fields import LineField, ReasonField, SiteDateTimeField, TemperatureField
from shared.units import Unit, difference_from_milli, difference_to_milli, from_milli, number, parse, read, to_milli
from shared.widgets import TapNumber
from sites.models import Site

from .guidance import Guidance
from .guidance.boiling import BOILING
from .guidance.ice import ICE
from .models import Check, Stage
from .surroundings_form import Air

STAGES = ((Stage.AS_FOUND, "As found: nothing was done to it"), (Stage.AS_LEFT, "As left: it was adjusted just before"))
EVENTS = [(kind.value, kind.label.capitalize()) for kind in EventKind]


def stage_field() -> forms.ChoiceField:
    return forms.ChoiceField(label="Before or after an adjustment?", choices=STAGES, widget=forms.RadioSelect)


def note_field() -> forms.CharField:
    return forms.CharField(label="Note", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))


def reason_field(label: str) -> ReasonField:
    return ReasonField(label=label, max_length=1000, widget=forms.Textarea(attrs={"rows": 3}))


def depth_field(label: str = ICE.words.depth) -> forms.FloatField:
    return forms.FloatField(
        label=label, required=False, min_value=0, max_value=1000, help_text="Only if you measured it.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )  # fmt: skip


class FinishForm(forms.Form):
    stage = stage_field()
    immersion_mm = depth_field()
    note = note_field()

    def __init__(self, *args, guidance: Guidance = ICE, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["immersion_mm"].label = guidance.words.depth


class VoidForm(forms.Form):
    reason = reason_field("Why does it not count?")


class AtSite(forms.Form):
    """A form whose times are on the clock of a site; a hidden key makes sending it twice harmless."""

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


class CertificateForm(AtSite):
    checked_at = SiteDateTimeField(label="Measured at")
    stage = stage_field()
    laboratory = LineField(max_length=160)
    certificate_number = LineField(label="Number of the certificate", max_length=80)
    reference = TemperatureField(
        label="Reference temperature", initial="0", widget=TapNumber(), help_text="The point nearest to the ice point."
    )  # fmt: skip
    error = TemperatureField(
        label="Error of the probe", widget=TapNumber(),
        help_text="What it showed minus the reference. A correction is the same with the other sign.",
    )  # fmt: skip
    expanded = TemperatureField(
        label="Expanded uncertainty", widget=TapNumber(signed=False), help_text="As stated, for k = 2 or 95 %."
    )  # fmt: skip
    note = note_field()

    field_order = ["key", "reason"]

    def __init__(self, *args, site: Site, **kwargs):
        super().__init__(*args, site=site, **kwargs)
        self.fields["reference"].unit = site.unit
        if site.unit == Unit.FAHRENHEIT and not self.is_bound:
            self.initial.setdefault("reference", "32")

    def clean_expanded(self):
        if parse(self.cleaned_data["expanded"]) <= 0:
            raise ValidationError("The uncertainty is above zero. It stands beside the result on the certificate.")
        return self.cleaned_data["expanded"]

    def figures(self) -> dict:
        """What the action needs, in milli-degrees."""
        data, unit = self.cleaned_data, self.site.unit
        return {
            "reference_milli": to_milli(parse(data["reference"]), unit),
            "error_milli": difference_to_milli(parse(data["error"]), unit),
            "expanded_milli": difference_to_milli(parse(data["expanded"]), unit),
            **{name: data[name] for name in ("key", "stage", "checked_at", "laboratory", "certificate_number", "note")},
        }


class CertificateCorrection(CertificateForm):
    reason = reason_field("What was wrong?")


def ways_field(label: str, guidance: Guidance) -> forms.ChoiceField:
    return forms.ChoiceField(label=label, choices=[(way.value, words) for way, words in guidance.ways.items()])


def points_field(guidance: Guidance) -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        label="What was done", required=False, choices=[(p.value, words) for p, words in guidance.met.items()],
        widget=forms.CheckboxSelectMultiple,
    )  # fmt: skip


def readings_field(sample: str) -> forms.CharField:
    return forms.CharField(
        label="Readings", widget=forms.Textarea(attrs={"rows": 8, "inputmode": "text"}),
        help_text=f"One a line: seconds since the probe went in, a space, what the display showed. Such as: {sample}",
    )  # fmt: skip


class Correction(AtSite):
    """A guided check written down again, with the mistake put right."""

    reason = reason_field("What was wrong?")
    checked_at = SiteDateTimeField(label="Checked at")
    stage = stage_field()
    kind = ways_field("How the bath was made", ICE)
    points = points_field(ICE)
    readings = readings_field("40 0.3")
    immersion_mm = depth_field()
    note = note_field()

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

    def left(self, point: type[StrEnum]) -> frozenset:
        """What somebody said at the time was not done; of whatever else is not ticked nobody says anything."""
        return frozenset(point(value) for value in self.initial.get("left", []))

    def given(self) -> dict:
        """What the action needs beside who, which and why."""
        names = ("key", "stage", "checked_at", "readings", "immersion_mm", "note")
        return {name: self.cleaned_data[name] for name in names} | {"preparation": self.preparation()}


class ZeroCorrection(Correction):
    def preparation(self) -> Preparation:
        points = frozenset(Point(p) for p in self.cleaned_data["points"])
        return Preparation(kind=BathKind(self.cleaned_data["kind"]), points=points, left=self.left(Point) - points)


class BoilingCorrection(Air, Correction):
    kind = ways_field("What the probe was held in", BOILING)
    points = points_field(BOILING)
    readings = readings_field("40 98.3")
    immersion_mm = depth_field(BOILING.words.depth)

    field_order = [
        "key",
        "reason",
        "checked_at",
        "stage",
        "source",
        "pressure",
        "pressure_unit",
        "altitude",
        "altitude_unit",
    ]

    def preparation(self) -> BoilingPreparation:
        points, kind = frozenset(BoilingPoint(p) for p in self.cleaned_data["points"]), self.cleaned_data["kind"]
        return BoilingPreparation(kind=BoilingKind(kind), points=points, left=self.left(BoilingPoint) - points)

    def given(self) -> dict:
        return super().given() | {"surroundings": self.surroundings(), "typed_pressure": self.typed()}


def parse_seconds(text: str) -> float:
    """Seconds from 0 to 7200. Raises ValueError."""
    seconds = float(text.replace(",", "."))
    if not 0 <= seconds <= 7200:
        raise ValueError("Give seconds from 0 to 7200.")
    return seconds


def guided_initial(check: Check, unit: str) -> dict:
    """A recorded check as its correction starts from it; readings typed in another unit are converted."""
    lines = [f"{t.elapsed_ms / 1000:g} {_retyped(t, unit)}" for t in check.timed_readings.all()]
    return {
        "checked_at": check.checked_at, "stage": check.stage, "kind": check.preparation.get("kind"),
        "points": check.preparation.get("points", []), "left": check.preparation.get("left", []), "readings": "\n".join(lines),
        "immersion_mm": check.immersion_mm, "note": check.note,
    }  # fmt: skip


def _retyped(timed, unit: str) -> str:
    return timed.typed if timed.unit == unit else number(from_milli(timed.value_milli, unit), 2)


def certificate_initial(check: Check, unit: str) -> dict:
    shown = {name: getattr(check, name) for name in ("checked_at", "stage", "laboratory", "certificate_number", "note")}
    differences = {"error": check.error_milli, "expanded": check.expanded_milli}
    shown |= {name: number(difference_from_milli(milli, unit), 3) for name, milli in differences.items()}
    return shown | {"reference": number(from_milli(check.reference_milli, unit), 3)}


class EventForm(forms.Form):
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
        label="Put the right one in its place", required=False,
        help_text="As filled in below. Leave it off if nothing happened at all.",
    )  # fmt: skip

    field_order = ["reason", "replace", "kind", "at", "note"]
