"""People: who reaches whom, adding them, stopping them."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.http import Http404
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shared.audit.models import Entry
from sites import actions
from sites.data import NewPerson
from sites.models import Person, Role
from sites.people import get_person, get_whole_person
from tests.world import PASSWORD, make_person


def added(world, **given):
    site = world.site
    fields = {"name": "Ada Brook", "initials": "AB", "email": " Ada.Brook@Example.test ", "place": f"site-{site.pk}"}
    return {**fields, "role": Role.COOK.value, **given}


@pytest.mark.parametrize("wrong", [{"email": "no address"}, {"initials": ""}, {"role": "99"}])
def test_a_person_who_cannot_be_is_refused_and_nothing_that_was_typed_is_lost(world, as_person, wrong):
    page = as_person(world.supervisor).post(reverse("person_add"), added(world, **wrong))
    assert page.status_code == 200 and "Ada Brook" in page.content.decode()
    assert not Person.objects.filter(name="Ada Brook").exists()


def test_an_email_that_is_taken_is_refused_whatever_its_case(world, as_person):
    page = as_person(world.supervisor).post(reverse("person_add"), added(world, email="COL.ESKER@example.test"))
    assert "Somebody has this e-mail already" in page.content.decode()


def test_a_supervisor_cannot_give_a_role_in_an_area_of_somebody_else(world, as_person):
    for place in (f"site-{world.far_site.pk}", f"area-{world.far_area.pk}", f"site-{world.foreign_site.pk}"):
        page = as_person(world.supervisor).post(reverse("person_add"), added(world, place=place))
        assert page.status_code == 200
    assert not Person.objects.filter(name="Ada Brook").exists()


def test_somebody_who_was_stopped_cannot_sign_in_and_is_signed_out(world, client):
    client.force_login(world.cook)
    actions.stop_person(by=world.supervisor, person=world.cook, reason="left")
    assert reverse("sign_in") in client.get(reverse("site_list")).url
    page = client.post(reverse("sign_in"), {"username": world.cook.email, "password": PASSWORD})
    assert page.status_code == 200 and "do not belong together" in page.content.decode()


def test_sessions_that_ended_when_somebody_was_stopped_do_not_come_back(world, client):
    client.force_login(world.cook)
    actions.stop_person(by=world.supervisor, person=world.cook, reason="on leave")
    actions.restart_person(by=world.supervisor, person=world.cook)
    assert reverse("sign_in") in client.get(reverse("site_list")).url
    client.force_login(world.cook)
    assert client.get(reverse("site_list")).status_code == 200


def test_supervisors_reach_colleagues_but_no_strangers(world):
    far = make_person("Ada Brook", Role.COOK, site=world.far_site)
    assert get_person(world.supervisor, world.cook.pk).whole
    assert not get_person(world.supervisor, far.pk).whole
    with pytest.raises(Http404):
        get_person(world.supervisor, world.stranger.pk)
    for person in (world.manager, world.cook, world.reader):
        with pytest.raises(PermissionDenied):
            get_person(person, world.cook.pk)


def test_a_supervisor_cannot_take_over_somebody_who_works_elsewhere_too(world, as_person):
    actions.grant(by=world.supervisor, person=world.cook, role=Role.SUPERVISOR, area=world.far_area)
    with pytest.raises(PermissionDenied):
        get_whole_person(world.supervisor, world.cook.pk)
    client = as_person(world.supervisor)
    for name in ("person_password", "person_stop", "person_restart", "person_edit"):
        assert client.post(reverse(name, args=[world.cook.pk]), {"reason": "moved away"}).status_code == 403
    world.cook.refresh_from_db()
    assert world.cook.check_password(PASSWORD) and world.cook.is_active


def test_a_role_in_another_area_cannot_be_taken_away(world, as_person):
    actions.grant(by=world.supervisor, person=world.cook, role=Role.COOK, site=world.far_site)
    foreign = world.cook.memberships.get(site=world.far_site)
    assert as_person(world.supervisor).post(reverse("role_remove", args=[foreign.pk])).status_code == 404
    assert world.cook.memberships.count() == 2


def test_changing_particulars_tells_old_and_new(world, as_person):
    old, new = world.cook.email, "col@example.test"
    as_person(world.supervisor).post(reverse("person_edit", args=[world.cook.pk]), {"email": new})
    assert Entry.objects.get(action="person.amend").data["changes"] == {"email": [old, new]}


def test_amending_takes_no_other_field(world):
    with pytest.raises(TypeError, match="is_active"):
        actions.amend_person(by=world.supervisor, person=world.cook, changes={"is_active": "x"})


def test_a_person_without_a_name_is_refused(world):
    with pytest.raises(ValidationError):
        actions.add_person(
            by=world.supervisor,
            role=Role.COOK,
            site=world.site,
            data=NewPerson(email="x@example.test", name=" ", initials="X"),
        )


def test_the_list_of_people_is_as_quick_for_three_times_as_many(world, as_person):
    client = as_person(world.supervisor)
    counts = []
    for names in (["Ann", "Ben"], ["Cal", "Dot", "Eli", "Fay", "Gus", "Hal", "Ina", "Jon"]):
        for name in names:
            make_person(f"{name} Lark", Role.COOK, site=world.site)
        with CaptureQueriesContext(connection) as queries:
            page = client.get(reverse("people"))
        counts.append(len(queries))
    assert "Jon Lark" in page.content.decode() and counts[0] == counts[1]


def test_people_are_found_by_name_and_by_where_they_are(world, as_person):
    make_person("Ada Brook", Role.COOK, site=world.far_site)
    client = as_person(world.supervisor)
    found = client.get(reverse("people"), {"q": "esk"}).content.decode()
    assert "Col Esker" in found and "Rue Danby" not in found
    elsewhere = client.get(reverse("people"), {"show": "elsewhere"}).content.decode()
    assert "Ada Brook" in elsewhere and "Col Esker" not in elsewhere and "Nye Farrow" not in elsewhere


def test_whoever_has_not_signed_in_yet_is_listed_so(world, as_person):
    make_person("Ada Brook", Role.COOK, site=world.site)
    assert "never" in as_person(world.supervisor).get(reverse("people")).content.decode()
