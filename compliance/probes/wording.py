"""What was changed of probes, in words: each change with what it is about, what it was and what it is."""

from collections import defaultdict
from collections.abc import Iterable, Iterator

from shared.dated import SettingChange, changes
from shared.units import Unit, difference_from_milli, number, show

from .models import PARTICULARS, Probe, ProbeParticulars

POINTS, DIFFERENCES = ("lowest_milli", "highest_milli"), ("resolution_milli", "tolerance_milli")
LABELS = {"lowest_milli": "lowest temperature", "highest_milli": "highest temperature"}


def probe_changes(probes: Iterable[int], unit: str) -> Iterator[tuple[SettingChange, tuple[str, str, str]]]:
    """Of these probes, by their keys; of each the first first. Figures in a unit. One query, and one for names."""
    facts = defaultdict(list)
    made = ProbeParticulars.objects.filter(probe__in=list(probes)).order_by("pk")
    for fact in made.select_related("recorded_by").prefetch_related("recorded_by__names"):
        facts[fact.probe_id].append(fact)
    for told in facts.values():
        yield from ((each, _words(each, unit)) for each in changes(told, PARTICULARS))


def _words(change: SettingChange, unit: str) -> tuple[str, str, str]:
    field = Probe._meta.get_field(change.name)
    label = LABELS.get(change.name, str(field.verbose_name))
    shown = dict(field.choices or ())
    return label, *(_said(change.name, shown.get(value, value), unit) for value in (change.old, change.new))


def _said(name: str, value, unit: str) -> str:
    if value in ("", None):
        return "nothing"
    if name in POINTS:
        return show(value, unit)
    if name in DIFFERENCES:
        return f"{number(difference_from_milli(value, unit), 2)} {Unit(unit).label}"
    return str(value)
