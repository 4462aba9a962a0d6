"""Nobody gets in as a peer, nor above one: who ranks below whom, and what a peer may not do."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from sites import actions
from sites.access import businesses_of
from sites.models import PasswordLink, Role
from sites.people import get_person_to_link
from sites.ranks import is_below
from tests.world import make_area, make_person


@pytest.fixture
def peer(world):
    return make_person("Una Reed", Role.SUPERVISOR, area=world.area)


@pytest.fixture
def head(world):
    """Supervises both areas of the business."""
    person = make_person("Ida Moss", Role.SUPERVISOR, area=world.area)
    actions.grant(by=None, person=person, role=Role.SUPERVISOR, area=world.far_area)
    return person


def door(as_person, by, person):
    return as_person(by).get(reverse("person_password", args=[person.pk])).status_code


def links_for(as_person, by, person):
    as_person(by).post(reverse("person_password", args=[person.pk]), {"after": 0})
    return PasswordLink.objects.filter(person=person, made_by=by).count()


def test_those_below_are_made_a_link_and_a_peer_is_not(world, peer, as_person):
    below = [world.cook, world.reader, world.manager]
    assert [links_for(as_person, world.supervisor, person) for person in below] == [1, 1, 1]
    assert links_for(as_person, world.supervisor, peer) == 0
    assert [door(as_person, world.supervisor, person) for person in (world.cook, peer, world.supervisor)] == [
        200,
        403,
        403,
    ]
    with pytest.raises(ValidationError, match="Una Reed ranks no lower than you"):
        actions.make_password_link(by=world.supervisor, person=peer)


def test_nobody_makes_a_link_for_themselves(world, head, as_person):
    assert [links_for(as_person, person, person) for person in (world.supervisor, head)] == [0, 0]


def test_the_head_of_all_areas_ranks_above_the_supervisor_of_one(world, head, peer, as_person):
    assert is_below(peer, head) and not is_below(head, peer)
    assert links_for(as_person, head, peer) == 1 and links_for(as_person, peer, head) == 0


def test_two_heads_are_peers(world, head, as_person):
    other = make_person("Una Reed", Role.SUPERVISOR, area=world.area)
    actions.grant(by=None, person=other, role=Role.SUPERVISOR, area=world.far_area)
    assert not is_below(other, head) and not is_below(head, other)
    assert links_for(as_person, head, other) == 0


def test_more_areas_do_not_make_a_higher_rank_where_there_is_a_third(world, head, peer):
    make_area(world.business, "West")
    assert not is_below(peer, head)


def test_a_supervisor_of_one_site_ranks_below_that_of_its_area(world):
    of_site = make_person("Una Reed", Role.SUPERVISOR, site=world.site)
    assert is_below(of_site, world.supervisor) and not is_below(world.supervisor, of_site)


def test_the_highest_of_several_roles_and_every_place_counts(world, head, peer):
    actions.grant(by=None, person=world.cook, role=Role.COOK, site=world.far_site)
    assert not is_below(world.cook, world.supervisor) and is_below(world.cook, head)
    actions.grant(by=None, person=peer, role=Role.READER, site=world.site)
    assert not is_below(peer, world.supervisor)


def test_the_head_of_one_business_is_nobody_in_another(world, head):
    actions.grant(by=None, person=head, role=Role.COOK, site=world.foreign_site)
    assert not is_below(world.stranger, head) and not is_below(world.rival, head)
    assert not is_below(head, world.rival)


def test_somebody_of_no_place_is_below_nobody(world, head):
    assert not is_below(make_person("Ada Brook"), head)


def test_a_peers_email_is_refused_whichever_way_it_comes(world, peer, as_person):
    url = reverse("person_edit", args=[peer.pk])
    given = {"name": "Una Reed", "initials": "UR", "email": "mine@example.test"}
    page = as_person(world.supervisor).get(url).content.decode()
    assert peer.email in page and 'name="email"' not in page and "ranks no lower than you" in page
    as_person(world.supervisor).post(url, given)
    with pytest.raises(ValidationError, match="ranks no lower than you"):
        actions.amend_person(by=world.supervisor, person=peer, changes={"email": given["email"]})
    peer.refresh_from_db()
    assert peer.email == "una.reed@example.test"


def test_the_email_of_those_below_and_ones_own_is_changed(world, head, as_person):
    for by, person in ((world.supervisor, world.cook), (head, world.supervisor), (head, head)):
        given = {"name": person.name, "initials": "XY", "email": f"new{person.pk}@example.test"}
        as_person(by).post(reverse("person_edit", args=[person.pk]), given)
        person.refresh_from_db()
        assert person.email == given["email"]


def test_a_peer_is_not_made_a_cook_to_be_taken_over(world, peer, as_person):
    membership = peer.memberships.get()
    client = as_person(world.supervisor)
    page = client.post(reverse("role_remove", args=[membership.pk]), {"sure": 1}).content.decode()
    assert "Una Reed supervises North as you do" in page
    lower = {"place": f"area-{world.area.pk}", "role": Role.COOK.value}
    page = client.post(reverse("role_add", args=[peer.pk]), lower).content.decode()
    assert "Una Reed supervises North as you do" in page
    membership.refresh_from_db()
    assert membership.role == Role.SUPERVISOR


def test_the_head_and_they_themselves_end_a_supervision(world, head, peer):
    actions.grant(by=peer, person=peer, role=Role.COOK, area=world.area)
    actions.grant(by=head, person=world.supervisor, role=Role.COOK, area=world.area)
    assert not world.supervisor.memberships.filter(role=Role.SUPERVISOR).exists()


def test_adding_an_area_raises_nobody_above_a_peer(world, as_person):
    """Also where there is one area: its two supervisors are heads of the business, and stay so."""
    peer = make_person("Una Reed", Role.SUPERVISOR, area=world.foreign_site.area)
    as_person(world.rival).post(reverse("area_add"), {"name": "West"})
    assert not is_below(peer, world.rival) and not is_below(world.rival, peer)
    assert list(businesses_of(peer)) == list(businesses_of(world.rival)) == [world.foreign_site.area.business]


def test_adding_an_area_takes_nothing_from_the_head(world, head, as_person):
    as_person(world.supervisor).post(reverse("area_add"), {"name": "West"})
    assert is_below(world.supervisor, head) and list(businesses_of(head)) == [world.business]


def test_stopping_and_restarting_a_peer_opens_no_door(world, peer, as_person):
    actions.stop_person(by=world.supervisor, person=peer, reason="on leave")
    assert links_for(as_person, world.supervisor, peer) == 0
    actions.restart_person(by=world.supervisor, person=peer)
    assert links_for(as_person, world.supervisor, peer) == 0


def test_the_door_to_a_link_tells_strangers_nothing(world, as_person):
    assert get_person_to_link(world.supervisor, world.cook.pk) == world.cook
    assert [door(as_person, p, world.cook) for p in (world.rival, world.manager, world.cook)] == [404, 403, 403]
