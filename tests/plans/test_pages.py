"""The pages: what is in force and where it comes from, and who may change what."""

from datetime import date, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.checks.models import ProbeState
from compliance.plans import actions
from compliance.plans.data import ClosureData, PlanData, RoundData
from compliance.plans.models import CheckPlan, Closure, Opening
from compliance.plans.queries import plan_in_force, rounds_in_force
from compliance.reminders import planning
from sites.models import Membership, Role
from tests.checks import making
from tests.plans.making import days_of
from tests.world import make_limit, make_probe

TODAY = date(2026, 3, 11)
WEEK = [(time(8), time(15))] * 5 + [None, None]
PLAN = {
    "pattern": "every_days",
    "every_days": "3",
    "at": "06:30",
    "minutes_before": "30",
    "grace_minutes": "60",
    "effective_from": "2026-03-11",
    "reason": "",
}
pytestmark = pytest.mark.usefixtures("clock")


def plans_of(world):
    return reverse("plan_list", args=[world.site.pk])


def text(answer):
    return answer.content.decode()


def test_the_page_says_what_is_in_force_and_by_which_scope(world, as_person):
    actions.set_plan(by=world.manager, data=PlanData(site=world.site, every_days=5))
    actions.set_opening(by=world.manager, site=world.site, hours=WEEK)
    actions.set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8)]))
    page = text(as_person(world.reader).get(plans_of(world)))
    for words in (
        "every 5 days at 09:00, overdue 2 h later",
        "the plan of Alder School",
        "at 08:00",
        "08:00 to 15:00",
        "the plan that every business starts with",
        "Open today.",
    ):
        assert words in page
    assert "Change" not in page.split("<main")[1], "a reader changes nothing"


def test_the_page_says_why_the_site_is_closed_and_which_holidays_come(world, as_person):
    planning.add_closure(
        by=world.manager, data=ClosureData(site=world.site, first_day=TODAY, last_day=TODAY, why="boiler repair")
    )
    planning.change_site(
        by=world.supervisor,
        site=world.site,
        changes={"country": "GB", "subdivision": "ENG", "closed_on_holidays": True},
    )
    page = text(as_person(world.manager).get(plans_of(world)))
    assert "Not open today (boiler repair). Next open on 12 Mar 2026." in page
    assert "Good Friday" in page and "3 Apr 2026" in page


def test_probes_under_one_plan_share_a_line_and_so_do_limits_without_rounds_and_days_of_the_same_hours(
    world, as_person
):
    for code in ("Q1", "Q2"):
        make_probe(world.site, code, by=world.manager)
    own = make_probe(world.site, "Z9", by=world.manager)
    actions.set_plan(by=world.manager, data=PlanData(probe=own, every_days=2))
    actions.set_opening(by=world.manager, site=world.site, hours=WEEK)
    for code in ("soup", "rice"):
        make_limit(world.site, by=world.manager, code=code)
    answer = as_person(world.manager).get(plans_of(world))
    names = [row.get_cell("name") for row in answer.context["probes"].rows]
    assert [[code in name for code in ("P1", "Q1", "Q2", "Z9")] for name in names] == [
        [False, False, False, True],
        [True, True, True, False],
    ]
    assert all(reverse("plan_probe", args=[probe.pk]) in "".join(names) for probe in (world.probe, own))
    assert len(answer.context["rounds"].rows) == 1
    assert answer.context["hours"] == [("Monday to Friday", "08:00 to 15:00"), ("Saturday to Sunday", "closed")]


def test_the_queries_do_not_grow_with_probes_and_limits(world, as_person):
    client = as_person(world.manager)

    def count():
        with CaptureQueriesContext(connection) as captured:
            client.get(plans_of(world))
        return len(captured)

    actions.set_plan(by=world.manager, data=PlanData(probe=world.probe, every_days=2))
    actions.close_days(
        by=world.manager, data=ClosureData(site=world.site, first_day=TODAY, last_day=TODAY, why="outing")
    )
    count()  # signs in
    before = count()
    for n in range(8):
        probe = make_probe(world.site, f"Q{n}", by=world.manager)
        actions.set_plan(by=world.manager, data=PlanData(probe=probe, every_days=2))
        actions.set_round(
            by=world.manager,
            limit=make_limit(world.site, by=world.manager, code=f"l{n}"),
            data=RoundData(times=[time(8)]),
        )
        actions.close_days(
            by=world.manager,
            data=ClosureData(site=world.site, first_day=TODAY, last_day=TODAY + timedelta(days=1 + n), why="outing"),
        )
    assert count() == before


def test_a_manager_changes_the_plan_of_a_probe_and_what_is_due_follows(world, as_person):
    making.good(world.probe, world.cook, making.day(65))
    client, url = as_person(world.manager), reverse("plan_probe", args=[world.probe.pk])
    assert "the plan that every business starts with" in text(client.get(url))
    answer = client.post(url, PLAN)
    assert answer.url == plans_of(world)
    found = plan_in_force(world.probe).plan
    assert (found.every_days, found.at, found.grace_minutes) == (3, time(6, 30), 60)
    assert ProbeState.objects.get(probe=world.probe).due_because == "every 3 days"


def test_weekdays_before_service(world, as_person):
    given = {**PLAN, "pattern": "weekdays", "weekdays": ["0", "4"], "before_service": "on", "minutes_before": "45"}
    as_person(world.manager).post(reverse("plan_site", args=[world.site.pk]), given)
    found = plan_in_force(world.probe)
    assert (found.plan.usual, found.plan.minutes_before) == ("on Mondays and Fridays", 45)
    assert found.source == "the plan of Alder School"


def test_the_plan_of_a_kind(world, as_person):
    client, url = as_person(world.manager), reverse("plan_site", args=[world.site.pk])
    client.post(f"{url}?kind={world.probe.sensor}", PLAN)
    assert CheckPlan.objects.get().sensor == world.probe.sensor
    assert client.get(f"{url}?kind=guess").status_code == 404


def test_what_is_refused_stands_beside_its_field_and_nothing_typed_is_lost(world, as_person):
    client, url = as_person(world.manager), reverse("plan_probe", args=[world.probe.pk])
    page = client.post(url, {**PLAN, "every_days": "30"})
    assert page.status_code == 422 and "less often than before" in text(page) and 'value="30"' in text(page)
    assert "at least one weekday" in text(client.post(url, {**PLAN, "pattern": "weekdays"}))
    assert "every_days" in client.post(url, {**PLAN, "every_days": ""}).context["form"].errors
    assert not CheckPlan.objects.exists()


def test_a_plan_is_taken_off(world, as_person):
    client, url = as_person(world.manager), reverse("plan_probe", args=[world.probe.pk])
    assert "drop" not in client.get(url).context["form"].fields
    client.post(url, PLAN)
    assert "every 7 days at 09:00" in client.get(url).context["form"].fields["drop"].help_text
    client.post(url, {**PLAN, "drop": "on", "reason": "As the others."})
    assert days_of(world.probe) == 7


def test_the_page_of_a_site_that_plans_itself_knows_the_plan_of_its_business(world, as_person):
    actions.set_plan(by=world.supervisor, data=PlanData(business=world.business, every_days=3))
    client, url = as_person(world.manager), reverse("plan_site", args=[world.site.pk])
    assert "every 3 days at 09:00" in client.get(url).context["lead"]
    client.post(url, {**PLAN, "every_days": "2"})
    assert "every 3 days at 09:00" in client.get(url).context["form"].fields["drop"].help_text


def test_only_who_supervises_every_area_plans_for_the_business(world, as_person):
    url = reverse("plan_business")
    assert as_person(world.supervisor).post(url, PLAN).status_code == 403
    Membership.objects.create(person=world.supervisor, role=Role.SUPERVISOR, area=world.far_area)
    assert as_person(world.supervisor).post(url, PLAN).status_code == 302
    assert CheckPlan.objects.get().business == world.business


@pytest.mark.parametrize("name", ["plan_site", "opening_change", "closure_add"])
def test_who_may_change_plans_and_days(world, as_person, name):
    url = reverse(name, args=[world.site.pk])
    people = (world.supervisor, world.manager, world.cook, world.reader, world.stranger)
    assert [as_person(person).get(url).status_code for person in people] == [200, 200, 403, 403, 404]


def hours(**given):
    told = {f"{word}_{n}": at for n in range(5) for word, at in (("opens", "08:00"), ("closes", "15:00"))}
    return {**told, "effective_from": "2026-03-11", **given}


def test_hours_are_set_in_pairs(world, as_person):
    client, url = as_person(world.manager), reverse("opening_change", args=[world.site.pk])
    wrong = client.post(url, hours(closes_0=""))
    assert wrong.status_code == 422 and "Give both times" in text(wrong)
    client.post(url, hours(opens_5="20:00", closes_5="01:30"))
    assert Opening.objects.get().hours == [["08:00", "15:00"]] * 5 + [["20:00", "01:30"], None]
    assert "20:00 to 01:30, after midnight" in text(client.get(plans_of(world)))


def closure(**given):
    return {"scope": "site", "first_day": "2026-03-16", "last_day": "2026-03-20", "why": "half-term", **given}


def test_a_closure_is_entered_and_struck_out(world, as_person):
    client = as_person(world.manager)
    client.post(reverse("closure_add", args=[world.site.pk]), closure())
    assert "half-term" in text(client.get(plans_of(world)))
    url = reverse("closure_void", args=[Closure.objects.get().pk])
    client.post(url, {"reason": "A week later."})
    assert "half-term" not in text(client.get(plans_of(world)))


def test_who_closes_what(world, as_person):
    url = reverse("closure_add", args=[world.site.pk])
    refused = as_person(world.manager).post(url, closure(scope="area"))
    assert refused.status_code == 422 and not Closure.objects.exists()
    as_person(world.supervisor).post(url, closure(scope="area"))
    assert Closure.objects.get().area == world.area
    void = reverse("closure_void", args=[Closure.objects.get().pk])
    assert [as_person(p).get(void).status_code for p in (world.supervisor, world.manager, world.rival)] == [
        200,
        404,
        404,
    ]


def test_rounds_are_set_on_a_page(world, as_person):
    client, url = as_person(world.manager), reverse("round_change", args=[world.limit.pk])
    given = {
        "times": "8:00; 12:30",
        "weekdays": [str(n) for n in range(5)],
        "grace_minutes": "30",
        "effective_from": "2026-03-11",
    }
    for wrong in ("noon", "08:00, 09:00+01", "08:00:30", "24:00"):
        assert "as on a clock" in text(client.post(url, {**given, "times": wrong}))
    assert client.post(url, given).url == plans_of(world)
    assert rounds_in_force([world.limit], TODAY)[world.limit.pk].times == ["08:00", "12:30"]
    client.post(url, {**given, "drop": "on", "reason": "No cold food."})
    assert not rounds_in_force([world.limit], TODAY + timedelta(days=1))


def test_the_page_of_a_probe_says_its_plan_and_leads_to_it(world, as_person):
    page = text(as_person(world.manager).get(reverse("probe_detail", args=[world.probe.pk])))
    assert "every 7 days at 09:00 (the plan that every business starts with)" in page
    assert reverse("plan_probe", args=[world.probe.pk]) in page


@pytest.mark.parametrize(
    ("given", "field"),
    [({"country": "GB", "subdivision": "QQ"}, "subdivision"), ({"closed_on_holidays": "on"}, "country")],
)
def test_a_country_whose_holidays_are_not_known_is_refused(world, as_person, given, field):
    url = reverse("site_edit", args=[world.site.pk])
    known = as_person(world.supervisor).get(url).context["form"].initial
    data = {name: value for name, value in known.items() if value not in (None, False)} | given
    page = as_person(world.supervisor).post(url, data)
    assert field in page.context["form"].errors
