"""Answers the page of a failed check how many readings it puts in doubt."""

from django.db.models import Count, Q
from django.dispatch import receiver

from compliance.checks.failed_page import InDoubt
from compliance.checks.models import BEGINNING, Check, Span
from compliance.checks.queries import run_of
from compliance.checks.signals import doubt_wanted
from compliance.readings.models import Reading


@receiver(doubt_wanted)
def doubt_of(sender, check: Check, **kwargs) -> InDoubt | None:
    """All that the run in quarantine holds which this check ends or began; None where there is none. Three queries."""
    anchor = run_of(check)
    spans = list(Span.objects.filter(anchor=anchor, probe=check.probe_id).order_by("ends_at")) if anchor else []
    if not spans:
        return None
    within = Q()
    for span in spans:
        within |= Q(taken_at__gt=span.starts_at, taken_at__lte=span.ends_at)
    counted = (
        Reading.objects.live()
        .filter(within, probe=check.probe_id)
        .aggregate(readings=Count("pk"), sites=Count("site", distinct=True))
    )
    return InDoubt(**counted, since=None if spans[0].starts_at == BEGINNING else spans[0].starts_at)
