"""Heartbeats: a part of the engine tells that it is well."""

from datetime import datetime

from django.db.models import DateTimeField, ExpressionWrapper
from django.db.models.functions import Now
from django.utils import timezone

from .models import Heartbeat


def beat(name: str, **said) -> None:
    """Tell that `name` is well now, by the database's clock, and what it has to say (which JSON can hold).

    The clock of its own machine is told with it, so that it can be seen where the two disagree.
    """
    beat_seldom(name, **said, clock=timezone.now().isoformat())


def beat_seldom(name: str, **said) -> None:
    """As `beat`, of what comes so seldom that its clock would be told long after it was put right."""
    told = Heartbeat(name=name, at=Now(), said=said)
    Heartbeat.objects.bulk_create([told], update_conflicts=True, unique_fields=["name"], update_fields=["at", "said"])


def said(name: str) -> dict:
    """What `name` said at its last beat; nothing if it never beat."""
    return Heartbeat.objects.filter(name=name).values_list("said", flat=True).first() or {}


def ages() -> dict[str, float]:
    """Seconds since each part last beat, by the database's clock; negative where that has been set back since."""
    now = ExpressionWrapper(Now(), output_field=DateTimeField())
    beats = Heartbeat.objects.annotate(now=now).values_list("name", "at", "now")
    return {name: (now - at).total_seconds() for name, at, now in beats}


def ahead() -> dict[str, float]:
    """By how many seconds the clock of each part's machine was ahead of the database's at its last beat."""
    beats = Heartbeat.objects.filter(said__has_key="clock").values_list("name", "at", "said__clock")
    return {name: (datetime.fromisoformat(clock) - at).total_seconds() for name, at, clock in beats}
