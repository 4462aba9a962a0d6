from django import forms

from compliance.readings.models import Reading
from shared.fields import ReasonField, ShownField
from shared.time_text import listed_moment

from .measured_again import Offer
from .models import Fate
from .offered_words import ASKED, OFFERED, SHORT, field_of

PICKED, ALL = "picked", "all"
EACH_ITS_OWN = "For each its own, as it stands in the list"


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
        self.widget.choices = [("", EACH_ITS_OWN if groups else "No such reading yet: take one first"), *groups]


class DecisionForm(forms.Form):
    """One decision for the readings that were picked, or for all in the list shown; `again` for picked ones only.

    What is offered as buttons for the decision and what is typed in own words are given to the action as one text.
    """

    after = ShownField()
    most = ShownField()
    fate = forms.ChoiceField(label="What is decided", widget=forms.RadioSelect(attrs={"class": "chips"}))
    good_reading = forms.ModelChoiceField(Reading.objects.none(), label="The reading taken again", required=False)
    why = ReasonField(
        label="Why, and what was done",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Such as what, how much, to what temperature.",
    )
    risk = ReasonField(
        label="Assessment of the risk",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What could have happened, to whom, and how likely.",
    )
    told = forms.CharField(
        label="Who was told",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Where a hazard is likely, the authority has to know.",
    )
    evidence = ReasonField(
        label="Evidence",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What else shows that the food was safe: which instrument, and what it showed.",
    )
    scope = forms.ChoiceField(
        choices=[(PICKED, ""), (ALL, "")],
        error_messages={"required": "Press the button that says for which readings this is decided."},
    )

    def __init__(self, *args, site_ids, count: int, stands: bool, again: bool, zone, after: int, **kwargs):
        super().__init__(*args, initial={"after": after, "most": count}, **kwargs)
        self.fields["fate"].choices = [(f, SHORT[f]) for f in Fate if stands or f != Fate.STANDS]
        self.fields["good_reading"] = ReadingChoice(
            zone=zone,
            queryset=Reading.objects.filter(site__in=site_ids),
            label="The reading taken again",
            required=False,
            help_text="Offered are readings of the same appliance or food under the same limit and within it, taken later, by a "
            "probe in tolerance. What was not measured again stays to be decided.",
        )
        for (fate, asked), words in OFFERED.items():
            self.fields[field_of(fate, asked)] = forms.ChoiceField(
                label=ASKED[asked],
                choices=[(each, each) for each in words],
                required=False,
                widget=forms.RadioSelect(attrs={"class": "chips"}),
            )
        if again:
            self.fields["scope"].choices = [(PICKED, "")]

    @property
    def offered(self) -> list[tuple[str, forms.BoundField]]:
        """Each group of buttons, with the decision that it belongs to."""
        return [(fate, self[field_of(fate, asked)]) for fate, asked in OFFERED]

    @property
    def own_words(self) -> list[forms.BoundField]:
        return [self[name] for name in ASKED]

    @property
    def opened(self) -> bool:
        """Whether the boxes for own words are to be seen at once."""
        return any(field.errors or field.value() for field in self.own_words)

    def clean(self) -> dict:
        given = super().clean()
        for fate, asked in OFFERED:
            chosen = given.get(field_of(fate, asked)) if given.get("fate") == fate else ""
            if chosen and asked in given:
                given[asked] = f"{chosen}. {given[asked]}" if given[asked] else f"{chosen}."
        return given


class SignForm(forms.Form):
    after = ShownField()
    note = forms.CharField(label="Remark", required=False, widget=forms.Textarea(attrs={"rows": 2}))
