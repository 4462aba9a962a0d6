"""Which days are asked for, and the signature under them."""

from django import forms

from shared.fields import DayField, ShownField

from .models import WORDS, Meaning


class DaysForm(forms.Form):
    """The days of a sheet, or the last day of a list; a mangled address shows what is usual."""

    first = DayField(required=False)
    last = DayField(required=False)


class ReviewForm(forms.Form):
    after = ShownField()
    meaning = forms.ChoiceField(
        label="What you sign",
        choices=[(each.value, WORDS[each]) for each in Meaning],
        widget=forms.RadioSelect,
    )
    remarks = forms.CharField(
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What you saw, and what has to be put right. Needed where you do not accept them.",
    )
