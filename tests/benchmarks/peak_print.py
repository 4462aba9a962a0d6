"""Prints one record in a process of its own and tells how much memory that took at most, in MB (Linux)."""

import resource
import sys
import tempfile
from datetime import date

from django.utils import timezone

from compliance.records.record import write_record
from compliance.records.scope import RecordScope
from sites.models import Site


def run() -> None:
    site = Site.objects.select_related("area__business").get(pk=sys.argv[1])
    first, last = map(date.fromisoformat, sys.argv[2:4])
    with tempfile.TemporaryFile() as out:
        write_record(out, RecordScope(site=site, first=first, last=last, printed_by="Bench", now=timezone.now()))
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
