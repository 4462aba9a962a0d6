"""Tells the page of a probe of readings with it while it was recorded as being at another site or withdrawn from use."""

from collections.abc import Iterator
from datetime import datetime
from itertools import zip_longest

from django.db.models import Q
from django.dispatch import receiver

from compliance.checks.signals import contradictions_wanted
from compliance.probes.models import Probe
from shared.time_text import styled

from .models import Reading
from .queries import track_of

MOST = 5
ASKED = "Either it was in use there then, and what was entered of it is wrong; or another probe was read, and the readings are."


@receiver(contradictions_wanted)
def contradictions(sender, probe: Probe, **kwargs) -> str:
    """The last readings of that kind with the number of them all; empty where there is none. Four queries."""
    against = Q(pk=None)
    for start, end, where in _not_in_use(probe):
        within = Q(taken_at__gte=start) & (Q(taken_at__lt=end) if end else Q())
        against |= within & (Q() if where is None else ~Q(site=where))
    found = Reading.objects.live().filter(against, probe=probe).select_related("site").order_by("-taken_at", "-pk")
    last, number = list(found[:MOST]), found.count()
    if not last:
        return ""
    told = "; ".join(f"{each}, {each.site_then}, {styled(each.taken_at, each.site.zone, 'short')}" for each in last)
    more = f" and {number - MOST} more" if number > MOST else ""
    return f"Read with it while it was recorded as being elsewhere or withdrawn: {told}{more}. {ASKED}"


def _not_in_use(probe: Probe) -> Iterator[tuple[datetime, datetime | None, int | None]]:
    """Times out of use anywhere (None), and those at a site, so out of use at all others."""
    track = track_of(probe)
    for start, end, out in zip_longest(track.turns, track.turns[1:], track.out):
        if out:
            yield start, end, None
    yield from zip_longest(track.starts, track.starts[1:], track.sites)
