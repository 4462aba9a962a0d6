"""Builds a set of so many sites in the empty database of this process. Django is to be set up."""

from datetime import datetime

from django.core.management import call_command
from django.utils import timezone

from tests.multiply import multiply

from . import first_sites

SITES = len(first_sites.NAMES)
# In copies of those: an area of a hundred sites, one of a thousand, the others of five hundred.
SIZES = (10, 100)
OTHERS = 50
AREAS = [f"{where}{what}" for what in ("reach", "moor", "dale") for where in ("East", "West", "South", "Mid", "Over")]


def build(sites: int, now: datetime | None = None) -> None:
    """So many sites, in tens, with half a year that ends at `now`."""
    call_command("migrate", verbosity=0)
    call_command("load_rules", verbosity=0)
    made = first_sites.build(now or timezone.now())
    sizes = area_sizes(max(sites // SITES, 1))
    areas = first_sites.add_areas(made, AREAS[: len(sizes) - 1])
    multiply([area for area, size in zip(areas, sizes, strict=True) for _ in range(size)])


def area_sizes(copies: int) -> list[int]:
    sizes: list[int] = []
    while left := copies - sum(sizes):
        sizes.append(min(left, SIZES[len(sizes)] if len(sizes) < len(SIZES) else OTHERS))
    return sizes
