"""What waits in the outbox, in figures alone."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Min, Q
from django.db.models.functions import Coalesce

from .models import Notice, State

OFTEN = 3  # tries after which a mail server that turns a notice down is no passing matter


@dataclass(frozen=True, slots=True)
class Backlog:
    """Ages in seconds, none where nothing waits: of the oldest unsent notice whose time has come, of the oldest of these
    that nobody has tried; and how many have been tried often in vain."""

    oldest: float | None
    oldest_untried: float | None
    turned_down: int


def backlog(now: datetime) -> Backlog:
    """What is unsent at this moment. A notice that waits for quiet hours to end is not counted before. One query."""
    unsent = Notice.objects.filter(state__in=[State.WAITING, State.LEASED])
    ready = unsent.annotate(since=Coalesce("not_before", "made_at"))
    untried, tried = Q(attempts=0, since__lte=now), Q(attempts__gt=0)
    found = ready.aggregate(
        untried=Min("since", filter=untried), tried=Min("made_at", filter=tried),
        turned_down=Count("pk", filter=Q(attempts__gte=OFTEN)),
    )  # fmt: skip
    waited = [(now - at).total_seconds() for at in (found["untried"], found["tried"]) if at]
    first = found["untried"]
    return Backlog(max(waited, default=None), (now - first).total_seconds() if first else None, found["turned_down"])
