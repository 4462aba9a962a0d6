"""What waits in the outbox, in figures alone."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, F, Min, Q, Subquery
from django.db.models.functions import Coalesce

from .models import Notice, State

OFTEN = 3  # tries after which a mail server that turns a notice down is no passing matter
LATELY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Backlog:
    """Ages in seconds, none where nothing waits: of the oldest unsent notice whose time has come, of the oldest of these
    that nobody has tried; how many have been tried often in vain; and how many were given up lately, since the last that
    was sent."""

    oldest: float | None
    oldest_untried: float | None
    turned_down: int
    given_up: int = 0


def backlog(now: datetime) -> Backlog:
    """What is unsent at this moment. A notice that waits for quiet hours to end is not counted before. One query."""
    unsent = Q(state=State.WAITING)
    failed = Q(state=State.FAILED, answered_at__gt=now - LATELY)
    last = Notice.objects.filter(state=State.SENT, sent_at__isnull=False).order_by("-sent_at").values("sent_at")[:1]
    counted = Notice.objects.filter(unsent | failed)
    ready = counted.annotate(since=Coalesce("not_before", "made_at"), last=Subquery(last))
    untried, tried = unsent & Q(attempts=0, since__lte=now), unsent & Q(attempts__gt=0)
    found = ready.aggregate(
        untried=Min("since", filter=untried),
        tried=Min("made_at", filter=tried),
        turned_down=Count("pk", filter=unsent & Q(attempts__gte=OFTEN)),
        given_up=Count("pk", filter=failed & (Q(last=None) | Q(answered_at__gt=F("last")))),
    )
    waited = [(now - at).total_seconds() for at in (found["untried"], found["tried"]) if at]
    first = found["untried"]
    return Backlog(
        max(waited, default=None),
        (now - first).total_seconds() if first else None,
        found["turned_down"],
        found["given_up"],
    )
