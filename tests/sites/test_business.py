"""What holds for a whole business: who may set it, and what is kept of the change."""

from datetime import UTC, datetime
from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import connection
from django.urls import reverse

from compliance.metrology.conformity import DecisionRule as Measured
from shared.audit.models import Entry
from sites import access, actions
from sites.models import Business, DecisionRule, Membership, Role
from tests.world import make_area, make_person

URL = reverse("business_edit")
GIVEN = {
    "name": "Larkfield Kitchens",
    "decision_rule": "guarded",
    "reliability_target": "90",
    "review_days": "7",
    "reason": "Agreed.",
}


@pytest.fixture
def head(world):
    """Supervises every area of the stock business."""
    person = make_person("Hue Lorne", Role.SUPERVISOR, area=world.area)
    Membership.objects.create(person=person, role=Role.SUPERVISOR, area=world.far_area)
    return person


def test_the_rules_are_those_that_the_measurement_knows():
    assert set(DecisionRule.values) == {rule.value for rule in Measured}


def test_a_new_business_has_the_usual_rule_and_target(world):
    assert (world.business.decision_rule, world.business.reliability_target) == ("non_binary", 95)


def test_who_supervises_all_of_a_business_sets_its_rule_and_the_trail_tells_it(world, head, as_person):
    assert as_person(head).post(URL, GIVEN).status_code == 302
    world.business.refresh_from_db()
    assert (world.business.decision_rule, world.business.reliability_target) == ("guarded", 90)
    entry = Entry.objects.get(action="business.amend")
    assert entry.data["changes"] == {"decision_rule": ["non_binary", "guarded"], "reliability_target": ["95", "90"]}


def test_who_supervises_only_a_part_of_it_does_not(world, as_person):
    for person in (world.supervisor, world.manager, world.reader):
        assert as_person(person).get(URL).status_code == 403
        assert as_person(person).post(URL, GIVEN).status_code == 403
    world.business.refresh_from_db()
    assert world.business.decision_rule == "non_binary"


def test_a_new_area_of_somebody_else_takes_the_right_away(world, head):
    assert list(access.businesses_of(head)) == [world.business]
    make_area(world.business, "Isle")
    assert not access.businesses_of(head).exists()


def test_a_manager_of_every_area_is_no_supervisor(world):
    person = make_person("Ivo Marsh", Role.MANAGER, area=world.area)
    Membership.objects.create(person=person, role=Role.MANAGER, area=world.far_area)
    assert not access.businesses_of(person).exists()


@pytest.mark.parametrize("target", ["49", "100", "", "most"])
def test_a_target_out_of_range_is_refused_and_nothing_is_lost(world, head, as_person, target):
    page = as_person(head).post(URL, {**GIVEN, "name": "Larkfield Meals", "reliability_target": target})
    assert page.status_code == 200 and "Larkfield Meals" in page.content.decode()
    world.business.refresh_from_db()
    assert world.business.reliability_target == 95


def test_a_rule_that_is_none_is_refused(world, head, as_person):
    with pytest.raises(ValidationError):
        actions.amend_business(by=head, business=world.business, changes={"decision_rule": "generous"})
    assert as_person(head).post(URL, {**GIVEN, "decision_rule": "generous"}).status_code == 200
    world.business.refresh_from_db()
    assert world.business.decision_rule == "non_binary"


def test_of_several_businesses_the_address_says_which(world, head, as_person):
    other = Business.objects.create(name="Aster Meals")
    Membership.objects.create(person=head, role=Role.SUPERVISOR, area=make_area(other, "All"))
    page = as_person(head).get(URL)
    assert page.context["title"] == "Aster Meals" and "Larkfield Kitchens" in page.content.decode()
    page = as_person(head).post(f"{URL}?business={world.business.pk}", GIVEN)
    assert page.url == f"{URL}?business={world.business.pk}"
    other.refresh_from_db()
    assert other.decision_rule == "non_binary"


def test_a_business_of_somebody_else_is_not_found(world, head, as_person):
    foreign = world.foreign_site.area.business
    assert as_person(head).get(f"{URL}?business={foreign.pk}").status_code == 404


def test_the_tab_is_there_for_those_who_may_and_for_nobody_else(world, head, as_person):
    assert URL in as_person(head).get(reverse("site_list")).content.decode()
    assert URL not in as_person(world.supervisor).get(reverse("site_list")).content.decode()


def test_the_page_is_part_of_the_set_up_and_says_what_each_rule_does(head, as_person):
    page = as_person(head).get(URL)
    assert [link.label for link in page.context["nav"] if link.current] == ["Set-up"]
    assert page.content.decode().count('class="hint"') >= 3


def test_what_was_set_before_days_were_reviewed_says_the_usual_clock(world):
    old = {"until": "2026-01-01T00:00:00+00:00", "name": "Old", "decision_rule": "simple", "reliability_target": 90}
    Business.objects.filter(pk=world.business.pk).update(former=[old])
    import_module("sites.migrations.0014_former_review_days").fill(apps, SimpleNamespace(connection=connection))
    then = Business.objects.get(pk=world.business.pk).rules_at(datetime(2025, 6, 1, tzinfo=UTC))
    assert (then.name, then.review_days) == ("Old", 7)
