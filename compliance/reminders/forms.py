"""What people fill in about reminders."""

from django import forms

from shared.fields import DayField, ReasonField


class ExcuseForm(forms.Form):
    reason = ReasonField(
        usual="excuse", max_length=500,
        help_text="Such as “in the laboratory until Friday”. It is printed in the record with your name.",
    )  # fmt: skip


class StrikeExcuseForm(ExcuseForm):
    reason = ReasonField(
        usual="excuse_void", max_length=500, label="Why it does not hold",
        help_text="Such as “the probe was here all week”. It is printed in the record with your name, beside the excuse.",
    )  # fmt: skip


class DayForm(forms.Form):
    """A day on the clock of the site."""

    day = DayField(required=False)
