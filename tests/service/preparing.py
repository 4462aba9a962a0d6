"""Fills an empty database with one business and so many probes: `python -m tests.service.preparing 200`."""

import sys

import django

django.setup()  # before the models below can be read

from datetime import time  # noqa: E402

from django.contrib.auth.hashers import PBKDF2PasswordHasher  # noqa: E402
from django.core.management import call_command  # noqa: E402

from compliance.checks.timeline import recut  # noqa: E402
from compliance.notices.models import QuietHours  # noqa: E402
from tests.world import World, make_probe  # noqa: E402


def main(probes: int) -> None:
    PBKDF2PasswordHasher.iterations = 1  # who signs in is hashed anew, as after any change of that number
    call_command("migrate", verbosity=0)
    world = World.build()
    for person in (world.manager, world.supervisor):  # or what is sent would depend on the hour
        QuietHours.objects.create(person=person, starts=time(0), ends=time(0))
    for number in range(probes):
        recut(make_probe(world.site, f"K{number:04}", by=world.manager, limits=[world.limit]))


if __name__ == "__main__":
    main(int(sys.argv[1]))
