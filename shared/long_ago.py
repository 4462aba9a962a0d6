"""A fact with a date long ago changes much of what is concluded: its date is confirmed in words before anything is saved."""

from datetime import date, datetime

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from .time_text import long_weekday_day, on_clock

LONG = 60  # days


class LongAgoForm(forms.Form):
    """`dated` names the field of the date, `follows` says what is changed by one long ago."""

    dated = "at"
    follows = ""

    def clean(self):
        given = super().clean()
        if (at := given.get(self.dated)) and self.enters(given):
            self._confirm(at)
        return given

    def enters(self, given: dict) -> bool:
        """Whether a fact of that date is entered at all."""
        return True

    def _confirm(self, at: datetime) -> None:
        """A box with the very day on it, so that another day is confirmed anew."""
        zone = self.fields[self.dated].zone
        day = on_clock(at, zone).date()
        ago = (on_clock(timezone.now(), zone).date() - day).days
        if ago > LONG:
            words = long_weekday_day(day)
            self.fields["confirmed"] = self._box(day, f"Yes, {words} is right")
            if day.isoformat() not in (self["confirmed"].data or ()):
                asked = f"{words} is {ago} days ago. {self.follows} Tick the box if that is the day."
                self.add_error("confirmed", ValidationError(asked, code="long_ago"))

    def _box(self, day: date, words: str) -> forms.Field:
        choices = [(day.isoformat(), words)]
        return forms.MultipleChoiceField(
            label="Is the date right?", choices=choices, required=False, widget=forms.CheckboxSelectMultiple
        )
