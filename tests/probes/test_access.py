"""Who sees a probe, and who may do something with it."""

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils import timezone

from compliance.probes import actions
from compliance.probes.access import get_probe, probes_of
from sites.models import Role
from tests.world import make_person


@pytest.fixture
def neighbour(world):
    """Manager of the other site."""
    return make_person("Ada Brook", Role.MANAGER, site=world.other_site)


def lend(world):
    actions.move(by=world.manager, probe=world.probe, site=world.other_site, starts_at=timezone.now(), reason="Lent.")


def test_a_probe_is_seen_at_its_site_and_nowhere_else(world, neighbour):
    for person in (world.reader, world.cook, world.manager, world.supervisor):
        assert get_probe(person, world.probe.pk) == world.probe
    for person in (world.stranger, neighbour):
        with pytest.raises(Http404):
            get_probe(person, world.probe.pk)


def test_a_probe_that_does_not_exist_is_not_found(world):
    with pytest.raises(Http404):
        get_probe(world.manager, 0)


def test_a_lent_probe_is_seen_at_both_sites_and_managed_where_it_is(world, neighbour):
    lend(world)
    assert get_probe(world.reader, world.probe.pk) == world.probe
    assert get_probe(neighbour, world.probe.pk, Role.MANAGER) == world.probe
    for role in (Role.COOK, Role.MANAGER):
        with pytest.raises(PermissionDenied, match="Birch House"):
            get_probe(world.manager, world.probe.pk, role)


def test_a_reader_may_not_manage(world):
    with pytest.raises(PermissionDenied):
        get_probe(world.reader, world.probe.pk, Role.COOK)


def test_lists_of_probes_keep_to_the_same_doors(world, neighbour):
    lend(world)
    assert list(probes_of(world.manager)) == list(probes_of(neighbour)) == [world.probe]
    assert list(probes_of(world.manager, Role.COOK)) == [] and list(probes_of(world.stranger)) == []
    assert list(probes_of(neighbour, Role.MANAGER)) == [world.probe]
