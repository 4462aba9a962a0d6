from collections.abc import Iterator
from datetime import datetime
from itertools import chain

from django.core.management.base import BaseCommand, CommandError
from django.db.models import QuerySet
from django.utils import timezone

from compliance.checks.check_rows import differing
from compliance.limits.models import Limit
from compliance.plans.models import Unsettled
from compliance.plans.round_rows import differing_rounds
from compliance.probes.models import Probe
from shared.plurals import plural

BATCH = 50
TOLD = 100  # differences that are listed


class Command(BaseCommand):
    help = "Folds everything that is asked for anew from plans, checks and events, and compares it with what is stored."

    def handle(self, *args, **options):
        now, count = timezone.now(), 0
        for difference in chain(_of_checks(now), _of_readings(now)):
            count += 1
            if count <= TOLD:
                self.stdout.write(difference)
        if waiting := Unsettled.objects.count():
            self.stdout.write(
                f"{plural(waiting, 'site')} still to be worked out: what differs there may be due to that."
            )
        if count:
            raise CommandError(f"{plural(count, 'difference')}.")
        self.stdout.write("No difference.")


def _of_checks(now: datetime) -> Iterator[str]:
    for probes in _batches(Probe.objects.select_related("site__area")):
        for probe, row, wrong in differing(probes, now):
            point = row.get_point_display()
            yield f"{probe.site}: probe {probe}, {point}, due {row.due_at:%Y-%m-%d %H:%M} UTC ({row.because}), {wrong}."


def _of_readings(now: datetime) -> Iterator[str]:
    for limits in _batches(Limit.objects.select_related("site__area")):
        for limit, row, wrong in differing_rounds([limit.pk for limit in limits], now):
            yield f"{limit.site}: {row.what_then}, due {row.due_at:%Y-%m-%d %H:%M} UTC ({row.because}), {wrong}."


def _batches(records: QuerySet) -> Iterator[list]:
    last = 0
    while some := list(records.filter(pk__gt=last).order_by("pk")[:BATCH]):
        yield some
        last = some[-1].pk
