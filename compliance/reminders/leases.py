"""Leases: one holder at a time, by one conditional UPDATE and the database's clock, so that machines need not agree on
the time.

A lease that was granted later than now tells that the clock has been set back: it counts as over, or nobody could take it
until the clock has caught up. Its holder notices at the next `hold`. So a lease keeps two holders from working side by
side, but what is done under it must still be safe to do twice.
"""

from datetime import timedelta

from django.db.models import DateTimeField, ExpressionWrapper, Q
from django.db.models.functions import Now

from .models import Lease


def take(name: str, *, holder: str, seconds: float) -> bool:
    """Whether the lease is now `holder`'s for so many seconds: it was free, over, or theirs already."""
    if _grant(_takeable(name, holder), holder, seconds):
        return True
    made = Lease(name=name, granted_at=Now(), until=Now())
    Lease.objects.bulk_create([made], ignore_conflicts=True)
    return _grant(_takeable(name, holder), holder, seconds)


def hold(name: str, *, holder: str, seconds: float) -> bool:
    """Whether the lease was still `holder`'s; if so, it is for so many seconds more. Nobody else's is taken."""
    return _grant(Lease.objects.filter(name=name, holder=holder), holder, seconds)


def release(name: str, *, holder: str) -> None:
    """Let the next one take it at once. Does nothing where the lease is another's."""
    Lease.objects.filter(name=name, holder=holder).update(holder="", until=Now())


def _takeable(name: str, holder: str):
    over = Q(until__lte=Now()) | Q(granted_at__gt=Now()) | Q(holder__in=["", holder])
    return Lease.objects.filter(over, name=name)


def _grant(leases, holder: str, seconds: float) -> bool:
    until = ExpressionWrapper(Now() + timedelta(seconds=seconds), output_field=DateTimeField())
    return leases.update(holder=holder, granted_at=Now(), until=until) == 1
