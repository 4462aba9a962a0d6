"""Form fields for what people type: temperatures, days, times at a site, names."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.html import format_html

from . import units
from .bounds import TO_COME, in_bounds, number_in, one_line
from .reasons import USUAL, as_reason
from .time_text import clock_time, on_clock
from .widgets import TWICE, ClockTime, Suggested, which_of_two


class TemperatureField(forms.CharField):
    """A number as the display shows it; comma or point, any minus sign. Gives the cleaned text that was typed.

    Set `.unit` where it is a temperature, and not a difference of two: then none is colder than anything can be.
    """

    unit: str | None = None

    def __init__(self, **kwargs):
        kwargs.setdefault("max_length", 12)
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off", "size": 8}))
        super().__init__(**kwargs)

    def clean(self, value):
        text = super().clean(value)
        if text in self.empty_values:
            return ""
        try:
            units.read(text, self.unit) if self.unit else units.parse(text)
        except ValueError as error:
            raise ValidationError(str(error), code="temperature") from None
        return text


class PlainNumberField(forms.FloatField):
    """A number as people write it: digits and one comma or point. “1e2” is none."""

    def to_python(self, value):
        text = str(value).strip().replace(",", ".") if value not in self.empty_values else ""
        if text and not units.NUMBER.fullmatch(text):
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        return super().to_python(text)


class LineField(forms.CharField):
    """A name or another short text on one line."""

    default_validators = [one_line]


class ReasonField(forms.CharField):
    """Why something is done. `usual` names the reasons that it offers; others are typed, in words. The action asks the same."""

    def __init__(self, *, usual: str = "", **kwargs):
        self.usual = usual
        if usual:
            kwargs.setdefault("widget", Suggested(USUAL[usual]))
        super().__init__(**{"label": "Why", **kwargs})

    def clean(self, value):
        return as_reason(super().clean(value), "", usual=self.usual)


class ShownField(forms.IntegerField):
    """The newest record that the page of a form knew of; None where an old page does not say."""

    def __init__(self, **kwargs):
        super().__init__(**{"min_value": 0, "required": False, "widget": forms.HiddenInput, **kwargs})

    def clean(self, value):
        return super().clean(value if number_in(value if isinstance(value, str) else None) is not None else None)


HOLDS = (
    ("", "From now on", "Records of the time until now keep what was set then."),
    (
        "1",
        "From the start: it corrects a mistake",
        "It was so all the time. Records of that time say so, and list it.",
    ),
)


class CorrectsField(forms.TypedChoiceField):
    """Whether a change puts right what was wrong from the start; if not, it holds from now on."""

    def __init__(self, **kwargs):
        choices = [(value, format_html('{} <span class="hint">{}</span>', label, hint)) for value, label, hint in HOLDS]
        super().__init__(
            label="Since when does this hold?",
            choices=choices,
            coerce=bool,
            empty_value=False,
            required=False,
            initial="",
            widget=forms.RadioSelect,
            **kwargs,
        )


class RecordsField(forms.ModelMultipleChoiceField):
    """Several records by their numbers. A number that is too large for a key is no choice, and is not looked up."""

    def clean(self, value):
        wrong = [each for each in value if number_in(str(each)) is None] if isinstance(value, list | tuple) else []
        if wrong:
            raise ValidationError(
                self.error_messages["invalid_choice"], code="invalid_choice", params={"value": wrong[0][:20]}
            )
        return super().clean(value)


class DayField(forms.DateField):
    """A day, from 1990 to 2100."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    default_validators = [in_bounds]


SKIPPED = (
    "There was no {} that day: the clocks were put forward over it. Look at the clock again and type the time after it."
)
REPEATED = "The clocks were put back that day and showed {} twice. Say which of the two is meant."


class SiteDateTimeField(forms.DateTimeField):
    """A wall-clock time at a site, from 1990 on; set `.zone` in the form's __init__. Refuses hours that the clocks skip, and
    asks which is meant of one that they repeat."""

    widget = ClockTime(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def __init__(self, *, zone: ZoneInfo | None = None, allow_future: bool = False, **kwargs):
        self.allow_future = allow_future
        super().__init__(**kwargs)
        self.zone = zone or ZoneInfo("UTC")

    @property
    def zone(self) -> ZoneInfo:
        return self.widget.zone

    @zone.setter
    def zone(self, zone: ZoneInfo) -> None:
        self.widget.zone = zone

    def prepare_value(self, value):
        if isinstance(value, datetime) and timezone.is_aware(value):
            return on_clock(value, self.zone).replace(tzinfo=None)
        return value

    def to_python(self, value):
        typed, which = which_of_two(value)
        try:
            with timezone.override(self.zone):
                at = super().to_python(typed)
        except ValidationError as error:
            at = self._of_two(error, which)
        if at and not self.allow_future and at > timezone.now():
            raise ValidationError(TO_COME, code="future")
        if at:
            in_bounds(at)
        return at

    def _of_two(self, error: ValidationError, which: str) -> datetime:
        """Of a time that the clocks showed twice the one that is meant. Raises ValidationError where nobody said which."""
        if error.code != "ambiguous_timezone":
            raise error
        local = error.params["datetime"]
        first, second = (local.replace(tzinfo=self.zone, fold=fold).utcoffset() for fold in (0, 1))
        if first == second:
            raise error
        if first > second and which:
            return local.replace(tzinfo=self.zone, fold=TWICE.index(which)).astimezone(UTC)
        raise ValidationError((SKIPPED if first < second else REPEATED).format(clock_time(local)), code=error.code)
