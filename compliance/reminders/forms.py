"""What people fill in about reminders."""

from django import forms

from shared.fields import DayField, ReasonField

from .models import Excuse, Reminder

EXCUSE, STRIKE_OUT = "excuse", "strike_out"
NOT_WHOLE = "This form did not arrive whole, and nothing was changed. Open the page anew, and type it again."

UNSEEN = {
    "label": "Form",
    "widget": forms.HiddenInput,
    "error_messages": {"required": NOT_WHOLE, "invalid_choice": NOT_WHOLE},
}


class ExcuseForm(forms.Form):
    """Says itself whether it excuses or strikes an excuse out, whatever is so when it arrives."""

    wants = forms.ChoiceField(choices=[(EXCUSE, ""), (STRIKE_OUT, "")], initial=EXCUSE, **UNSEEN)
    reason = ReasonField(
        usual="excuse",
        max_length=500,
        help_text="Such as “in the laboratory until Friday”. It is printed in the record with your name.",
    )


class StrikeExcuseForm(ExcuseForm):
    excuse = forms.ModelChoiceField(Excuse.objects.none(), **UNSEEN)
    reason = ReasonField(
        usual="excuse_void",
        max_length=500,
        label="Why it does not hold",
        help_text="Such as “the probe was here all week”. It is printed in the record with your name, beside the excuse.",
    )

    def __init__(self, *args, reminder: Reminder, live: Excuse | None, **kwargs):
        super().__init__(*args, initial={"wants": STRIKE_OUT, "excuse": live and live.pk}, **kwargs)
        self.fields["excuse"].queryset = reminder.excuses.all()


class DayForm(forms.Form):
    """A day on the clock of the site."""

    day = DayField(required=False)
