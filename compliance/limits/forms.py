"""What people fill in about limits."""

from decimal import Decimal
from itertools import groupby

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.html import format_html

from shared.fields import LineField, ReasonField, RecordsField, ShownField, SiteDateTimeField, TemperatureField
from shared.time_text import duration, parse_duration
from shared.units import Unit, from_milli, parse, to_milli

from .data import OwnFigures, OwnLimit
from .models import Direction, LimitVersion, Rule
from .wording import unbroken

RULE = '{}: {} <span class="hint">{}</span>'


class DurationField(forms.CharField):
    """A time such as '15 s' or '1 h 30 min'; gives seconds, None where left empty."""

    def __init__(self, **kwargs):
        super().__init__(max_length=30, required=False, **kwargs)

    def prepare_value(self, value):
        return duration(value) if isinstance(value, int) else value

    def clean(self, value):
        text = super().clean(value)
        try:
            return parse_duration(text) if text else None
        except ValueError as error:
            raise ValidationError(str(error), code="duration") from None

    def has_changed(self, initial, data):
        return super().has_changed(duration(initial), data)


class EffectiveForm(forms.Form):
    """From when a limit holds, on the clock of its site."""

    effective_from = SiteDateTimeField(label="Holds from", allow_future=True)

    def __init__(self, *args, site, initial=None, **kwargs):
        now = timezone.now().replace(second=0, microsecond=0)
        super().__init__(*args, initial={"effective_from": now, **(initial or {})}, **kwargs)
        self.site = site
        self.fields["effective_from"].zone = site.zone
        self.fields["effective_from"].help_text = f"On the clock of {site}. Readings from then on are judged by it."


class AdoptForm(EffectiveForm):
    rules = RecordsField(
        queryset=None,
        widget=forms.CheckboxSelectMultiple,
        label="Rules to adopt as they stand",
        error_messages={"required": "Choose at least one rule."},
    )
    field_order = ["rules", "effective_from"]

    def __init__(self, *args, site, rules, **kwargs):
        super().__init__(*args, site=site, **kwargs)
        self.fields["rules"].queryset = rules
        self.fields["rules"].choices = [
            (step, [(rule.pk, format_html(RULE, rule.title, unbroken(rule), rule.source)) for rule in of_step])
            for step, of_step in groupby(sorted(rules, key=lambda rule: rule.step), key=lambda rule: rule.step)
        ]


class FiguresForm(EffectiveForm):
    """The figures of a limit in its own unit."""

    value = TemperatureField(label="Limit")
    hold_s = DurationField(label="Held for", help_text="Such as 15 s or 2 min. Empty: no time is needed.")
    within_s = DurationField(label="Reached within", help_text="Such as 2 h, for cooling and reheating.")
    target = TemperatureField(
        required=False,
        label="Target",
        help_text="Where to aim, inside the limit, so that an error of the probe does no harm.",
    )
    usual_action = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), label="What is done when it is not met")
    reason = ReasonField(
        widget=forms.Textarea(attrs={"rows": 2}),
        required=False,
        help_text="Needed where it is looser than its rule, or begins in the past.",
    )

    def __init__(self, *args, unit: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.unit = unit
        for name in ("value", "target"):
            if name in self.fields:
                self.fields[name].label += f" in {Unit(unit).label}"
                self.fields[name].unit = unit

    def figures(self) -> dict:
        """As the actions take them."""
        given = dict(self.cleaned_data)
        given["value"] = parse(given["value"])
        target = given.pop("target")
        given["target_milli"] = to_milli(parse(target), self.unit) if target else None
        return given


def figures_of(what: LimitVersion | Rule) -> dict:
    """What a form about a version or a rule begins with."""
    target = getattr(what, "target_milli", None)
    return {
        "value": plain(what.value),
        "hold_s": what.hold_s,
        "within_s": what.within_s,
        "target": "" if target is None else plain(from_milli(target, what.unit).quantize(Decimal("0.01"))),
        "usual_action": what.usual_action,
    }


def plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


class AdoptOneForm(FiguresForm):
    """A rule with figures of the site's own; its usual action comes along."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        del self.fields["usual_action"]

    def figures(self) -> dict:
        given = super().figures()
        when = {name: given.pop(name) for name in ("effective_from", "reason")}
        return when | {"own": OwnFigures(**given)}


class OwnLimitForm(FiguresForm):
    title = forms.CharField(max_length=160, label="What it is about", help_text="Such as “Salad bar”.")
    step = forms.CharField(max_length=80, label="Step of the work", help_text="Such as cold holding, cooking, cooling.")
    hazard = forms.CharField(max_length=160, help_text="What it guards against.")
    direction = forms.ChoiceField(choices=Direction.choices, widget=forms.RadioSelect)
    source = LineField(max_length=200, required=False, help_text="Where the figure comes from, such as your plan.")
    code = forms.SlugField(
        max_length=50, required=False, label="Short name", help_text="For files and labels, such as salad-bar."
    )
    field_order = [
        "title",
        "step",
        "hazard",
        "direction",
        "value",
        "hold_s",
        "within_s",
        "target",
        "usual_action",
        "source",
        "code",
        "effective_from",
        "reason",
    ]

    def figures(self) -> dict:
        given = super().figures()
        when = {name: given.pop(name) for name in ("effective_from", "reason")}
        return when | {"own": OwnLimit(**given, unit=self.unit)}


class ChangeForm(FiguresForm):
    after = ShownField()


class RetireForm(EffectiveForm):
    after = ShownField()
    reason = ReasonField(usual="retire", max_length=300)
