"""Adopting, setting, changing and retiring limits: stricter is free, looser needs a reason, nothing is overwritten."""

import io
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from compliance.limits import actions
from compliance.limits.comparing import lets_more_pass, looser_than
from compliance.limits.data import OwnFigures, OwnLimit
from compliance.limits.models import Direction, LimitVersion, Rule
from compliance.limits.queries import version_in_force
from compliance.readings.limit_evaluation import breach, reached_late
from shared.audit.models import Entry
from shared.units import Unit


@pytest.fixture
def rules(db):
    call_command("load_rules", verbosity=0, stdout=io.StringIO())
    return {rule.code: rule for rule in Rule.objects.filter(rule_set__code="us-food-code-2022")}


@pytest.fixture
def adopted(world, rules):
    return actions.adopt(by=world.manager, site=world.site, rule=rules["cook-minced"], effective_from=long_ago())


def long_ago():
    return timezone.now() - timedelta(days=300)


def held(limit):
    return version_in_force(limit, timezone.now())


def test_a_rule_adopted_as_it_stands_carries_its_source_and_edition(adopted):
    version = held(adopted)
    assert (version.value, version.unit, version.value_milli, version.hold_s) == (155, Unit.FAHRENHEIT, 68_333, 17)
    assert (version.source, version.edition) == ("US Food Code 2022, 3-401.11(A)(2)", "2022")
    assert version.usual_action == adopted.rule.usual_action


def test_a_rule_is_adopted_once_a_site(world, rules, adopted):
    with pytest.raises(ValidationError, match="already"):
        actions.adopt(by=world.manager, site=world.site, rule=adopted.rule, effective_from=long_ago())
    actions.adopt(by=world.supervisor, site=world.other_site, rule=adopted.rule, effective_from=long_ago())


def test_a_rule_whose_code_is_taken_gets_another(world, rules):
    limit = actions.adopt(by=world.manager, site=world.site, rule=rules["cold-holding"], effective_from=long_ago())
    assert limit.code == "cold-holding-2"


def test_stricter_figures_need_no_reason(world, rules):
    limit = actions.adopt(
        by=world.manager,
        site=world.site,
        rule=rules["frozen-storage"],
        effective_from=long_ago(),
        own=OwnFigures(value=Decimal("-4")),
    )
    assert held(limit).value_milli == -20_000
    stricter = actions.change(by=world.manager, limit=limit, effective_from=timezone.now(), value=Decimal("-5"))
    assert held(limit) == stricter


@pytest.mark.parametrize(
    "looser", [{"value": Decimal("154.99")}, {"hold_s": 16}, {"hold_s": None}, {"value": Decimal("165"), "hold_s": 5}]
)
def test_looser_figures_need_a_reason_that_stays_in_the_record(world, adopted, looser):
    now = timezone.now()
    with pytest.raises(ValidationError, match="looser than its rule"):
        actions.change(by=world.manager, limit=adopted, effective_from=now, **looser)
    assert LimitVersion.objects.filter(limit=adopted).count() == 1
    actions.change(by=world.manager, limit=adopted, effective_from=now, reason="The inspector agreed.", **looser)
    assert held(adopted).reason == "The inspector agreed."
    assert Entry.objects.get(action="limit.change").reason == "The inspector agreed."


def test_taking_more_time_than_the_rule_allows_is_looser(world, rules):
    limit = actions.adopt(
        by=world.manager, site=world.site, rule=rules["cooling-first-step"], effective_from=long_ago()
    )
    for within_s in (7201, None):
        with pytest.raises(ValidationError, match="reached within"):
            actions.change(by=world.manager, limit=limit, effective_from=timezone.now(), within_s=within_s)
    actions.change(by=world.manager, limit=limit, effective_from=timezone.now(), within_s=5400)
    assert held(limit).within_s == 5400


@given(hundredths=st.integers(-5000, 30000), rule_hundredths=st.integers(-5000, 30000), at_most=st.booleans())
def test_the_comparison_is_exact_to_the_last_digit_typed(hundredths, rule_hundredths, at_most):
    rule = Rule(direction=Direction.AT_MOST if at_most else Direction.AT_LEAST, unit=Unit.FAHRENHEIT)
    rule.value = Decimal(rule_hundredths) / 100
    ways = looser_than(rule, value=Decimal(hundredths) / 100, hold_s=None, within_s=None)
    assert bool(ways) == (hundredths > rule_hundredths if at_most else hundredths < rule_hundredths)


def test_a_limit_that_was_loosened_may_stay_so_only_with_its_reason_told_again(world, adopted):
    actions.change(by=world.manager, limit=adopted, effective_from=timezone.now(), reason="Agreed.", hold_s=10)
    with pytest.raises(ValidationError, match="looser"):
        actions.change(by=world.manager, limit=adopted, effective_from=timezone.now(), usual_action="Cook on.")


def test_what_is_not_named_stays(world, adopted):
    actions.change(by=world.manager, limit=adopted, effective_from=timezone.now(), value=Decimal("158"))
    assert (held(adopted).value, held(adopted).hold_s) == (158, 17)


def test_a_version_that_changes_nothing_is_refused(world, adopted):
    with pytest.raises(ValidationError, match="Nothing is different"):
        actions.change(by=world.manager, limit=adopted, effective_from=timezone.now(), value=Decimal("155.00"))


def test_what_its_rule_fixes_cannot_be_changed(world, adopted):
    for fixed in ({"direction": Direction.AT_MOST}, {"unit": Unit.CELSIUS}, {"source": "ours"}):
        with pytest.raises(TypeError, match=next(iter(fixed))):
            actions.change(by=world.manager, limit=adopted, effective_from=timezone.now(), reason="x", **fixed)


def test_a_change_in_the_past_needs_a_reason(world, adopted):
    then = timezone.now() - timedelta(days=3)
    with pytest.raises(ValidationError, match="begins in the past"):
        actions.change(by=world.manager, limit=adopted, effective_from=then, value=Decimal("160"))
    actions.change(
        by=world.manager, limit=adopted, effective_from=then, value=Decimal("160"), reason="Found in the plan."
    )
    assert version_in_force(adopted, then - timedelta(seconds=1)).value == 155
    assert held(adopted).value == 160


@pytest.mark.parametrize(
    "looser",
    [
        {"value": Decimal("154.99")},
        {"hold_s": 16},
        {"hold_s": None},
        {"value": Decimal("160"), "hold_s": 5},
        {"within_s": 60},
    ],
)
def test_nothing_is_loosened_or_retired_for_days_that_are_over(world, adopted, looser):
    then, told = timezone.now() - timedelta(days=3), {"by": world.manager, "limit": adopted, "reason": "Agreed."}
    for act, changes in ((actions.change, looser), (actions.retire, {})):
        with pytest.raises(ValidationError, match="from now on"):
            act(effective_from=then, **told, **changes)
    assert LimitVersion.objects.filter(limit=adopted).count() == 1
    actions.change(effective_from=timezone.now() - timedelta(minutes=4), **told, **looser)


versions = st.builds(
    LimitVersion,
    direction=st.sampled_from(Direction.values),
    value_milli=st.integers(-1, 1).map(lambda n: n * 1000),
    value=st.just(Decimal(5)),
    unit=st.just("C"),
    hold_s=st.none() | st.integers(1, 2),
    within_s=st.none() | st.integers(1, 2),
    in_force=st.sampled_from([True, True, False]),
)
readings = st.tuples(
    st.integers(-2, 2).map(lambda n: n * 1000), st.none() | st.integers(0, 3), st.none() | st.integers(0, 3)
)


def is_out(version, reading) -> bool:
    milli, held, since = reading
    return version.in_force and bool(breach(version, milli, held, since) or reached_late(version, milli, since))


@given(before=versions, after=versions, reading=readings)
def test_a_reading_that_was_out_is_never_let_in_by_what_is_not_looser(before, after, reading):
    if is_out(before, reading) and not is_out(after, reading):
        assert lets_more_pass(before, after)


@given(version=versions)
def test_the_same_figures_are_not_looser(version):
    assert not lets_more_pass(version, version)


def test_a_change_to_come_leaves_today_as_it_is(world, adopted):
    soon = timezone.now() + timedelta(days=3)
    actions.change(by=world.manager, limit=adopted, effective_from=soon, value=Decimal("160"))
    assert held(adopted).value == 155 and version_in_force(adopted, soon).value == 160


def test_retiring_needs_a_reason_and_change_brings_it_back(world, adopted):
    now = timezone.now()
    with pytest.raises(ValidationError, match="Say why"):
        actions.retire(by=world.manager, limit=adopted, effective_from=now, reason=" ")
    actions.retire(by=world.manager, limit=adopted, effective_from=now, reason="No minced meat any more.")
    assert held(adopted) is None
    with pytest.raises(ValidationError, match="anyway"):
        actions.retire(by=world.manager, limit=adopted, effective_from=timezone.now(), reason="Again.")
    actions.change(by=world.manager, limit=adopted, effective_from=timezone.now())
    assert held(adopted).value == 155


def test_a_target_must_lie_inside_the_limit(world, rules):
    given = {"by": world.manager, "site": world.site, "rule": rules["hot-holding"], "effective_from": long_ago()}
    with pytest.raises(ValidationError, match="higher"):
        actions.adopt(**given, own=OwnFigures(target_milli=55_000))
    assert held(actions.adopt(**given, own=OwnFigures(target_milli=60_000))).target_milli == 60_000


def own(world, **given):
    fields = {
        "code": "",
        "step": "Cold holding",
        "title": "Salad bar",
        "hazard": "Growth of bacteria",
        "direction": Direction.AT_MOST,
        "value": Decimal("6.5"),
        "unit": Unit.CELSIUS,
        "usual_action": "Fill with chilled food.",
        **given,
    }
    about = {name: fields.pop(name) for name in ("by", "site", "effective_from", "reason") if name in fields}
    about = {"by": world.manager, "site": world.site, "effective_from": long_ago(), **about}
    return actions.add(own=OwnLimit(**fields), **about)


def test_a_limit_of_ones_own_gets_a_code_from_its_title(world):
    assert own(world).code == "salad-bar" and own(world, step="Display").code == "salad-bar-2"


def test_a_code_that_is_taken_is_refused(world):
    with pytest.raises(ValidationError, match="already"):
        own(world, code="cold-holding")


@pytest.mark.parametrize("value", ["6.555", "123456"])
def test_a_figure_that_cannot_be_kept_exactly_is_refused_whole(world, value):
    before = world.site.limits.count()
    with pytest.raises(ValidationError):
        own(world, value=Decimal(value))
    assert world.site.limits.count() == before


def test_several_rules_are_adopted_together_or_not_at_all(world, rules):
    wanted = [rules["hot-holding"], rules["reheat"]]
    limits = actions.adopt_rules(by=world.manager, site=world.site, rules=wanted, effective_from=long_ago())
    assert len(limits) == 2
    before = world.site.limits.count()
    with pytest.raises(ValidationError):
        actions.adopt_rules(
            by=world.manager, site=world.site, rules=[rules["cook-whole"], rules["reheat"]], effective_from=long_ago()
        )
    assert world.site.limits.count() == before
