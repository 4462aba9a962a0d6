"""Random alterations by somebody who has the whole database, each taken back before the next."""

import sys
import time
from random import Random

from django.db import connection

from tests.audit.altering import keep_a_book, try_many
from tests.audit.samples import SAMPLES
from tests.world import World

USUAL = (1000, 300)


def run() -> None:
    place = 0 if connection.vendor == "sqlite" else 1
    times = int(sys.argv[1:][place]) if len(sys.argv) > place + 1 else USUAL[place]
    keep_a_book(World.build(), SAMPLES)
    begun = time.process_time()
    for what, number in sorted(try_many(times, Random(2026)).items(), key=str):
        print(f"{connection.vendor:11} {number:5} {', '.join(what)}", flush=True)
    print(f"{connection.vendor:11} {times} in {time.process_time() - begun:.0f} s of the processor", flush=True)
