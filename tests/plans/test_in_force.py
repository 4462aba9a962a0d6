"""The nearest plan wins, the page can say which, and many probes cost no more queries than one."""

from datetime import date, timedelta

import pytest

from compliance.plans import actions
from compliance.plans.data import ClosureData, PlanData
from compliance.plans.queries import PlanBook, Reach, calendars, plan_in_force, plans_in_force
from compliance.probes.models import Probe, Sensor
from tests.plans.making import days_of
from tests.world import make_probe

TODAY = date(2026, 3, 11)
pytestmark = pytest.mark.usefixtures("clock")


def scopes(world):
    """From the widest to the nearest, each with what is said of it."""
    kind, label = world.probe.sensor, Sensor(world.probe.sensor).label
    return [
        ({"business": world.business}, "the plan of Larkfield Kitchens"),
        (
            {"business": world.business, "sensor": kind},
            f"the plan of Larkfield Kitchens for probes with the sensor “{label}”",
        ),
        ({"site": world.site}, "the plan of Alder School"),
        ({"site": world.site, "sensor": kind}, f"the plan of Alder School for probes with the sensor “{label}”"),
        ({"probe": world.probe}, "its own plan"),
    ]


def test_the_nearest_wins_and_says_where_it_comes_from(world):
    assert plan_in_force(world.probe).source == "the plan that every business starts with"
    for days, (scope, words) in enumerate(scopes(world), start=2):
        actions.set_plan(by=world.supervisor, data=PlanData(every_days=days, reason="Agreed.", **scope))
        found = plan_in_force(world.probe)
        assert (found.plan.days, found.source) == (days, words)


def test_a_wider_plan_set_later_does_not_displace_a_nearer_one(world):
    for days, (scope, _) in enumerate(reversed(scopes(world)), start=2):
        actions.set_plan(by=world.supervisor, data=PlanData(every_days=days, reason="Agreed.", **scope))
    assert plan_in_force(world.probe).source == "its own plan"


def test_taking_plans_off_walks_back_through_the_scopes(world):
    for days, (scope, _) in enumerate(scopes(world), start=2):
        actions.set_plan(by=world.supervisor, data=PlanData(every_days=days, reason="Agreed.", **scope))
    for scope, words in reversed(scopes(world)):
        assert plan_in_force(world.probe).source == words
        actions.set_plan(by=world.supervisor, data=PlanData(in_force=False, reason="Agreed.", **scope))
    assert plan_in_force(world.probe).record is None


def test_plans_elsewhere_reach_nothing_here(world):
    for scope in ({"site": world.other_site}, {"business": world.foreign_site.area.business}):
        actions.set_plan(by=world.supervisor, data=PlanData(every_days=2, **scope))
    actions.set_plan(by=world.supervisor, data=PlanData(site=world.site, sensor=Sensor.BIMETAL, every_days=2))
    assert days_of(world.probe) == 7


def test_a_plan_to_come_counts_from_its_day(world):
    actions.set_plan(
        by=world.manager, data=PlanData(probe=world.probe, every_days=2, effective_from=TODAY + timedelta(days=3))
    )
    assert [plan_in_force(world.probe, TODAY + timedelta(days=n)).plan.days for n in (2, 3)] == [7, 2]


def test_what_holds_for_a_site_that_has_none_is_that_of_the_business(world):
    actions.set_plan(by=world.supervisor, data=PlanData(business=world.business, every_days=2))
    scope = {"site": world.site, "sensor": "bimetal"}
    found = PlanBook.of_scope(**scope).at(Reach.of_scope(**scope), TODAY)
    assert found.source == "the plan of Larkfield Kitchens"


@pytest.mark.parametrize("count", [1, 30])
def test_one_query_for_any_number_of_probes(world, count, django_assert_num_queries):
    for n in range(count):
        probe = make_probe(world.site, f"Q{n}", by=world.manager)
        actions.set_plan(by=world.manager, data=PlanData(probe=probe, every_days=2))
    probes = list(Probe.objects.select_related("site"))
    with django_assert_num_queries(1):
        found = plans_in_force(probes)
    assert len(found) == count + 1 and found[world.probe.pk].plan.days == 7


def test_closures_of_the_site_its_area_and_its_business_close_it_and_others_do_not(world, django_assert_num_queries):
    scopes = [
        {"site": world.site},
        {"area": world.area},
        {"business": world.business},
        {"site": world.other_site},
        {"area": world.far_area},
    ]
    for number, scope in enumerate(scopes, start=1):
        day = TODAY + timedelta(days=number)
        actions.close_days(
            by=world.supervisor, data=ClosureData(first_day=day, last_day=day, why=f"outing {number}", **scope)
        )
    with django_assert_num_queries(3):  # hours, closures, what was changed of the sites
        calendar = calendars([world.site, world.far_site])[world.site.pk]
    told = [calendar.why_closed(TODAY + timedelta(days=n)) for n in range(1, 6)]
    assert told == ["outing 1", "outing 2", "outing 3", "", ""]


def test_public_holidays_close_a_site_that_says_so(world):
    world.site.country, world.site.subdivision, world.site.closed_on_holidays = "GB", "SCT", True
    good_friday = date(2026, 4, 3)  # https://www.gov.uk/bank-holidays
    assert calendars([world.site])[world.site.pk].why_closed(good_friday) == "Good Friday"
    world.site.closed_on_holidays = False
    assert calendars([world.site])[world.site.pk].is_open(good_friday)
