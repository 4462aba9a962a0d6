"""The newest readings of several sites, found by each site's own index, are those found by time."""

from datetime import timedelta

import pytest
from django.utils import timezone

from compliance.readings.models import Reading
from compliance.readings.queries import near_at
from tests.world import make_reading

# Minutes ago at each of three sites: one that was read last, one that was read much, one not at all.
READ = ([1, 2, 9, 9, 30], [3, 4, 5, 6, 7, 8, 9, 9, 40, 41], [])


@pytest.fixture
def read(world):
    now = timezone.now()
    sites = [world.site, world.other_site, world.foreign_site]
    for site, minutes in zip(sites, READ, strict=True):
        for number in minutes:
            at = now - timedelta(minutes=number)
            make_reading(world.probe, world.limit, "4.1", at, by=world.cook, site=site)
    return [site.pk for site in sites]


@pytest.mark.parametrize("newest", [True, False])
def test_what_is_left_has_the_same_first_page(read, newest):
    order = ("-taken_at", "-pk") if newest else ("taken_at", "pk")
    every = Reading.objects.filter(site__in=read)
    for most in (1, 2, 3, 8, 30):
        left = near_at(read)(every, newest, most)
        assert list(left.order_by(*order)[:most]) == list(every.order_by(*order)[:most])
        assert left.count() <= 2 * most + 2  # of the same minute


def test_nothing_is_left_of_sites_without_readings(read):
    assert not near_at(read[2:])(Reading.objects.all(), True, 5).exists()
