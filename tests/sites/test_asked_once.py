"""The roles of whoever opens a page come with the session in one query. They open nothing that the database would not."""

import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import connection
from django.http import HttpResponse
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from sites import access, actions
from sites.asked_once import once
from sites.backends import PeopleWithRoles
from sites.middleware import roles_of_then_change_nothing
from sites.models import Person, Role, Site

PEOPLE = ("cook", "reader", "manager", "supervisor", "stranger")
LISTS = ("reading_list", "deviation_list", "probe_list", "case_list", "site_list", "notice_list", "people")


def opens_a_page(person: Person) -> Person:
    return PeopleWithRoles().get_user(person.pk)


def seen(person: Person) -> list:
    sites = list(Site.objects.all())
    found = [{s.pk: role for s in sites if (role := access.role_at(person, s))}, access.roles_at(person, sites)]
    for role in Role:
        keys = [access.keys_of_sites(person, role), access.keys_of_sites(person, role, only_open=True)]
        queries = access.sites_of(person, role), access.areas_of(person, role)
        found += map(sorted, [*keys, *(rows.values_list("pk", flat=True) for rows in queries)])
    return found


@pytest.mark.parametrize("kitchen", [None, "site", "other_site"])
@pytest.mark.parametrize("who", PEOPLE)
def test_a_page_knows_the_roles_that_the_database_knows(world, who, kitchen):
    person = getattr(world, who)
    actions.grant(by=world.supervisor, person=world.reader, role=Role.COOK, area=world.area)
    Site.objects.filter(pk=world.other_site.pk).update(closed=True)
    asks, knows = Person.objects.get(pk=person.pk), opens_a_page(person)
    asks.kitchen = knows.kitchen = kitchen and getattr(world, kitchen).pk
    assert seen(knows) == seen(asks)


def test_who_comes_by_a_session_comes_whole_and_who_may_not_sign_in_does_not(world, django_assert_num_queries):
    there = Person.objects.get(pk=world.cook.pk)
    with django_assert_num_queries(1):
        found = opens_a_page(world.cook)
        assert access.may(found, world.site, Role.COOK)
    kept = ("_state", "answers")
    assert {k: v for k, v in vars(found).items() if k not in kept} == {
        k: v for k, v in vars(there).items() if k not in kept
    }
    Person.objects.filter(pk=there.pk).update(is_active=False)
    assert opens_a_page(there) is None and PeopleWithRoles().get_user(0) is None


def test_a_role_that_is_taken_away_opens_no_further_page(world, as_person):
    client, address = as_person(world.manager), reverse("today_site", args=[world.site.pk])
    assert client.get(address).status_code == 200
    held = world.manager.memberships.get()
    actions.grant(by=world.supervisor, person=world.manager, role=Role.MANAGER, site=world.other_site)
    actions.revoke(by=world.supervisor, membership=held)
    assert client.get(address).status_code == 404


@pytest.mark.parametrize(("method", "kept"), [("get", True), ("head", True), ("post", False), ("put", False)])
def test_what_changes_anything_asks_for_roles_when_it_comes_to_it(world, rf, method, kept):
    request = getattr(rf, method)("/")
    request.user = opens_a_page(world.manager)
    roles_of_then_change_nothing(lambda request: HttpResponse())(request)
    assert (request.user.answers is not None) == kept
    request.user = AnonymousUser()
    roles_of_then_change_nothing(lambda request: HttpResponse())(request)


def test_an_answer_is_kept_for_a_page_and_for_nobody_else(world):
    person, asked = opens_a_page(world.cook), []
    for _ in range(2):
        once(person, "x", lambda: asked.append(1))
        once(world.cook, "x", lambda: asked.append(2))
    assert asked == [1, 2, 2]


@pytest.mark.parametrize("name", LISTS)
def test_a_list_takes_few_queries(world, as_person, name):
    client = as_person(world.supervisor)
    with CaptureQueriesContext(connection) as taken:
        assert client.get(reverse(name)).status_code == 200
    assert len(taken) <= 12, [each["sql"][:200] for each in taken]
