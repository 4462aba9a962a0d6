"""A check at zero that somebody made without network, sent as a whole: judged as if each tap had come at its time."""

from dataclasses import replace
from datetime import datetime, timedelta

from django import forms
from django.core.exceptions import ValidationError

from compliance.metrology.settling import LONGEST_SERIES
from compliance.probes.models import Probe
from shared.units import Unit
from sites.models import Person, Site

from . import actions, draft_numbers, drafts
from .forms import depth_field, note_field, points_field, stage_field
from .kinds import USUAL
from .models import Check, CheckDraft, NoFigure

GUIDANCE = USUAL.guidance
LONGEST_MS = drafts.LONGEST // timedelta(milliseconds=1)


class NumbersField(forms.JSONField):
    """The numbers typed: milliseconds since the probe went in, and the text, of each."""

    def clean(self, value) -> list[tuple[int, str]]:
        rows = super().clean(value) or []
        whole = isinstance(rows, list) and len(rows) <= LONGEST_SERIES and all(map(_is_number, rows))
        if not whole:
            raise ValidationError("The numbers did not arrive whole, or there are too many of them.")
        return [tuple(row) for row in rows]


def _is_number(row) -> bool:
    if not (isinstance(row, list) and len(row) == 2):
        return False
    elapsed, text = row
    return type(elapsed) is int and 0 <= elapsed <= LONGEST_MS and isinstance(text, str) and 0 < len(text) <= 20


class WholeForm(forms.Form):
    """`unit_said`: somebody was asked which unit the display shows."""

    key = forms.UUIDField()
    way = forms.ChoiceField(choices=[(way.value, GUIDANCE.ways[way]) for way in GUIDANCE.before])
    points = points_field(GUIDANCE.met)
    left = points_field(GUIDANCE.met)
    stage = stage_field()
    unit = forms.ChoiceField(choices=Unit.choices)
    unit_said = forms.BooleanField(required=False)
    numbers = NumbersField(required=False)
    struck = NumbersField(required=False)
    no_figure = forms.ChoiceField(choices=[("", ""), *NoFigure.choices], required=False)
    immersion_mm = depth_field()
    note = note_field()


class UnitAsked(ValidationError):
    """Which unit the display shows has to be said first."""


def record_whole(*, by: Person, probe: Probe, site: Site, told: dict, at: datetime, phone: dict) -> Check:
    """Record what a form told; `at` is when its last number was typed.

    Raises UnitAsked for a number that makes sense in the other unit only, and ValidationError as `actions.record`.
    """
    draft = _draft(by, probe, told, at)
    if not told["no_figure"] and (asked := draft_numbers.unit_question(draft)):
        raise UnitAsked(f"{draft_numbers.shown(asked)} may be in the other unit. Which one does the display show?")
    data = replace(drafts.data_of(draft, at), site=site, no_figure=told["no_figure"], phone=phone)
    return actions.record(by=by, probe=probe, data=data)


def _draft(by: Person, probe: Probe, told: dict, at: datetime) -> CheckDraft:
    """As it would have stood when it was finished; never saved."""
    last = max((elapsed for elapsed, _ in told["numbers"]), default=0)
    inserted_at, unit, said = at - timedelta(milliseconds=last), told["unit"], told["unit_said"]
    draft = CheckDraft(
        key=told["key"],
        probe=probe,
        person=by,
        kind=USUAL.value,
        started_at=inserted_at,
        inserted_at=inserted_at,
        stage=told["stage"],
        preparation={"kind": told["way"], "points": told["points"], "left": told["left"]},
        unit=unit if said else "",
        readings=[[elapsed, text.strip(), unit, said] for elapsed, text in told["numbers"] + told["struck"]],
        immersion_mm=told["immersion_mm"],
        note=told["note"],
    )
    draft_numbers.typed(draft)  # refuses what is no number
    for elapsed, _ in told["struck"]:
        draft_numbers.strike(draft, draft_numbers.TAKEN_BACK, elapsed)
    return draft
