"""What people fill in about plans, rounds, opening days and closures."""

from datetime import date, datetime, time

from django import forms
from django.core.exceptions import ValidationError

from shared.fields import DayField, ReasonField, ShownField

from .calendar import WEEKDAYS, Hours
from .data import PlanData
from .models import Opening, Pattern, Round
from .schedule import ALL_WEEK, Plan, each
from .wording import SHORT

DAY_CHOICES = [(position, name) for position, name in enumerate(SHORT)]
WHY = "Needed where checks are made less often."
OFTEN = (15, 30, 45, 60, 90, 120, 180, 240, 360)  # minutes between readings
AFTER_MIDNIGHT = "After midnight it is in the hours that still run then, if any do."


def time_field(**given) -> forms.TimeField:
    return forms.TimeField(widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"), **given)


class WeekdaysField(forms.TypedMultipleChoiceField):
    """Weekdays to tick; gives the bit mask with Monday 1."""

    def __init__(self, **given):
        super().__init__(choices=DAY_CHOICES, coerce=int, widget=forms.CheckboxSelectMultiple, **given)

    def clean(self, value) -> int:
        return sum(1 << position for position in super().clean(value))


def ticked(weekdays: int) -> list[int]:
    return [position for position in range(7) if weekdays >> position & 1]


class FromForm(forms.Form):
    """From which local day something holds, and why: asked for last."""

    after = ShownField()
    effective_from = DayField(label="From")
    reason = ReasonField(widget=forms.Textarea(attrs={"rows": 2}), max_length=300, required=False, help_text=WHY)

    def __init__(self, *args, today: date, after: int = 0, initial=None, **kwargs):
        super().__init__(*args, initial={"after": after, "effective_from": today, **(initial or {})}, **kwargs)
        self.order_fields([name for name in self.fields if name not in FromForm.base_fields])


class PlanForm(FromForm):
    """`wider`: in words what counts without this plan, where there is one to take off."""

    pattern = forms.ChoiceField(choices=Pattern.choices, widget=forms.RadioSelect, label="Checked")
    every_days = forms.IntegerField(
        min_value=1,
        max_value=366,
        required=False,
        label="Days from one check to the next",
        help_text="Counted from the last good check. Weekly is usual, daily in heavy use.",
    )
    weekdays = WeekdaysField(
        required=False, label="Weekdays", help_text="The same days each week, whenever the last check was."
    )
    at = time_field(label="Due at", help_text=f"On the clock of the site. {AFTER_MIDNIGHT}")
    before_service = forms.BooleanField(
        required=False, label="Before service instead", help_text="Where the opening hours of the day are known."
    )
    minutes_before = forms.IntegerField(min_value=0, max_value=720, required=False, label="Minutes before opening")
    grace_minutes = forms.IntegerField(
        min_value=0, max_value=10_080, label="Minutes of grace", help_text="After that it counts as overdue."
    )
    drop = forms.BooleanField(required=False)

    def __init__(self, *args, plan: Plan, wider: str = "", **kwargs):
        super().__init__(*args, initial=known_of(plan), **kwargs)
        if wider:
            self.fields["drop"].label = "Take this plan off instead"
            self.fields["drop"].help_text = f"Then it is {wider}."
        else:
            del self.fields["drop"]

    def clean(self):
        given = super().clean()
        if given.get("drop"):
            return given
        if (
            given.get("pattern") == Pattern.EVERY_DAYS
            and not given.get("every_days")
            and "every_days" not in self.errors
        ):
            self.add_error("every_days", ValidationError("Give the days from one check to the next.", code="required"))
        return given

    def figures(self) -> dict:
        """As the action takes them; what is left empty is as usual."""
        given = dict(self.cleaned_data)
        told = {name: given[name] for name in ("effective_from", "reason", "after")}
        if given.pop("drop", False):
            return {**told, "in_force": False}
        return {name: figure for name, figure in given.items() if figure is not None}


def known_of(plan: Plan) -> dict:
    return {
        "pattern": plan.pattern,
        "every_days": plan.every_days,
        "weekdays": ticked(plan.weekdays),
        "at": plan.at,
        "before_service": plan.minutes_before is not None,
        "grace_minutes": plan.grace_minutes,
        "minutes_before": PlanData.minutes_before if plan.minutes_before is None else plan.minutes_before,
    }


class RoundForm(FromForm):
    times = forms.CharField(
        required=False,
        max_length=200,
        label="At these times of day",
        help_text=f"Such as 08:00, 12:30, 17:00. {AFTER_MIDNIGHT}",
    )
    every_minutes = forms.TypedChoiceField(
        coerce=int,
        empty_value=None,
        required=False,
        label="Or while open",
        choices=[("", "no"), *((minutes, each(minutes)) for minutes in OFTEN)],
    )
    weekdays = WeekdaysField(label="On")
    grace_minutes = forms.IntegerField(
        min_value=0,
        max_value=1440,
        label="Minutes of grace",
        help_text="After that it counts as overdue; at the latest after two thirds of the time to the next reading.",
    )
    drop = forms.BooleanField(required=False, label="No more rounds for this limit")

    def __init__(self, *args, present: Round | None, **kwargs):
        super().__init__(*args, initial=known_round(present), **kwargs)
        self.fields["reason"].help_text = "Needed where rounds end."
        if present is None:
            del self.fields["drop"]

    def clean_times(self) -> list[time]:
        words = self.cleaned_data["times"].replace(";", ",").replace(" ", ",").split(",")
        try:
            return [datetime.strptime(word, "%H:%M").time() for word in words if word]
        except ValueError:
            raise ValidationError("Give times as on a clock, with commas between: 08:00, 12:30.", code="time") from None

    def figures(self) -> dict:
        given = dict(self.cleaned_data)
        dropped = given.pop("drop", False)
        return {**given, "in_force": not dropped}


def known_round(present: Round | None) -> dict:
    if present is None:
        return {"weekdays": ticked(ALL_WEEK), "grace_minutes": 30}
    return {
        "times": ", ".join(present.times),
        "every_minutes": present.every_minutes,
        "weekdays": ticked(present.weekdays),
        "grace_minutes": present.grace_minutes,
    }


class OpeningForm(FromForm):
    """Two times for each weekday; both empty: closed that day."""

    def __init__(self, *args, present: Opening | None, **kwargs):
        super().__init__(*args, **kwargs)
        hours = present.as_hours() if present else (None,) * 7
        for position, name in enumerate(SHORT):
            known: Hours | None = hours[position]
            for word in ("opens", "closes"):
                self.fields[f"{word}_{position}"] = time_field(
                    label=f"{name} {word}", required=False, initial=known and getattr(known, word)
                )
        self.fields["reason"].help_text = ""

    @property
    def days(self) -> list[list]:
        """The pairs of fields, Monday first."""
        return [[self[f"opens_{position}"], self[f"closes_{position}"]] for position in range(7)]

    @property
    def others(self) -> list:
        return [self["effective_from"], self["reason"]]

    def clean(self):
        given = super().clean()
        for position, name in enumerate(WEEKDAYS):
            opens, closes = given.get(f"opens_{position}"), given.get(f"closes_{position}")
            if (opens is None) != (closes is None) and not {f"opens_{position}", f"closes_{position}"} & set(
                self.errors
            ):
                missing = "closes" if closes is None else "opens"
                message = f"Give both times, or neither where it is closed on {name}."
                self.add_error(f"{missing}_{position}", ValidationError(message, code="pair"))
        return given

    def figures(self) -> dict:
        given = self.cleaned_data
        pairs = [(given[f"opens_{p}"], given[f"closes_{p}"]) for p in range(7)]
        hours = [None if pair[0] is None else pair for pair in pairs]
        return {"hours": hours, **{name: given[name] for name in ("effective_from", "reason", "after")}}


class ClosureForm(forms.Form):
    """`scopes`: what this person may close, by the word that the action takes, in words."""

    scope = forms.ChoiceField(widget=forms.RadioSelect, label="Closed")
    first_day = DayField(label="First day")
    last_day = DayField(label="Last day", help_text="Included.")
    why = ReasonField(usual="closure", max_length=80, help_text="Such as school holidays. The record says it too.")
    excuse_open = forms.BooleanField(
        required=False,
        label="Excuse what is open of these days",
        help_text="What has fallen due already stays asked for. Ticked: all of it is excused, with this reason and your name.",
    )

    def __init__(self, *args, scopes: list[tuple[str, str]], today: date, **kwargs):
        super().__init__(*args, initial={"scope": scopes[0][0], "first_day": today, "last_day": today}, **kwargs)
        self.fields["scope"].choices = scopes
        if len(scopes) == 1:
            self.fields["scope"].widget = forms.HiddenInput()


class StrikeForm(forms.Form):
    reason = ReasonField(usual="closure_void", max_length=300)
    last_day = DayField(
        required=False, label="Still closed until", help_text="Included. Empty: open from today on, or all the time."
    )
