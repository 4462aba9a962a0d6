"""Roles: granting, taking away, and never leaving an area without a supervisor."""

import pytest
from django.core.exceptions import ValidationError

from shared.audit.models import Entry
from sites import access, actions
from sites.models import Membership, Role
from tests.world import make_person


def test_a_role_for_an_area_holds_at_all_its_sites(world):
    newcomer = make_person("Ada Brook")
    actions.grant(by=world.supervisor, person=newcomer, role=Role.COOK, area=world.area)
    assert {s.name for s in access.sites_of(newcomer, Role.COOK)} == {"Alder School", "Birch House"}
    assert not access.may(newcomer, world.far_site, Role.READER)


def test_the_higher_of_two_roles_counts(world):
    actions.grant(by=world.supervisor, person=world.reader, role=Role.COOK, area=world.area)
    assert access.role_at(world.reader, world.site) == Role.COOK
    assert access.roles_at(world.reader, [world.site, world.other_site, world.far_site]) == {
        world.site.pk: Role.COOK,
        world.other_site.pk: Role.COOK,
    }


def test_a_second_role_at_the_same_place_replaces_the_first(world):
    actions.grant(by=world.supervisor, person=world.cook, role=Role.MANAGER, site=world.site)
    assert [m.role for m in world.cook.memberships.all()] == [Role.MANAGER]


@pytest.mark.parametrize("place", [{}, {"site": True, "area": True}])
def test_a_role_is_held_at_one_place(world, place):
    given = {name: getattr(world, name) for name in place}
    with pytest.raises(ValidationError, match="name one of them"):
        actions.grant(by=world.supervisor, person=world.cook, role=Role.COOK, **given)


def test_an_unknown_role_is_refused(world):
    with pytest.raises(ValidationError, match="Choose a role"):
        actions.grant(by=world.supervisor, person=world.cook, role=99, site=world.site)


def test_the_last_supervisor_of_an_area_cannot_be_demoted_removed_or_stopped(world):
    membership = world.supervisor.memberships.get()
    actions.grant(by=world.supervisor, person=world.supervisor, role=Role.READER, site=world.site)
    for act, given in (
        (actions.revoke, {"membership": membership}),
        (actions.grant, {"person": world.supervisor, "role": Role.MANAGER, "area": world.area}),
        (actions.stop_person, {"person": world.supervisor, "reason": "left"}),
    ):
        with pytest.raises(ValidationError, match="last supervisor of North"):
            act(by=world.supervisor, **given)
    membership.refresh_from_db()
    world.supervisor.refresh_from_db()
    assert membership.role == Role.SUPERVISOR and world.supervisor.is_active


def test_with_a_second_supervisor_the_first_may_go(world):
    second = make_person("Ada Brook", Role.SUPERVISOR, area=world.area)
    actions.stop_person(by=second, person=world.supervisor, reason="retired")
    world.supervisor.refresh_from_db()
    assert not world.supervisor.is_active


def test_a_second_supervisor_who_may_not_sign_in_does_not_count(world):
    second = make_person("Ada Brook", Role.SUPERVISOR, area=world.area)
    actions.stop_person(by=world.supervisor, person=second, reason="on leave")
    with pytest.raises(ValidationError, match="last supervisor"):
        actions.stop_person(by=world.supervisor, person=world.supervisor, reason="left")


def test_a_site_manager_can_be_stopped_and_let_in_again_with_the_same_roles(world):
    actions.stop_person(by=world.supervisor, person=world.manager, reason="left for the summer")
    actions.restart_person(by=world.supervisor, person=world.manager)
    world.manager.refresh_from_db()
    assert world.manager.is_active and access.role_at(world.manager, world.site) == Role.MANAGER


def test_stopping_somebody_needs_a_reason(world):
    with pytest.raises(ValidationError, match="Say why"):
        actions.stop_person(by=world.supervisor, person=world.cook, reason="  ")


def test_an_only_role_is_not_taken_away_because_nobody_would_find_the_person(world):
    with pytest.raises(ValidationError, match="only role"):
        actions.revoke(by=world.supervisor, membership=world.cook.memberships.get())


def test_a_role_taken_away_is_in_the_trail(world):
    actions.grant(by=world.supervisor, person=world.cook, role=Role.READER, site=world.other_site)
    actions.revoke(by=world.supervisor, membership=world.cook.memberships.get(site=world.site))
    entry = Entry.objects.get(action="role.revoke")
    assert (entry.actor, entry.subject, entry.data["place"]) == ("Sol Venn", "Col Esker", "Alder School")
    assert Membership.objects.filter(person=world.cook).count() == 1
