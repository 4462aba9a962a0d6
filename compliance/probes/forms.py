"""What people fill in about probes; temperatures in the unit of the site."""

from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from compliance.limits.queries import limits_in_force
from shared.bounds import one_line
from shared.fields import PlainNumberField, ReasonField, RecordsField, SiteDateTimeField, TemperatureField
from shared.forms import SettingsChangeForm
from shared.long_ago import LongAgoForm
from shared.units import Unit, difference_from_milli, difference_to_milli, from_milli, parse, to_milli
from sites.choosing import SiteField, SiteOffer
from sites.models import Person

from .models import Probe, Sensor

POINTS = {
    "lowest_milli": "Lowest temperature that it measures,",
    "highest_milli": "Highest temperature that it measures,",
}
DIFFERENCES = {"resolution_milli": "Display resolution", "tolerance_milli": "Tolerance"}
HELP = {
    "resolution_milli": "The smallest step of the last digit shown, such as 0.1.",
    "tolerance_milli": "How far from the truth it may be. ±1 °C is usual; ±2 °F where it shows °F only.",
    "lowest_milli": "From the maker's leaflet.",
}
USUAL = {
    Unit.CELSIUS: {"resolution_milli": 100, "tolerance_milli": 1000, "lowest_milli": -40_000, "highest_milli": 200_000},
    Unit.FAHRENHEIT: {
        "resolution_milli": 56,
        "tolerance_milli": 1111,
        "lowest_milli": -40_000,
        "highest_milli": 200_000,
    },
}


def shown(milli: int, unit: str, difference: bool) -> str:
    """A stored figure as somebody would type it: no more digits than it needs."""
    value = difference_from_milli(milli, unit) if difference else from_milli(milli, unit)
    text = f"{value.quantize(Decimal('0.01')).normalize():f}"
    return "0" if text == "-0" else text


class ProbeForm(forms.Form):
    """The particulars of a probe at a site. `figures()` gives the fields as the actions take them."""

    code = forms.CharField(
        max_length=20,
        label="Code on its label",
        help_text="What is written on the probe, such as K-07. Label it if it has none.",
    )
    description = forms.CharField(max_length=120, required=False, help_text="Such as “blue handle, meat”.")
    sensor = forms.ChoiceField(choices=Sensor.choices, label="Kind of sensor", initial=Sensor.UNKNOWN.value)
    maker = forms.CharField(max_length=80, required=False)
    model = forms.CharField(max_length=80, required=False)
    serial = forms.CharField(max_length=80, required=False, label="Serial number")
    time_constant_s = PlainNumberField(
        min_value=0.1,
        max_value=600,
        required=False,
        label="Time constant in seconds",
        help_text="If the maker states one: the time for about two thirds of a change.",
    )
    stem_diameter_mm = PlainNumberField(min_value=0.3, max_value=30, required=False, label="Stem diameter in mm")
    limits = RecordsField(
        queryset=None,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Limits that it serves",
        help_text="What it is used for. Taking a reading offers these first.",
    )
    field_order = [
        "code",
        "description",
        "sensor",
        "resolution_milli",
        "tolerance_milli",
        "every_days",
        "limits",
        "lowest_milli",
        "highest_milli",
        "maker",
        "model",
        "serial",
        "stem_diameter_mm",
        "time_constant_s",
    ]

    def __init__(self, *args, site, initial=None, **kwargs):
        self.site = site
        self._stored = {**USUAL[Unit(site.unit)], **(initial or {})}
        texts = {n: shown(self._stored[n], site.unit, n in DIFFERENCES) for n in (*DIFFERENCES, *POINTS)}
        super().__init__(*args, initial={**(initial or {}), **texts}, **kwargs)
        for name, label in (DIFFERENCES | POINTS).items():
            self.fields[name] = TemperatureField(
                label=f"{label} in {site.get_unit_display()}", help_text=HELP.get(name, ""), initial=texts[name]
            )
            self.fields[name].unit = site.unit if name in POINTS else None
        self.fields["limits"].queryset = limits_in_force(site, timezone.now())
        if not self.fields["limits"].queryset:
            del self.fields["limits"]
        self.order_fields(self.field_order)

    def clean(self):
        given = super().clean()
        for name in (*DIFFERENCES, *POINTS):
            if name in given:
                given[name] = self._milli(name, given[name])
        return given

    def _milli(self, name: str, text: str) -> int:
        """What is typed, stored; a figure left as shown keeps its stored digits."""
        if name not in self.changed_data:
            return self._stored[name]
        value = parse(text)
        milli = difference_to_milli(value, self.site.unit) if name in DIFFERENCES else to_milli(value, self.site.unit)
        if name in DIFFERENCES and milli < 1:
            self.add_error(name, ValidationError("This must be more than nothing.", code="positive"))
        return milli

    def figures(self) -> dict:
        return {name: value for name, value in self.cleaned_data.items() if name != "starts_at"}


class NewProbeForm(LongAgoForm, ProbeForm):
    dated = "starts_at"
    follows = "Its checks count as due from that day on, and none that was not made can be made any more."

    every_days = forms.IntegerField(
        min_value=1,
        max_value=366,
        required=False,
        label="Check at zero every … days",
        help_text="Empty: as the plan of the site says. A drop or a doubt makes one due at once.",
    )
    starts_at = SiteDateTimeField(label="At the site since")

    def __init__(self, *args, site, **kwargs):
        super().__init__(*args, site=site, **kwargs)
        self.fields["starts_at"].zone = site.zone
        self.fields["starts_at"].initial = timezone.now().replace(second=0, microsecond=0)


class AmendProbeForm(SettingsChangeForm, ProbeForm):
    field_order = [*ProbeForm.field_order, *SettingsChangeForm.base_fields]

    def __init__(self, *args, probe: Probe, **kwargs):
        super().__init__(*args, site=probe.site, initial=known_of(probe) | self.shown(probe), **kwargs)
        self.fields["reason"].help_text = "Needed where the tolerance grows, and for a correction."


class MoveForm(LongAgoForm):
    dated = "starts_at"
    follows = (
        "Which checks were due is worked out anew from that day on, by the plan and the days of work of the other site."
    )

    site = SiteField(
        label="To",
        empty_label="Choose a site",
        error_messages={"invalid_choice": "The probe is there already, or cannot be moved there. Nothing was changed."},
    )
    starts_at = SiteDateTimeField(label="There since")
    reason = ReasonField(
        usual="move", max_length=200, validators=[one_line], help_text="Such as “lent for the summer kitchen”."
    )

    def __init__(self, *args, probe: Probe, person: Person, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["site"].offer(SiteOffer(person, "business", probe.business_id, but=probe.site_id), self.data)
        self.fields["site"].label_from_instance = lambda site: f"{site.name} ({site.area.name})"
        self.fields["starts_at"].zone = probe.site.zone
        self.fields["starts_at"].help_text = f"On the clock of {probe.site}, where it is now."
        self.fields["starts_at"].initial = timezone.now().replace(second=0, microsecond=0)


def known_of(probe: Probe) -> dict:
    """What a form about a probe begins with."""
    names = (
        "code",
        "description",
        "sensor",
        "maker",
        "model",
        "serial",
        "time_constant_s",
        "stem_diameter_mm",
        *DIFFERENCES,
        *POINTS,
    )
    return {name: getattr(probe, name) for name in names} | {"limits": list(probe.limits.values_list("pk", flat=True))}
