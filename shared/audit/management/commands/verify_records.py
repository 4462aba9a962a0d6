import re

from django.core.management.base import BaseCommand, CommandError

from shared.audit.models import Entry
from shared.audit.verifying import findings, standing_of

TOLD = 100  # that are listed


class Command(BaseCommand):
    help = (
        "Reads every record and every entry of the trail, and says which row was altered, removed, inserted or put elsewhere "
        "behind the program's back; given heads as they were printed, whether the history up to each of them still stands."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--head",
            action="append",
            default=[],
            help="the 64 letters and digits at the foot of a page; may come again",
        )

    def handle(self, *, head, **options):
        heads = [_as_head(text) for text in head]
        found = list(findings())
        for finding in found[:TOLD]:
            self.stdout.write(str(finding))
        if len(found) > TOLD:
            self.stdout.write(f"and {len(found) - TOLD} more.")
        told = [(each, standing_of(each, found)) for each in heads]
        for each, standing in told:
            self.stdout.write(f"{each[:8]}… {'stands' if standing.stands else 'DOES NOT STAND'}. {standing.why}")
        fallen = sum(not standing.stands for _, standing in told)
        if found or fallen:
            raise CommandError(f"{len(found)} wrong; {fallen} of {len(heads)} heads do not stand.")
        self.stdout.write(f"Nothing is wrong. {Entry.objects.filter(number__isnull=False).count()} entries verified.")
        if not heads:
            self.stdout.write("Give a head from a printed page (--head) to know that the history was not written anew.")


def _as_head(text: str) -> str:
    head = re.sub(r"[\s·-]", "", text).lower()
    if not re.fullmatch("[0-9a-f]{64}", head):
        raise CommandError(f"{text!r} is no head: give the 64 letters and digits from the foot of a page.")
    return head
