"""A failed check says what is in doubt, whether it is the probe or the ice, what to take instead; tries before it are shown."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from compliance.checks import unfinished
from compliance.checks.failed_page import others_in_the_ice
from compliance.checks.forms import FinishForm, parse_seconds
from compliance.checks.models import Check, CheckDraft
from tests.conftest import NOON
from tests.records.test_one_check import print_of as printed
from tests.world import make_probe, make_reading

from .hands import Hands
from .making import bad, good, zero

HOUR = timedelta(hours=1)


@pytest.fixture
def hands(as_person, cook, probe, clock):
    return Hands(as_person(cook), probe, clock, scripts=False)


def page(hands, check):
    return hands.client.get(reverse("check_detail", args=[check.pk])).content.decode()


def test_it_says_first_how_many_readings_are_in_doubt_since_when_and_where(hands, world, other_site):
    good(hands.probe, world.cook, NOON - timedelta(days=14))
    for days, site in ((3, None), (2, other_site), (1, None)):
        make_reading(hands.probe, world.limit, "4.0", NOON - timedelta(days=days), by=world.cook, site=site)
    make_reading(hands.probe, world.limit, "4.0", NOON - timedelta(days=20), by=world.cook)
    check = bad(hands.probe, world.cook, NOON - HOUR)
    shown = page(hands, check)
    assert '<p class="lead">In doubt: 3 readings since ' in shown and ", at 2 sites.</p>" in shown
    assert shown.index("In doubt: 3 readings") < shown.index("stop using this probe")
    assert "Withdraw or repair it" in shown and "See and hold the food" in shown
    assert "None here is OK to use now." in shown


def test_a_failure_with_nothing_read_since_says_so(hands, cook):
    good(hands.probe, cook, NOON - timedelta(days=14))
    assert "In doubt: no reading was taken with it since" in page(hands, bad(hands.probe, cook, NOON - HOUR))


def test_it_names_the_probes_that_may_be_used_instead(hands, world):
    fit, failed = (make_probe(world.site, code, by=world.manager) for code in ("FIT", "ILL"))
    good(fit, world.cook, NOON - HOUR)
    bad(failed, world.cook, NOON - HOUR)
    shown = page(hands, bad(hands.probe, world.cook, NOON - HOUR))
    assert f'OK to use here: <a href="{reverse("probe_detail", args=[fit.pk])}">FIT</a>' in shown and "ILL" not in shown


@pytest.mark.parametrize(
    ("others", "said"),
    [
        (["0.1", "0.0"], "Two others in this ice were right: it is the probe."),
        (["0.1"], "One other in this ice was right: it is the probe."),
        (["0.1", "2.4"], "One other in this ice was right, 1 more was wrong too."),
        (["2.4"], "All 2 in this ice were wrong: it may be the ice. Make it anew and check again."),
        ([], ""),
    ],
)
def test_others_in_the_same_ice_say_whether_it_is_the_probe(world, others, said):
    own = bad(world.probe, world.cook, NOON - HOUR, typing={"bath": "b1"})
    bad(make_probe(world.site, "ELSEWHERE", by=world.manager), world.cook, NOON - HOUR, typing={"bath": "b2"})
    for number, value in enumerate(others):
        probe = make_probe(world.site, f"Q{number}", by=world.manager)
        zero(probe, world.cook, NOON - HOUR, value, typing={"bath": "b1"})
    assert others_in_the_ice(own) == said


def test_how_much_salt_would_explain_it_stands_behind_a_fold(hands, cook):
    shown = page(hands, zero(hands.probe, cook, NOON - HOUR, "-2.4"))
    assert shown.count("It would take about") == 1
    fold = shown.index("How much salt in the ice would explain it")
    assert fold < shown.index("It would take about")


def test_a_series_that_was_given_up_is_kept_and_shown_and_printed_with_the_check_that_followed(hands, reader):
    hands.make_bath()
    hands.wait(40)
    hands.read("0.8")
    hands.wait(20)
    hands.read("0.9")
    hands.tap("take_back", elapsed=60_000)
    assert "What was typed is kept" in hands.look().content.decode()
    hands.client.post(reverse("zero_check_start", args=[hands.probe.pk]), {"again": str(hands.draft.key)})
    given_up = Check.objects.get()
    assert (given_up.verdict, given_up.typing["unfinished"]) == ("inconclusive", "given up")
    assert "showed" not in given_up.typing, "nothing was beyond the tolerance"
    hands.wait(60)
    hands.make_bath()
    hands.inside()
    hands.settle("0.1")
    hands.finish()
    check = Check.objects.latest("pk")
    line = "and given up: 0.9 °C (at 1:00), 0.8 °C (at 0:40)."
    assert check.verdict == "in_tolerance" and line in page(hands, check)
    assert line in printed(check, reader)
    hands.wait(60)
    hands.make_bath()
    hands.settle("0.1")
    hands.finish()
    assert "and given up" not in page(hands, Check.objects.latest("pk")), "it is told with the one that followed"


def test_a_check_given_up_before_its_first_number_leaves_nothing(hands, cook, probe):
    hands.make_bath()
    assert unfinished.give_up(by=cook, probe=probe, key=hands.draft.key) is None
    assert not Check.objects.exists() and not CheckDraft.objects.exists()


@pytest.mark.parametrize("typed", ["1e2", "1_0", "inf", "nan"])
def test_1e2_is_not_a_number(hands, typed):
    hands.make_bath()
    hands.read(typed)
    assert hands.draft.readings == [] and timezone.now()
    assert "immersion_mm" in FinishForm({"stage": "as_found", "immersion_mm": typed}).errors
    with pytest.raises(ValueError):
        parse_seconds(typed)
