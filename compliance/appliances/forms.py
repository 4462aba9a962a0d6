"""What people fill in about appliances."""

from django import forms

from compliance.limits.models import Limit
from compliance.limits.queries import limits_in_force
from shared import clock
from shared.fields import LineField, ReasonField, SiteDateTimeField
from shared.forms import SettingsChangeForm
from sites.models import Site

from .data import OutOfUseData
from .models import Appliance, Why

NAME = {"label": "Name", "max_length": 60, "help_text": "As it is called in the kitchen, such as Dairy fridge."}
PLACE = {"label": "Where it stands", "max_length": 80, "required": False, "help_text": "Such as “back kitchen, left”."}


class ApplianceForm(forms.Form):
    name = LineField(**NAME)
    limit = forms.ModelChoiceField(Limit.objects.none(), label="Its limit", empty_label="Choose the limit")
    place = LineField(**PLACE)

    def __init__(self, *args, site: Site, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["limit"].queryset = limits_in_force(site, clock.now())


class ApplianceChangeForm(SettingsChangeForm):
    name = LineField(**NAME)
    place = LineField(**PLACE)

    field_order = ["name", "place"]

    def __init__(self, *args, appliance: Appliance, **kwargs):
        known = {"name": appliance.name, "place": appliance.place}
        super().__init__(*args, initial=known | self.shown(appliance), **kwargs)


class RetireApplianceForm(forms.Form):
    reason = ReasonField(
        usual="retire_appliance", max_length=300, help_text="It is printed in the record with your name."
    )


class OutOfUseForm(forms.Form):
    """The reasons are the buttons that send it."""

    why = forms.ChoiceField(choices=Why.choices, error_messages={"required": "Tap why it is out of use."})
    starts_at = SiteDateTimeField(label="Since when", required=False, help_text="Leave it empty for now.")
    ends_at = SiteDateTimeField(
        label="Until", required=False, allow_future=True, help_text="Leave it empty until it is back."
    )
    note = LineField(label="Note", required=False, max_length=120, help_text="Such as “the engineer comes on Friday”.")

    def __init__(self, *args, site: Site, **kwargs):
        super().__init__(*args, **kwargs)
        self.site = site
        for name in ("starts_at", "ends_at"):
            self.fields[name].zone = site.zone

    def told(self) -> OutOfUseData:
        return OutOfUseData(**self.cleaned_data)


class VoidOutOfUseForm(forms.Form):
    reason = ReasonField(
        usual="out_of_use_void",
        label="Why does it not count?",
        max_length=300,
        help_text="What was asked for in that time is asked for again, or was missed.",
    )
