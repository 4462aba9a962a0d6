"""Form fields for what people type: temperatures and times at a site."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from . import units


class TemperatureField(forms.CharField):
    """A number as the display shows it; comma or point, any minus sign. Gives the cleaned text that was typed."""

    def __init__(self, **kwargs):
        kwargs.setdefault("max_length", 12)
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off", "size": 8}))
        super().__init__(**kwargs)

    def clean(self, value):
        text = super().clean(value)
        if text in self.empty_values:
            return ""
        try:
            units.parse(text)
        except ValueError as error:
            raise ValidationError(str(error), code="temperature") from None
        return text


class SiteDateTimeField(forms.DateTimeField):
    """A wall-clock time at a site; set `.zone` in the form's __init__. Refuses hours that the clocks skip or repeat."""

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def __init__(self, *, zone: ZoneInfo | None = None, allow_future: bool = False, **kwargs):
        self.zone, self.allow_future = zone or ZoneInfo("UTC"), allow_future
        super().__init__(**kwargs)

    def prepare_value(self, value):
        if isinstance(value, datetime) and timezone.is_aware(value):
            return value.astimezone(self.zone).replace(tzinfo=None)
        return value

    def to_python(self, value):
        with timezone.override(self.zone):
            at = super().to_python(value)
        if at and not self.allow_future and at > timezone.now():
            raise ValidationError("That time has not come yet. Give the time when it was done.", code="future")
        return at
