from django import forms
from django.core.exceptions import ValidationError

from shared.fields import ReasonField

from .actions import LONGEST
from .wording import every


class AcceptForm(forms.Form):
    """The days between checks that somebody accepts; what the page showed comes back with it."""

    days = forms.IntegerField(
        label="Check at zero every … days",
        min_value=1,
        max_value=LONGEST,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    why = ReasonField(
        label="Why, if it differs from the advice",
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    before = forms.IntegerField(widget=forms.HiddenInput)
    advised = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args, advised: int, before: int, **kwargs):
        super().__init__(*args, initial={"days": advised, "advised": advised, "before": before}, **kwargs)
        self._advised = advised

    def clean(self):
        shown = self.cleaned_data.get("advised")
        if shown is not None and shown != self._advised:
            raise ValidationError(
                f"A check came in meanwhile: the advice was {every(shown)} and is {every(self._advised)} now. Nothing was "
                "changed. Look at it again, and accept it then."
            )
        return self.cleaned_data
