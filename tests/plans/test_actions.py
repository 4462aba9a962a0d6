"""Setting plans, rounds, hours and closures: what is refused, what needs a reason, and what stays in the trail."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.core.exceptions import ValidationError

from compliance.plans import actions
from compliance.plans.data import ClosureData, PlanData, RoundData
from compliance.plans.models import CheckPlan, Closure, Opening, Round
from compliance.plans.queries import closures_reaching, plan_in_force, rounds_in_force
from shared.audit.models import Entry

TODAY = date(2026, 3, 11)  # where the clock of the tests stands still
WEEK = [(time(8), time(15))] * 5 + [None, None]


@pytest.fixture(autouse=True)
def _still(clock):
    pass


def set_plan(world, **given):
    return actions.set_plan(by=world.manager, data=PlanData(**{"probe": world.probe, "every_days": 3, **given}))


def test_a_plan_holds_from_today_on_and_the_trail_says_before_and_after(world):
    plan = set_plan(world)
    found, entry = plan_in_force(world.probe), Entry.objects.get(action="plan.set")
    assert (found.record, found.plan.days, plan.effective_from) == (plan, 3, TODAY)
    assert (entry.data["before"], entry.data["after"]) == ("every 7 days at 09:00", "every 3 days at 09:00")
    assert entry.site_id == world.site.pk and entry.data["scope"] == "its own plan"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"every_days": 0}, "greater than or equal to 1"),
        ({"every_days": 367}, "less than or equal to 366"),
        ({"pattern": "weekdays", "weekdays": 0}, "at least one weekday"),
        ({"pattern": "monthly"}, "not a valid choice"),
        ({"sensor": "thermistor"}, "no kind"),
        ({"effective_from": TODAY - timedelta(days=1)}, "Days that are over"),
        ({"every_days": 8}, "less often than before"),
        ({"pattern": "weekdays", "weekdays": 128}, "less than or equal to 127"),
        ({"in_force": False}, "Nothing is set here"),
        ({"minutes_before": 721}, "less than or equal to 720"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_whole(world, given, words):
    with pytest.raises(ValidationError, match=words):
        set_plan(world, **given)
    assert not CheckPlan.objects.exists()


def test_exactly_one_scope_is_named(world):
    for scope in ({"probe": None}, {"site": world.site}):
        with pytest.raises(ValidationError, match="Name one of"):
            set_plan(world, **scope)


def test_a_figure_that_a_plan_does_not_have(world):
    with pytest.raises(TypeError, match="colour"):
        set_plan(world, colour="red")


def test_less_often_goes_with_a_reason_and_more_often_without(world):
    set_plan(world, every_days=30, reason="Hardly used.")
    set_plan(world, every_days=5)
    assert plan_in_force(world.probe).plan.days == 5


def test_what_changes_nothing_is_refused(world):
    set_plan(world)
    with pytest.raises(ValidationError, match="Nothing is different"):
        set_plan(world)
    set_plan(world, grace_minutes=0)


def test_no_plan_begins_before_it_is_set_not_even_the_first_with_a_reason(world):
    with pytest.raises(ValidationError, match="Days that are over"):
        set_plan(world, effective_from=TODAY - timedelta(days=1), reason="As it came into the book.")


def test_taking_a_plan_off_gives_the_wider_one_its_place_and_needs_a_reason_where_that_is_rarer(world):
    set_plan(world)
    with pytest.raises(ValidationError, match="less often"):
        set_plan(world, in_force=False)
    set_plan(world, in_force=False, reason="As the others.")
    assert plan_in_force(world.probe).source == "the plan that every business starts with"


def test_rounds_of_a_limit(world):
    each = actions.set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(14), time(8), time(8)]))
    assert each.times == ["08:00", "14:00"]
    assert rounds_in_force([world.limit], TODAY) == {world.limit.pk: each}
    with pytest.raises(ValidationError, match="Nothing is different"):
        actions.set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(14)]))
    with pytest.raises(ValidationError, match="Say why"):
        actions.set_round(by=world.manager, limit=world.limit, data=RoundData(in_force=False))
    actions.set_round(by=world.manager, limit=world.limit, data=RoundData(in_force=False, reason="No cold food."))
    assert rounds_in_force([world.limit], TODAY) == {}


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "Give times of day"),
        ({"every_minutes": 120}, "Say first when Alder School opens"),
        ({"every_minutes": 5}, "greater than or equal to 15"),
        ({"times": [time(8)], "weekdays": 0}, "greater than or equal to 1"),
        ({"times": [time(8)], "effective_from": TODAY - timedelta(days=1)}, "Days that are over"),
        ({"in_force": False, "reason": "Agreed."}, "no rounds"),
    ],
)
def test_rounds_that_cannot_be(world, given, words):
    with pytest.raises(ValidationError, match=words):
        actions.set_round(by=world.manager, limit=world.limit, data=RoundData(**given))
    assert not Round.objects.exists()


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"hours": WEEK[:6]}, "at least one weekday"),
        ({"hours": [None] * 7}, "at least one weekday"),
        ({"hours": WEEK, "effective_from": TODAY - timedelta(days=1)}, "Days that are over"),
    ],
)
def test_hours_that_cannot_be(world, given, words):
    with pytest.raises(ValidationError, match=words):
        actions.set_opening(by=world.manager, site=world.site, **given)
    assert not Opening.objects.exists()


def close(world, **given):
    days = {"first_day": TODAY, "last_day": TODAY + timedelta(days=9), "why": "school holidays"}
    return actions.close_days(by=world.manager, data=ClosureData(**{"site": world.site, **days, **given}))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"why": " "}, "Say why it is closed"),
        ({"last_day": TODAY - timedelta(days=1)}, "before the first"),
        ({"first_day": TODAY - timedelta(days=1)}, "Days that are over"),
        ({"last_day": TODAY + timedelta(days=400)}, "more than a year"),
    ],
)
def test_closures_that_cannot_be(world, given, words):
    with pytest.raises(ValidationError, match=words):
        close(world, **given)
    assert not Closure.objects.exists()


def test_a_closure_is_struck_out_once_with_a_reason_and_not_when_it_is_over(world, clock):
    closure = close(world, first_day=TODAY + timedelta(days=1))
    with pytest.raises(ValidationError, match="Say why"):
        actions.void_closure(by=world.manager, closure=closure, reason="")
    actions.void_closure(by=world.manager, closure=closure, reason="Later.")
    with pytest.raises(ValidationError, match="already"):
        actions.void_closure(by=world.manager, closure=closure, reason="Later.")
    past = close(world)
    clock.move_to(datetime.combine(past.last_day + timedelta(days=1), time(12), UTC))
    with pytest.raises(ValidationError, match="Days that are over"):
        actions.void_closure(by=world.manager, closure=past, reason="Later.")


def ended(world, closure, **given):
    void = actions.void_closure(by=world.manager, closure=closure, reason="Back early.", **given)
    still = closures_reaching([world.site])
    return void, [(each.first_day, each.last_day, each.why) for each in still]


def test_of_a_closure_that_has_begun_the_days_that_are_over_stay(world, clock):
    closure = close(world, last_day=TODAY + timedelta(days=9))
    clock.shift(timedelta(days=3))
    void, still = ended(world, closure)
    assert still == [(closure.first_day, TODAY + timedelta(days=2), closure.why)]
    assert void.replacement.last_day == TODAY + timedelta(days=2)


def test_of_one_that_began_today_nothing_stays(world):
    void, still = ended(world, close(world, last_day=TODAY + timedelta(days=9)))
    assert still == [] and void.replacement is None


def test_a_closure_is_shortened(world, clock):
    closure = close(world, last_day=TODAY + timedelta(days=9))
    clock.shift(timedelta(days=3))
    for day, words in ((closure.last_day, "no later"), (TODAY + timedelta(days=1), "Days that are over")):
        with pytest.raises(ValidationError, match=words):
            ended(world, closure, last_day=day)
    _, still = ended(world, closure, last_day=TODAY + timedelta(days=5))
    assert [last for _, last, _ in still] == [TODAY + timedelta(days=5)]
