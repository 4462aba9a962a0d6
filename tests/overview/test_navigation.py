"""The way around the book: what each person is offered, where they are, and what waits."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import connection
from django.test import RequestFactory
from django.test.utils import CaptureQueriesContext
from django.urls import resolve, reverse
from django.utils import timezone

from compliance.overview.context import PARTS, navigation
from compliance.quarantine import actions
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from sites.models import Role
from tests.checks import making
from tests.quarantine.making import decide
from tests.world import make_area, make_person, make_probe, make_reading


def asked(person, path="/account/"):
    request = RequestFactory().get(path)
    request.user, request.resolver_match = person, resolve(path)
    return navigation(request)


def nav(person, path="/account/"):
    return {link.label: link for link in asked(person, path)["nav"]}


def test_a_manager_is_offered_everything_but_an_area(world):
    assert list(nav(world.manager)) == [part for part in PARTS if part != "Area"]


def test_a_supervisor_is_led_to_the_area_and_with_two_areas_to_both(world):
    assert nav(world.supervisor)["Area"].url == reverse("area_detail", args=[world.area.pk])
    both = make_person("Ada Brook", Role.SUPERVISOR, area=world.area)
    both.memberships.create(area=make_area(world.business, "West"), role=Role.SUPERVISOR)
    assert nav(both)["Area"].url == reverse("area_list")


def test_nobody_signed_in_is_offered_nothing(rf):
    request = rf.get("/sign-in/")
    assert navigation(request) == {"nav": [], "person_links": []}
    request.user = AnonymousUser()
    assert navigation(request)["nav"] == []


@pytest.mark.parametrize(
    "path, part",
    [
        ("/sites/", "Set-up"),
        ("/people/add/", "Set-up"),
        ("/set-up/areas/", "Set-up"),
        ("/limits/1/change/", "Set-up"),
        ("/probes/", "Probes"),
        ("/probes/1/check/", "Probes"),
        ("/checks/1/", "Probes"),
        ("/account/", None),
    ],
)
def test_the_part_of_the_book_is_marked(world, path, part):
    assert [label for label, link in nav(world.supervisor, path).items() if link.current] == ([part] if part else [])


def test_a_page_without_navigation_asks_the_database_nothing(world, django_assert_num_queries):
    with django_assert_num_queries(0):
        asked(world.supervisor)


def test_the_links_take_as_many_queries_whatever_waits(world):
    def queries(probes: int) -> int:
        for number in range(probes):
            close(doubted(world, make_probe(world.site, f"{probes}-{number}", by=world.manager)), world)
        doubted(world, make_probe(world.site, f"{probes}-last", by=world.manager))
        found = asked(world.manager)["nav"]
        with CaptureQueriesContext(connection) as taken:
            assert {link.label: link.count for link in found}["Quarantine"] == (1 if probes == 1 else 2)
        return len(taken)

    assert queries(1) == queries(3)


def close(check, world):
    case = load_case(f"check:{check.pk}")
    every = Selection(sites=tuple(case.sites))
    decide(by=world.manager, case=case, selection=every, fate="discarded", why="Binned.")
    actions.sign(by=world.supervisor, anchor=case.anchor)


def doubted(world, probe):
    now = timezone.now()
    making.good(probe, world.cook, now - timedelta(days=9))
    make_reading(probe, world.limit, "4", now - timedelta(days=5), by=world.cook)
    return making.bad(probe, world.cook, now - timedelta(days=2))


def test_a_failed_check_with_no_reading_in_doubt_is_no_case_to_decide(world):
    making.bad(world.probe, world.cook, timezone.now() - timedelta(days=2))
    assert nav(world.manager)["Quarantine"].count == 0


def test_a_case_of_another_site_does_not_count_and_a_signed_one_no_more(world):
    check = doubted(world, world.probe)
    neighbour = make_person("Ada Brook", Role.MANAGER, site=world.other_site)
    assert (nav(world.manager)["Quarantine"].count, nav(neighbour)["Quarantine"].count) == (1, 0)
    close(check, world)
    assert nav(world.manager)["Quarantine"].count == 0


def test_a_case_decided_again_after_its_signature_counts_again(world):
    case = load_case(f"check:{doubted(world, world.probe).pk}")
    every = Selection(sites=tuple(case.sites))
    decide(by=world.manager, case=case, selection=every, fate="discarded", why="Binned.")
    actions.sign(by=world.supervisor, anchor=case.anchor)
    assert nav(world.manager)["Quarantine"].count == 0
    decide(by=world.manager, case=case, selection=every, fate="reworked", why="Cooked on to 80 °C.")
    assert nav(world.manager)["Quarantine"].count == 1
