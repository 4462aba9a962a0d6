from django import forms

from compliance.readings.models import Reading
from shared.fields import ReasonField, ShownField
from shared.time_text import listed_moment

from .measured_again import Offer
from .models import Fate

PICKED, ALL = "picked", "all"


class ReadingChoice(forms.ModelChoiceField):
    """Another measurement, named so that a person recognises it, under the food or unit that it speaks for."""

    def __init__(self, *, zone, **kwargs):
        self.zone = zone
        super().__init__(**kwargs)

    def label_from_instance(self, reading: Reading) -> str:
        at = listed_moment(reading.taken_at, self.zone)
        value = f"{reading.typed} {reading.get_unit_display()}"
        return f"{at} · {reading.item} · {value} · probe {reading.probe_then.code}"

    def offer(self, offers: list[Offer]) -> None:
        """Show these; what may be sent is left to the action, which says what is wrong with any other."""
        groups = [(o.label, [(r.pk, self.label_from_instance(r)) for r in o.readings]) for o in offers]
        self.widget.choices = [("", "Choose the reading" if groups else "No such reading yet: take one first"), *groups]


class DecisionForm(forms.Form):
    """One decision for the readings that were picked, or for all in the list shown; `again` for picked ones only."""

    after = ShownField()
    most = ShownField()
    fate = forms.ChoiceField(label="What is decided", choices=Fate.choices, widget=forms.RadioSelect)
    good_reading = forms.ModelChoiceField(Reading.objects.none(), label="The reading taken again", required=False)
    why = ReasonField(
        label="Why, and what was done",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Needed for food cooked on, reheated or discarded: what, how much, to what temperature.",
    )
    risk = ReasonField(
        label="Assessment of the risk",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="For food already eaten: what could have happened, to whom, and how likely.",
    )
    told = forms.CharField(
        label="Who was told",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="For food already eaten: where a hazard is likely, the authority has to know.",
    )
    evidence = ReasonField(
        label="Evidence",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="For a release: what else shows that the food was safe.",
    )
    scope = forms.ChoiceField(label="For which readings", widget=forms.RadioSelect, initial=PICKED)

    def __init__(self, *args, site_ids, count: int, stands: bool, again: bool, zone, after: int, **kwargs):
        super().__init__(*args, initial={"after": after, "most": count}, **kwargs)
        if not stands:
            self.fields["fate"].choices = [c for c in Fate.choices if c[0] != Fate.STANDS]
        self.fields["good_reading"] = ReadingChoice(
            zone=zone,
            queryset=Reading.objects.filter(site__in=site_ids),
            label="The reading taken again",
            required=False,
            help_text="Needed for food measured again, one food or unit at a time. Offered are readings of the same food or unit "
            "under the same limit and within it, taken later, by a probe in tolerance.",
        )
        if again:
            self.fields["scope"].choices, self.fields["scope"].widget = [(PICKED, "")], forms.HiddenInput()
            return
        all_of_them = f"All {count} in this list that are still to decide" if count != 1 else "The one still to decide"
        self.fields["scope"].choices = [(PICKED, "The ones ticked above"), (ALL, all_of_them)]


class SignForm(forms.Form):
    after = ShownField()
    note = forms.CharField(label="Remark", required=False, widget=forms.Textarea(attrs={"rows": 2}))
