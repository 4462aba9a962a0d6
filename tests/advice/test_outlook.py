"""What the figures say of a probe, in the words that people read."""

from datetime import timedelta

import pytest
from django.utils import timezone

from compliance.advice import wording
from compliance.advice.queries import outlooks_of
from compliance.probes.models import EventKind, Probe
from sites.models import Site
from tests.advice.making import history, read_daily, rising, steady
from tests.checks import making
from tests.world import make_probe


def outlook(probe):
    probe = Probe.objects.select_related("business", "site").get(pk=probe.pk)
    return outlooks_of([probe], timezone.now())[0]


def told(probe) -> str:
    return " ".join(wording.meaning(outlook(probe)))


def test_a_drift_is_told_in_a_month_with_the_dates_that_follow(world):
    history(world.probe, world.cook, rising(20, step=25, start=0), expanded=80)
    found = outlook(world.probe)
    assert found.state in ("drifting", "moving")
    text = told(world.probe)
    assert "It drifts up by about 0.1 °C a month." in text  # 25 mK a week are 0.11 °C a month
    assert "At that pace it leaves ±1.0 °C in about" in text
    assert "the earliest likely date is" in text
    assert timezone.now() < found.surely_until < found.leaves


def test_a_drift_downwards_is_told_as_one(world):
    history(world.probe, world.cook, [-milli for milli in rising(20)], expanded=80)
    assert "It drifts down by about 0.1 °C a month." in told(world.probe)


def test_degrees_fahrenheit_at_a_site_that_shows_them(world):
    Site.objects.filter(pk=world.site.pk).update(unit="F")
    history(world.probe, world.cook, rising(20, step=25), expanded=80)
    text = told(world.probe)
    assert "It drifts up by about 0.2 °F a month." in text  # 0.11 °C
    assert "°C" not in text
    assert not [value for _, value in wording.figures(outlook(world.probe)) if "°C" in value]


def test_a_probe_that_stands_is_said_to(world):
    history(world.probe, world.cook, steady(20), expanded=80)
    found = outlook(world.probe)
    assert found.state == "steady"
    assert not found.drifts
    assert "It holds steady" in told(world.probe)
    assert "Nothing in its checks suggests that it leaves ±1.0 °C" in told(world.probe)
    assert wording.notices(found) == []


@pytest.mark.parametrize(
    "count, words", [(0, "There is no check yet"), (1, "There is 1 check so far"), (2, "There are 2")]
)
def test_few_checks_are_owned_up_to(world, count, words):
    history(world.probe, world.cook, rising(20)[:count])
    found = outlook(world.probe)
    assert found.state == "unknown"
    assert found.trend is found.leaves is found.warned is None
    text = told(world.probe)
    assert words in text
    assert "a trend needs at least three" in text
    assert "month" not in text
    assert not found.acceptable
    assert "No advice yet" in wording.advice(found)


def test_a_failed_probe_is_put_right_before_anything_is_advised(world):
    history(world.probe, world.cook, [*steady(12), 1700])
    found = outlook(world.probe)
    assert found.state == "out"
    assert not found.acceptable
    assert "Put it right first" in wording.advice(found)
    assert wording.notices(found)[0]["heading"] == "Out of tolerance"


def test_a_probe_at_the_edge_of_its_tolerance_is_to_be_adjusted_now(world):
    history(world.probe, world.cook, steady(12, at=960))
    found = outlook(world.probe)
    assert found.adjust_first and not found.failed
    assert found.state == "soon"
    notice = wording.notices(found)[0]
    assert (notice["tone"], notice["heading"]) == ("bad", "Adjust or replace it now")
    assert "it may be out by tomorrow" in notice["text"] and "±1.0 °C" in notice["text"]
    assert (
        wording.advice(found)
        == "Adjust or replace it now; no interval is short enough. Until then, check it every day."
    )
    assert wording.advised_in_short(found) == "adjust it now"
    assert wording.advice(found) in wording.in_short(found)
    assert not any("no interval is short enough" in line for line in wording.because(found))
    assert found.figures()["adjust_first"] is True


def test_a_failed_probe_is_told_to_be_out_and_not_near_the_edge(world):
    history(world.probe, world.cook, [*steady(12, at=960), 1010])
    found = outlook(world.probe)
    assert found.advice.adjust_first and not found.adjust_first
    assert [notice["heading"] for notice in wording.notices(found)][0] == "Out of tolerance"
    assert wording.because(found) == ()


def test_an_early_warning_comes_while_it_is_still_in_tolerance(world):
    history(world.probe, world.cook, [*steady(12), *(260 + 40 * n for n in range(4))], expanded=80)
    found = outlook(world.probe)
    assert found.warned is not None or found.jumps  # told either way, long before 1 °C
    assert not found.failed
    headings = [notice["heading"] for notice in wording.notices(found)]
    assert "Early warning: it is on the move" in headings or "It changed at once" in headings


def test_a_jump_is_told_with_the_drop_that_explains_it(world):
    made = history(world.probe, world.cook, [*steady(10), *steady(6, at=650)], expanded=80)
    dropped = made[10].checked_at - timedelta(days=2)
    found = outlook(world.probe)
    assert len(found.jumps) == 1
    assert "Nothing is recorded that explains it" in wording.jump(found.jumps[0], found)
    making.event(world.probe, world.cook, EventKind.DROPPED, dropped)
    found = outlook(world.probe)
    words = wording.jump(found.jumps[0], found)
    assert f"It was dropped on {wording.day(dropped, found)}" in words
    assert "+0.5 °C" in words or "+0.6 °C" in words
    assert "It changed at once" in [notice["heading"] for notice in wording.notices(found)]


def test_an_adjustment_begins_anew_and_is_no_news(world):
    made = history(world.probe, world.cook, [*steady(8, at=800), *steady(8, at=0)], expanded=80)
    making.event(world.probe, world.cook, EventKind.ADJUSTED, made[8].checked_at - timedelta(hours=2))
    found = outlook(world.probe)
    assert [jump.explained for jump in found.jumps] == [True]
    assert wording.notices(found) == []
    assert found.state == "steady"


def test_what_a_failure_costs_is_told_by_the_probes_own_pace(world):
    """The example of the user: nine a day are about sixty in a week."""
    history(world.probe, world.cook, steady(12))
    read_daily(world, world.probe, 20, per_day=9)
    text = wording.stakes(outlook(world.probe))
    assert "Checked weekly, a failure puts about 60 readings in doubt" in text
    assert "daily, about 9" in text


def test_a_year_in_doubt_is_told_for_now_and_for_the_advice(world):
    history(world.probe, world.cook, [*steady(12), 1400, *steady(12)])
    read_daily(world, world.probe, 20, per_day=3)
    figures = dict(wording.figures(outlook(world.probe)))
    assert "checked weekly, about" in figures["Readings to come into doubt in a year"]


def test_without_readings_nothing_is_made_up(world):
    history(world.probe, world.cook, steady(12))
    assert "No reading was taken with it so far" in told(world.probe)


@pytest.mark.parametrize(
    "readings, words",
    [
        (0.3, "less than one"),
        (1.2, "about 1"),
        (9.4, "about 9"),
        (63, "about 60"),
        (998, "about 1,000"),
        (1240, "about 1,200"),
    ],
)
def test_numbers_are_rough(readings, words):
    assert wording.how_many(readings) == words


@pytest.mark.parametrize(
    "days, words",
    [(0.2, "1 day"), (9, "9 days"), (36, "about 5 weeks"), (150, "about 5 months"), (900, "about 2 years")],
)
def test_lengths_of_time_are_rough(days, words):
    assert wording.about(timedelta(days=days)) == words


def test_failures_of_its_kind_make_the_advice_shorter(world):
    history(world.probe, world.cook, steady(12))
    calm = outlook(world.probe).advice.days
    for number in range(6):
        other = make_probe(world.other_site, f"Q{number}", by=world.manager)
        history(other, world.cook, [100, 110, 1500] * 8)
    assert outlook(world.probe).advice.days < calm


def test_the_aim_is_that_of_the_business(world):
    history(world.probe, world.cook, [100, 110, 1500] * 6 + [100], expanded=80)
    strict = outlook(world.probe)
    world.business.reliability_target = 60
    world.business.save()
    lax = outlook(world.probe)
    assert (strict.target, lax.target) == (95, 60)
    assert lax.advice.by_rate > strict.advice.by_rate
    assert dict(wording.figures(lax))["Aim"] == "60 of 100 checks find it in tolerance"


def test_the_figures_kept_are_plain(world):
    history(world.probe, world.cook, rising(12))
    figures = outlook(world.probe).figures()
    assert figures["checks"] == 12
    assert figures["own_trials"] == [[7.0, 11, 0]]
    assert figures["slope_per_day"] == pytest.approx(0.025 / 7, rel=0.2)
