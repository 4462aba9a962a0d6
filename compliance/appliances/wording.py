"""What was changed of appliances, in words: each change with what it is about, what it was and what it is."""

from collections import defaultdict
from collections.abc import Iterable, Iterator

from shared.dated import SettingChange, changes

from .models import Appliance, ApplianceSettings


def appliance_changes(appliances: Iterable[int]) -> Iterator[tuple[SettingChange, tuple[str, str, str]]]:
    """Of these appliances, by their keys; of each the first first. One query, and one for names."""
    facts = defaultdict(list)
    made = ApplianceSettings.objects.filter(appliance__in=list(appliances)).order_by("pk")
    for fact in made.select_related("recorded_by").prefetch_related("recorded_by__names"):
        facts[fact.appliance_id].append(fact)
    for told in facts.values():
        yield from ((each, _words(each)) for each in changes(told, Appliance.dated))


def _words(change: SettingChange) -> tuple[str, str, str]:
    label = str(Appliance._meta.get_field(change.name).verbose_name)
    return label, *({True: "yes", False: "no", "": "nothing"}.get(value, value) for value in (change.old, change.new))
