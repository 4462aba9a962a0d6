"""What people fill in about notices and feeds."""

from django import forms

from compliance.plans.forms import time_field
from shared.fields import ShownField

from .models import FeedKey
from .recipients import Kind, NoticeRule, Wish
from .timing import Quiet

MAIL, PAGE = "mail", "page"
WAYS = [(MAIL, "By mail"), (PAGE, "In the pages")]


class WaysWidget(forms.CheckboxSelectMultiple):
    """Boxes of which those that a role requires cannot be cleared."""

    required_ways: frozenset[str] = frozenset()

    def create_option(self, name, value, label, selected, index, subindex=None, attrs=None):
        if value in self.required_ways:
            selected, attrs, label = True, {**(attrs or {}), "disabled": True}, f"{label} (your role requires it)"
        return super().create_option(name, value, label, selected, index, subindex, attrs)


class ChoicesForm(forms.Form):
    def __init__(self, *args, known: dict[Kind, tuple[NoticeRule, Wish]], quiet: Quiet, **kwargs):
        super().__init__(*args, **kwargs)
        self._known = known
        for kind, (rule, wish) in known.items():
            self.fields[kind.value] = self._field(kind, rule, wish)
        words = "On the clock of the site that a notice is about. The same time twice: no quiet hours."
        self.fields["quiet_from"] = time_field(label="No mail from", initial=quiet.starts, help_text=words)
        self.fields["quiet_until"] = time_field(label="Mail again from", initial=quiet.ends)

    def _field(self, kind: Kind, rule: NoticeRule, wish: Wish) -> forms.Field:
        field = forms.MultipleChoiceField(
            label=kind.label[0].upper() + kind.label[1:],
            choices=WAYS,
            required=False,
            widget=WaysWidget,
            initial=_ways(wish),
            help_text=kind.explained,
        )
        field.widget.required_ways = frozenset(_ways(rule.required))
        return field

    def chosen(self) -> dict:
        """As `actions.choose` takes it; a box that cannot be cleared is not sent by a browser, and counts as ticked."""
        given = self.cleaned_data
        wishes = {
            kind: Wish(MAIL in given[kind.value], PAGE in given[kind.value]) | rule.required
            for kind, (rule, _) in self._known.items()
        }
        return {"choices": wishes, "quiet_from": given["quiet_from"], "quiet_until": given["quiet_until"]}


def _ways(wish: Wish) -> list[str]:
    return [way for way, wanted in ((MAIL, wish.mail), (PAGE, wish.page)) if wanted]


class FeedForm(forms.Form):
    after = ShownField()
    label = forms.CharField(
        max_length=80,
        label="Who it is for",
        help_text="Such as “the kitchen's wall display”, so that you know which to revoke.",
    )
    shows = forms.ChoiceField(
        choices=FeedKey.Shows.choices,
        label="What it shows",
    )
