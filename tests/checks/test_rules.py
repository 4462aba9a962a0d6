"""The rule of the business in its checks: the verdict, what is kept of it, and when the next check falls due."""

from datetime import timedelta

import pytest
from django.urls import reverse

from compliance.checks.completion_messages import bath_finished, one_finished
from compliance.metrology.verification import NEAR_EDGE
from compliance.plans.schedule import STARTING
from compliance.records.check_record import verdict_in_words
from sites.actions import amend_business
from tests.checks import making

EDGE = "1.0"  # with a tolerance of ±1.0 °C
SOON = "check it again soon."


def rule(world, name):
    amend_business(
        by=world.supervisor,
        business=world.business,
        changes={"decision_rule": name},
        reason="As agreed from the start.",
        corrects=name != "non_binary",
    )
    world.probe.refresh_from_db()


@pytest.mark.parametrize(
    ("name", "verdict", "conditional"),
    [("non_binary", "in_tolerance", True), ("guarded", "out_of_tolerance", False), ("simple", "in_tolerance", False)],
)
def test_a_check_is_judged_by_the_rule_of_its_business(world, name, verdict, conditional):
    rule(world, name)
    check = making.zero(world.probe, world.manager, making.day(0), EDGE)
    assert (check.decision_rule, check.verdict) == (name, verdict)
    assert check.budget["conformity"]["conditional"] is conditional
    assert check.budget["conformity"]["zone"] == "conditional_pass"


def test_a_certificate_is_judged_by_it_too(world):
    rule(world, "guarded")
    check = making.certificate(world.probe, world.manager, making.day(0), error_milli=970, expanded_milli=50)
    assert (check.decision_rule, check.verdict) == ("guarded", "out_of_tolerance")
    assert check.budget["conformity"]["risk"] == pytest.approx(0.885, abs=0.001)


def test_checks_of_another_business_keep_their_own_rule(world):
    rule(world, "guarded")
    assert world.foreign_site.area.business.decision_rule == "non_binary"


def test_checks_recorded_already_keep_their_rule_and_verdict(world):
    check = making.zero(world.probe, world.manager, making.day(0), EDGE)
    rule(world, "guarded")
    making.good(world.probe, world.manager, making.day(1))
    check.refresh_from_db()
    assert (check.decision_rule, check.verdict) == ("non_binary", "in_tolerance")


def due(world):
    return world.probe.state.due_at, world.probe.state.due_because


def test_a_probe_near_its_edge_is_checked_again_after_a_quarter_of_the_time(world):
    every = STARTING.days
    making.zero(world.probe, world.manager, making.day(0), EDGE)
    world.probe.refresh_from_db()
    soon = making.day(0) + max(timedelta(days=1), timedelta(days=every // 4))
    assert every > 1 and due(world) == (soon, "near the edge at its last check")
    making.good(world.probe, world.manager, making.day(1))
    world.probe.refresh_from_db()
    assert due(world)[0] == making.day(1 + every)


def test_a_probe_in_the_middle_of_its_tolerance_has_its_whole_interval(world):
    making.good(world.probe, world.manager, making.day(0))
    world.probe.refresh_from_db()
    assert due(world)[0] == making.day(STARTING.days)


def test_a_bath_that_is_none_gives_no_condition_and_no_risk(world):
    check = making.zero(world.probe, world.manager, making.day(0), EDGE, bath=making.NO_BATH)
    assert check.verdict == "inconclusive"
    assert (check.budget["conformity"]["conditional"], check.budget["conformity"]["risk"]) == (False, 0)


def test_the_page_says_how_sure_the_verdict_is_and_to_check_again_soon(world, as_person):
    check = making.zero(world.probe, world.manager, making.day(0), EDGE)
    page = as_person(world.manager).get(reverse("check_detail", args=[check.pk]))
    facts = dict(page.context["facts"])
    assert facts["Chance that this verdict is wrong"].endswith("1 in 2, if the bath was made as ticked")
    assert page.context["headline"] == NEAR_EDGE and "may be used" not in page.content.decode()
    assert page.context["next"]["heading"] == "Check it again soon"
    sure = making.good(world.probe, world.manager, making.day(1))
    page = as_person(world.manager).get(reverse("check_detail", args=[sure.pk]))
    assert "less than 1 in 10" in dict(page.context["facts"])["Chance that this verdict is wrong"]
    assert "check it again soon" not in page.content.decode()


def test_near_the_edge_paper_messages_and_every_kind_say_so_first(world):
    edge = making.zero(world.probe, world.manager, making.day(0), EDGE)
    at_boiling = making.boiling(world.probe, world.manager, making.day(1), "99.2")
    stated = making.certificate(world.probe, world.manager, making.day(2), error_milli=990)
    for check in (edge, at_boiling, stated):
        said = verdict_in_words(check)
        assert said.startswith("In tolerance") and said.endswith(
            "near the edge that it may be out of tolerance: " + SOON
        )
    assert one_finished(edge)[1] == f"{world.probe.code}: in tolerance, but near the edge, check it again soon."
    assert "check it again soon" in bath_finished([edge])[1] and "all in tolerance" not in bath_finished([edge])[1]


def test_an_old_check_near_the_edge_was_so_on_its_day(world, as_person):
    check = making.zero(world.probe, world.manager, making.day(0), EDGE)
    making.good(world.probe, world.manager, making.day(1))
    page = as_person(world.manager).get(reverse("check_detail", args=[check.pk]))
    assert page.context["headline"] == "In tolerance when it was checked, but near the edge."


def test_the_page_of_a_check_that_says_nothing_gives_no_chance(world, as_person):
    check = making.unclear(world.probe, world.manager, making.day(0))
    page = as_person(world.manager).get(reverse("check_detail", args=[check.pk]))
    assert "Chance that this verdict is wrong" not in dict(page.context["facts"])


def test_a_probe_that_fails_low_is_told_what_would_explain_it(world, as_person):
    check = making.zero(world.probe, world.manager, making.day(0), "-2.4")
    page = as_person(world.manager).get(reverse("check_detail", args=[check.pk])).content.decode()
    assert "of salt" in page and "more than sea water holds" in page
