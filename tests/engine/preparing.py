"""Fills an empty database with one business and so many probes: `python -m tests.engine.preparing 200`."""

import sys

import django

django.setup()  # before the models below can be read

from compliance.checks.timeline import recut  # noqa: E402
from tests.world import World, make_probe  # noqa: E402


def main(probes: int) -> None:
    world = World.build()
    for number in range(probes):
        recut(make_probe(world.site, f"K{number:04}", by=world.manager, limits=[world.limit]))


if __name__ == "__main__":
    main(int(sys.argv[1]))
