"""What people type about readings and deviations: temperatures as the display shows them, times on the site's clock."""

import re
from collections.abc import Iterator
from functools import cached_property
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils import timezone

from compliance.appliances.models import Appliance
from compliance.checks.fitness import Fitness, fitness_of
from compliance.probes.models import Probe
from shared.bounds import number_in
from shared.fields import LineField, ReasonField, ShownField, SiteDateTimeField, TemperatureField
from shared.seal import seal_of
from shared.time_text import parse_duration
from shared.units import Unit
from shared.widgets import Suggested, TapNumber
from sites.access import people_at
from sites.models import Person, Site

from .importing.uploads import MOST_SENT
from .models import Disposition, Reading
from .queries import limits_named_at, probes_at, recent_items

STOPWATCH = re.compile(r"(\d{1,2}:)?\d{1,3}:[0-5]\d")
# A change of probe or limit draws the part with the limit again; the form's token is no part of an address.
REDRAW = {
    "hx-target": "#limit-part",
    "hx-include": "closest form",
    "hx-params": "not csrfmiddlewaretoken",
    "hx-trigger": "change",
}


def sentence(words: str) -> str:
    return words[0].upper() + words[1:]


class HoldField(forms.CharField):
    """A time, such as “30 s” or “2 h 10 min”; gives seconds or None."""

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        if text.strip() in ("0", "0 s"):
            return 0
        try:
            return parse_duration(text)
        except ValueError as error:
            raise ValidationError(str(error)) from None


class HeldField(HoldField):
    """How long food was held at its temperature: also as a stopwatch shows it, minutes and seconds, such as “0:30”."""

    def clean(self, value):
        text = str(value or "").strip()
        if STOPWATCH.fullmatch(text):
            seconds = sum(
                int(part) * size for part, size in zip(reversed(text.split(":")), (1, 60, 3600), strict=False)
            )
            value = f"{seconds} s"
        return super().clean(value)


class ProbesByFitness(forms.models.ModelChoiceIterator):
    """The probes of a list by whether they may be used now, those that are OK first, each other one with the reason."""

    def __iter__(self) -> Iterator[tuple]:
        yield "", self.field.empty_label
        now, probes = timezone.now(), list(self.queryset)
        judged = fitness_of([probe.pk for probe in probes], now)
        for state in Fitness:
            alike = [probe for probe in probes if judged[probe.pk].state == state]
            if alike:
                yield state.label, [(probe.pk, self._label(probe, judged[probe.pk], now)) for probe in alike]

    def _label(self, probe: Probe, found, now) -> str:
        why = found.why(self.field.zone, now)
        return f"{probe}: {found.state.label}{', ' if why else ''}{why}"


class ProbeField(forms.ModelChoiceField):
    """`zone` is that of the site."""

    iterator, zone = ProbesByFitness, timezone.get_default_timezone()


class ReadingForm(forms.Form):
    """One reading at one site. `probe` and `limit` narrow each other through the page."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=36)
    probe = ProbeField(Probe.objects.none(), empty_label="Choose the probe")
    used_despite = ReasonField(
        usual="despite",
        label="Used all the same, because",
        required=False,
        max_length=Reading._meta.get_field("used_despite").max_length,
        help_text="It stays with the reading, wherever that is shown or printed.",
    )
    limit = forms.ChoiceField(label="Limit")
    hold_s = HeldField(
        label="Held for", required=False, max_length=20, help_text="Such as 30 s, 0:30 or 2 min. Empty: not recorded."
    )
    since_start_s = HoldField(
        label="Time since cooling began", required=False, max_length=20, help_text="Such as 90 min or 1 h 50 min."
    )
    appliance = forms.ModelChoiceField(
        Appliance.objects.none(),
        label="Appliance",
        required=False,
        empty_label="None of these: food, or something else",
    )
    item = LineField(label="Food or unit", max_length=120, required=False)
    typed = TemperatureField(label="Temperature on the display")
    unit = forms.ChoiceField(choices=Unit.choices, widget=forms.HiddenInput)
    taken_at = SiteDateTimeField(label="When", required=False, help_text="Leave it empty for now.")
    taken_by = forms.ModelChoiceField(Person.objects.none(), label="Who took it", required=False, empty_label=None)
    note = forms.CharField(required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args, site: Site, person: Person, url: str, old=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.site, self.old, self.url = site, old, url
        self.initial.setdefault("key", uuid4().hex)
        self.initial.setdefault("unit", site.unit)
        self.initial.setdefault("taken_by", person.pk)
        self.fields["probe"].queryset = self._probes()
        self.fields["probe"].zone = site.zone
        self._offer_limits()
        self._offer_appliances()
        for name in ("probe", "limit"):
            self.fields[name].widget.attrs |= {"data-seal": seal_of(person), "hx-get": url, **REDRAW}
        self.fields["item"].widget = Suggested(lambda: self.recent, {"maxlength": 120})
        self.fields["typed"].unit = self.shown_unit
        self.fields["typed"].widget = TapNumber(Unit(self.shown_unit).label)
        self.other_unit = Unit.FAHRENHEIT if self.shown_unit == Unit.CELSIUS else Unit.CELSIUS
        self.fields["taken_at"].zone = site.zone
        self.fields["taken_by"].queryset = people_at(site)

    def _probes(self):
        here = probes_at(self.site)
        keep = [self._asked("probe"), self.old and self.old.probe_id]
        others = Probe.objects.filter(pk__in=[pk for pk in keep if pk], business=self.site.area.business_id)
        return (here | others).distinct().order_by("code")

    def _asked(self, name: str) -> int | None:
        value = self.data.get(name) if self.is_bound else self.initial.get(name)
        return number_in(str(value or ""))

    def _offer_limits(self) -> None:
        """The limits in force here, those that the probe serves first; one that is alone is chosen at once."""
        limits = list(limits_named_at(self.site))
        if self.old and self.old.limit_version.limit not in limits:
            limits.append(self.old.limit_version.limit)
        self.limits = {str(limit.pk): limit for limit in limits}
        probe = self._asked("probe")
        served = (
            set(Probe.limits.through.objects.filter(probe=probe).values_list("limit_id", flat=True)) if probe else set()
        )
        mine = [(str(limit.pk), limit.title) for limit in limits if limit.pk in served]
        others = [(str(limit.pk), limit.title) for limit in limits if limit.pk not in served]
        groups = [("For this probe", mine), ("Other limits here", others)] if mine and others else mine or others
        self.fields["limit"].choices = [("", "Choose the limit"), *groups]
        if len(mine) == 1 and not self._asked("limit"):
            self.initial["limit"] = mine[0][0]

    @cached_property
    def recent(self) -> list[str]:
        """What was lately measured here; looked up when the form is drawn."""
        return recent_items(self.site)

    @cached_property
    def foods(self) -> list[str]:
        """The same without what is an appliance."""
        named = set(Appliance.objects.filter(site=self.site).values_list("name", flat=True))
        return [item for item in self.recent if item not in named]

    def _offer_appliances(self) -> None:
        """Those of the chosen limit, and the one that is named already, wherever it belongs by now."""
        limit = self.asked_limit or number_in(str(self.initial.get("limit", "")))
        there = Q(limit=limit, retired=False) | Q(pk=self.old and self.old.appliance_id, limit=limit)
        self.fields["appliance"].queryset = Appliance.objects.filter(there, site=self.site)
        self.fields["item"].required = not self.fields["appliance"].queryset.exists()

    @property
    def shown_unit(self) -> str:
        unit = self.data.get("unit") if self.is_bound else self.initial["unit"]
        return unit if unit in Unit.values else self.site.unit

    @property
    def other_unit_url(self) -> str:
        return f"{self.url}{'&' if '?' in self.url else '?'}unit={self.other_unit}"

    @property
    def asked_limit(self) -> int | None:
        return self._asked("limit")

    @property
    def chosen_limit(self):
        return self.limits.get(str(self.asked_limit))

    @property
    def chosen_probe(self) -> Probe | None:
        return self.fields["probe"].queryset.filter(pk=self._asked("probe") or 0).first()

    @property
    def typed_time(self):
        """When it was taken, as far as that can be read; None for now."""
        return getattr(self, "cleaned_data", {}).get("taken_at")

    @property
    def asks_why(self) -> bool:
        """Whether to ask why a probe that is not to be used was used all the same."""
        return "used_despite" in self.errors or bool(self["used_despite"].value())

    @property
    def more_is_wrong(self) -> bool:
        return any(name in self.errors for name in ("taken_at", "taken_by", "note"))

    def clean_limit(self):
        return self.limits[self.cleaned_data["limit"]]

    def clean_item(self) -> str:
        """An appliance is what was measured, unless something else is typed."""
        item, appliance = self.cleaned_data["item"], self.cleaned_data.get("appliance")
        if not item and not appliance and "appliance" not in self.errors:
            raise ValidationError("Say which food or unit was measured.", code="required")
        return item or str(appliance or "")

    def facts(self) -> dict:
        """What the actions take, but for the time, which may be left to the moment of saving."""
        names = (
            "key",
            "probe",
            "limit",
            "appliance",
            "item",
            "typed",
            "unit",
            "taken_by",
            "hold_s",
            "since_start_s",
            "note",
        )
        return {name: self.cleaned_data[name] for name in (*names, "used_despite")} | {"site": self.site}


class CorrectForm(ReadingForm):
    reason = ReasonField(
        usual="strike",
        label="Why is it corrected?",
        max_length=500,
        help_text="The old entry stays readable beside the new one.",
    )


class AllTheSameForm(forms.Form):
    """Asked once, where something casts a doubt on the reading."""

    all_the_same = forms.BooleanField(label="Save it all the same", required=False)


class ReadingVoidForm(forms.Form):
    reason = ReasonField(
        usual="strike",
        label="Why does it not count?",
        max_length=500,
        help_text="It stays readable, struck out, with your name and this reason.",
    )


class ActForm(forms.Form):
    """What was done about a deviation."""

    after = ShownField()

    action = forms.CharField(label="What was done", max_length=2000, widget=forms.Textarea(attrs={"rows": 3}))
    cause = forms.CharField(label="Why it happened", max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))
    disposition = forms.ChoiceField(
        label="What became of the food",
        choices=[(d.value, sentence(d.label)) for d in Disposition],
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        label="Risk, and who was told",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed where it was eaten.",
    )
    done_at = SiteDateTimeField(label="When it was done")
    decided_by = forms.ModelChoiceField(Person.objects.none(), label="Who decided", empty_label=None)

    def __init__(self, *args, site: Site, deciders, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["done_at"].zone = site.zone
        self.fields["decided_by"].queryset = deciders


class LinesField(forms.CharField):
    """One thing a line; gives a list."""

    def __init__(self, **kwargs):
        super().__init__(max_length=2000, widget=forms.Textarea(attrs={"rows": 5}), help_text="One a line.", **kwargs)

    def prepare_value(self, value):
        return value if isinstance(value, str) or value is None else "\n".join(value)

    def to_python(self, value) -> list[str]:
        return super().to_python(value).splitlines()


class OfferedActsForm(forms.Form):
    after = ShownField()
    warm_actions = LinesField(label="Too warm: what is done")
    warm_causes = LinesField(label="Too warm: why")
    cool_actions = LinesField(label="Too cool: what is done")
    cool_causes = LinesField(label="Too cool: why")
    dispositions = forms.MultipleChoiceField(
        label="What becomes of the food",
        choices=[(d.value, sentence(d.label)) for d in Disposition],
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args, acts, after: int, **kwargs):
        known = {name: list(getattr(acts, name)) for name in self.base_fields if name != "after"}
        super().__init__(*args, initial=known | {"after": after}, **kwargs)


class UploadForm(forms.Form):
    file = forms.FileField(
        label="CSV file",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,text/csv"}),
        help_text=f"UTF-8, at most {MOST_SENT // 1024 // 1024} MB, with a first line that names the columns. Comma, semicolon or "
        "tab between them.",
    )
