from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from compliance.checks.check_rows import differing
from compliance.plans.models import Unsettled
from compliance.probes.models import Probe
from shared.words import plural

BATCH = 50
TOLD = 100  # differences that are listed


class Command(BaseCommand):
    help = "Folds everything that is asked for anew from plans, checks and events, and compares it with what is stored."

    def handle(self, *args, **options):
        now, count = timezone.now(), 0
        for probe, row, wrong in _differences(now):
            count += 1
            if count <= TOLD:
                self.stdout.write(
                    f"{probe.site}: probe {probe}, {row.get_point_display()}, due {row.due_at:%Y-%m-%d %H:%M} UTC "
                    f"({row.because}), {wrong}."
                )
        if waiting := Unsettled.objects.count():
            self.stdout.write(
                f"{plural(waiting, 'site')} still to be worked out: what differs there may be due to that."
            )
        if count:
            raise CommandError(f"{plural(count, 'difference')}.")
        self.stdout.write("No difference.")


def _differences(now):
    last = 0
    while True:
        probes = list(Probe.objects.select_related("site__area").filter(pk__gt=last).order_by("pk")[:BATCH])
        if not probes:
            return
        yield from differing(probes, now)
        last = probes[-1].pk
