"""Readings from a sheet of paper, entered afterwards: several lines of one day, each saved by itself under who read it."""

import re
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError

from compliance.appliances.models import Appliance
from compliance.limits.queries import version_in_force
from compliance.probes.models import Probe
from shared.fields import DayField, LineField, ReasonField, SiteDateTimeField, TemperatureField
from shared.forms import attempt
from shared.units import Unit
from shared.widgets import Suggested
from sites.access import people_at
from sites.models import Person, Site

from .actions import record
from .bursts import FROM_PAPER
from .data import ReadingData
from .forms import HeldField, HoldField, ProbeField
from .limit_evaluation import doubts_of
from .models import Reading
from .queries import limits_named_at, probes_at, recent_items, sent_before, track_of

LINES = 8
CLOCK = re.compile(r"(\d{1,2})[:.h ]?(\d{2})(?: (first|second))?")
NO_CLOCK = "Type the time as on the sheet, such as 08:15."
BOXES = ("at", "what", "item", "typed", "hold_s", "since_start_s")  # of which one that is filled makes a line


class SheetForm(forms.Form):
    """What holds for every line of the sheet."""

    day = DayField(label="Day")
    taken_by = forms.ModelChoiceField(Person.objects.none(), label="Who read it", empty_label="Choose who read it")

    def __init__(self, *args, site: Site, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["taken_by"].queryset = people_at(site)


class LineForm(forms.Form):
    """One line as it stands on paper."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=36)
    at = LineField(label="Time", max_length=12, required=False)
    what = forms.ChoiceField(label="Appliance or limit", required=False)
    item = LineField(label="Food or unit", max_length=120, required=False)
    typed = TemperatureField(label="Read", required=False)
    probe = ProbeField(Probe.objects.none(), empty_label="Choose the probe", required=False)
    hold_s = HeldField(label="Held for", required=False, max_length=20)
    since_start_s = HoldField(label="Time since it began", required=False, max_length=20)
    used_despite = ReasonField(usual="despite", label="Used all the same, because", required=False, max_length=500)
    as_written = forms.BooleanField(label="It stands so on the paper", required=False)

    def __init__(self, *args, sheet: "PaperSheet", **kwargs):
        super().__init__(*args, initial={"key": uuid4().hex}, **kwargs)
        self.sheet = sheet
        self.doubts: list[str] = []
        self.fields["what"].choices = sheet.things
        self.fields["item"].widget = Suggested(lambda: sheet.foods, {"maxlength": 120})
        self.fields["typed"].unit = sheet.site.unit
        self.fields["typed"].label = f"Read, {Unit(sheet.site.unit).label}"
        self.fields["probe"].queryset = sheet.probes
        self.fields["probe"].choices = lambda: sheet.probes_offered  # how fit each is, is asked once for all lines

    @property
    def is_filled(self) -> bool:
        return any((self[name].value() or "").strip() for name in BOXES)

    @property
    def asks_why(self) -> bool:
        return "used_despite" in self.errors or bool(self["used_despite"].value())

    def clean(self) -> dict:
        given = super().clean()
        asked = (("at", NO_CLOCK), ("what", "Choose what was measured."), ("typed", "Type what was read."))
        for name, words in (*asked, ("probe", "Choose the probe.")):
            if not given.get(name) and name not in self.errors:
                self.add_error(name, words)
        if given.get("at"):
            given["taken_at"] = self._moment(given["at"])
        return given

    def _moment(self, text: str) -> datetime | None:
        found = CLOCK.fullmatch(text.strip().lower())
        if found is None or self.sheet.day is None:
            self.add_error("at", NO_CLOCK) if found is None else None
            return None
        hours, minutes, which = found.groups()
        clock = SiteDateTimeField(zone=self.sheet.site.zone)
        try:
            return clock.clean(f"{self.sheet.day:%Y-%m-%d}T{int(hours):02}:{minutes}{f' {which}' if which else ''}")
        except ValidationError as error:
            twice = " Write “first” or “second” behind it." if error.code == "ambiguous_timezone" else ""
            self.add_error("at", "".join(error.messages) + twice)
            return None

    def told(self) -> ReadingData:
        given = self.cleaned_data
        limit, appliance = self.sheet.meant(given["what"])
        return ReadingData(
            key=given["key"],
            probe=given["probe"],
            site=self.sheet.site,
            limit=limit,
            appliance=appliance,
            item=given["item"] or str(appliance or ""),
            typed=given["typed"],
            unit=self.sheet.site.unit,
            taken_at=given["taken_at"],
            taken_by=self.sheet.taken_by,
            hold_s=given["hold_s"],
            since_start_s=given["since_start_s"],
            used_despite=given["used_despite"],
            note=FROM_PAPER,
        )


@dataclass
class PaperSheet:
    """A sheet at a site, as somebody enters it; `data` is what was sent, None where it is only shown."""

    site: Site
    person: Person
    data: dict | None = None
    saved: list[Reading] = field(default_factory=list)

    def __post_init__(self):
        self.limits = {f"limit-{limit.pk}": limit for limit in limits_named_at(self.site)}
        kept = Appliance.objects.filter(site=self.site, retired=False).select_related("limit")
        self.appliances = {f"appliance-{each.pk}": each for each in kept}
        self.probes = probes_at(self.site)
        self.head = SheetForm(self.data, site=self.site)
        self.lines = [LineForm(self.data, sheet=self, prefix=f"line-{n}") for n in range(LINES)]

    @property
    def things(self) -> list:
        named = [(key, str(each)) for key, each in self.appliances.items()]
        limits = [(key, limit.title) for key, limit in self.limits.items()]
        groups = [("Appliances", named), ("Food, by its limit", limits)]
        return [("", "Choose"), *(group for group in groups if group[1])]

    @cached_property
    def foods(self) -> list[str]:
        return recent_items(self.site)

    @cached_property
    def probes_offered(self) -> list:
        field = ProbeField(self.probes, empty_label=LineForm.base_fields["probe"].empty_label)
        field.zone = self.site.zone
        return list(field.choices)

    @property
    def day(self) -> date | None:
        return self.head.cleaned_data.get("day") if self.head.is_valid() else None

    @property
    def taken_by(self) -> Person:
        return self.head.cleaned_data["taken_by"]

    def meant(self, what: str) -> tuple:
        """The limit, and the appliance where one is named."""
        appliance = self.appliances.get(what)
        return (appliance.limit, appliance) if appliance else (self.limits[what], None)

    def save(self) -> bool:
        """Record every line that is filled in, each by itself; those that cannot be stay. Sent twice each is recorded once."""
        if not self.head.is_valid():
            return False
        filled = [line for line in self.lines if line.is_filled]
        for line in filled:
            if line.is_valid():
                self._save(line)
        if not filled:
            self.head.add_error(None, "Fill in at least one line.")
        left = [line for line in filled if line.errors or line.doubts]
        self.lines = left
        return bool(filled) and not left

    def _save(self, line: LineForm) -> None:
        data = line.told()
        known = sent_before(self.site, data.key)
        doubts = doubts_of(version_in_force(data.limit, data.taken_at), track_of(data.probe), data)
        if doubts and not line.cleaned_data["as_written"] and known is None:
            line.doubts = doubts
            return
        made = attempt(line, record, by=self.person, data=data)
        if made:
            self.saved.append(made)
