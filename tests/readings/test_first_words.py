"""Nothing about a reading is green that has not a good check behind it, nothing since and no check overdue."""

import re
from datetime import timedelta
from itertools import product

import pytest
from django.urls import reverse

from compliance.checks.actions import void_check
from compliance.checks.fitness import Fitness
from compliance.checks.models import Standing
from compliance.readings.importing import import_file
from compliance.readings.models import Reading
from compliance.readings.worth import ReadingWorth, first_words
from tests.checks.making import bad, event, good
from tests.readings.files import csv_file, row
from tests.readings.helpers import EARLIER, take
from tests.world import make_probe

pytestmark = pytest.mark.usefixtures("clock")
YESTERDAY, MET = EARLIER - timedelta(days=1), "The limit is met"
GREEN = re.compile(r"tone-good|limit is met|Within limit")
LIMITS = [
    {"tone": tone, "heading": f"about the limit: {tone}", "text": "It reads 4."} for tone in ("good", "caution", "bad")
]


def page(client, reading) -> str:
    """What is shown between the head and the foot of its page."""
    text = client.get(reverse("reading_detail", args=[reading.pk])).content.decode()
    return text[text.index("<main") : text.index("</main")]


def listed(client) -> str:
    return client.get(reverse("reading_list")).content.decode().split("<tbody")[1].split("</tbody")[0]


@pytest.fixture
def client(as_person, world):
    return as_person(world.cook)


@pytest.fixture
def other(world):
    probe = make_probe(world.site, "P2", by=world.manager, limits=[world.limit])
    good(probe, world.cook, EARLIER)
    return probe


def test_it_is_green_with_a_good_check_behind_and_nothing_since(world, client):
    good(world.probe, world.cook, YESTERDAY)
    words = page(client, take(world))
    assert MET in words and "tone-good" in words and "Take another reading" in words


UNFIT = {
    "failed": ("tone-bad", "Do not rely on this reading", "P1 was not to be used: failed at zero 10 Mar 12:00."),
    "adjusted": ("tone-bad", "Do not rely on this reading", "adjusted, repaired or gone, and not checked since."),
    "withdrawn": ("tone-bad", "Do not rely on this reading", "P1 was not to be used: withdrawn from use."),
    "dropped": ("tone-doubt", "Check P1 first", "P1 was to be checked first: dropped and not checked since."),
    "doubted": ("tone-doubt", "Check P1 first", "P1 was to be checked first: somebody doubted it."),
    "new_battery": ("tone-doubt", "Check P1 first", "new battery and not checked since."),
    "overdue": ("tone-doubt", "Check P1 first", "P1 was to be checked first: check overdue since 10 Mar 09:00."),
    "never": ("tone-doubt", "Check P1 first", "Nobody had shown that P1 was right before this was taken."),
}


def bring_about(world, what):
    since = YESTERDAY + timedelta(hours=3)
    if what != "never":
        good(world.probe, world.cook, EARLIER - timedelta(days=8 if what == "overdue" else 1))
    if what == "failed":
        bad(world.probe, world.cook, since)
    elif what not in ("never", "overdue"):
        event(world.probe, world.cook, what, since)


@pytest.mark.parametrize("what", UNFIT)
def test_in_any_other_state_nothing_is_green_and_the_first_words_say_why_and_what_to_do(world, client, other, what):
    tone, heading, why = UNFIT[what]
    bring_about(world, what)
    reading = take(world, used_despite="Nothing else.")
    words = page(client, reading)
    first = words[words.index('class="callout') :].split("</div>\n</div>")[0]
    assert not GREEN.search(words) and not GREEN.search(listed(client))
    assert tone in first and heading in first and why in first
    assert first.index(why) < first.index("By its display: the limit is at most 5 °C; this reads 4.0 °C.")
    assert "Measure again with P2, and hold the food until then." in first
    assert f"probe={other.pk}&amp;limit={world.limit.pk}" in words and "Measure again with P2</a>" in words


def test_beyond_its_limit_both_are_told(world, client):
    bring_about(world, "failed")
    words = page(client, take(world, typed="9.0", used_despite="Nothing else."))
    assert "The limit is not met, and P1 is not to be relied on" in words and "failed at zero" in words
    assert "No other probe here is OK to use. Hold the food until one has passed a check." in words


def test_a_reading_that_comes_into_doubt_later_is_green_no_more(world, client):
    good(world.probe, world.cook, YESTERDAY)
    reading = take(world)
    bad(world.probe, world.cook, EARLIER + timedelta(hours=1))
    words = page(client, reading)
    assert not GREEN.search(words) and "Do not rely on this reading" in words and "P1 failed its next check" in words


def test_what_was_entered_before_a_failure_of_earlier_was_known_is_judged_by_what_is_known_now(world, client):
    good(world.probe, world.cook, YESTERDAY)
    reading = take(world)
    bad(world.probe, world.cook, EARLIER - timedelta(minutes=1))
    assert Reading.objects.get().fitness == "ok" and not GREEN.search(page(client, reading))


def test_a_good_check_that_follows_lets_it_stand_without_making_it_green(world, client):
    bring_about(world, "dropped")
    reading = take(world)
    good(world.probe, world.cook, EARLIER + timedelta(hours=1))
    words = page(client, reading)
    assert MET not in words and "Used before P1 was checked" in words and "so the reading stands" in words
    assert 'class="callout tone-info"' in words and 'class="callout tone-good"' not in words


def test_what_was_not_to_be_used_stays_so_until_a_check_though_the_failed_one_is_struck_out(world, client, supervisor):
    good(world.probe, world.cook, YESTERDAY)
    failed = bad(world.probe, world.cook, EARLIER - timedelta(hours=1))
    reading = take(world, used_despite="Nothing else.")
    void_check(by=supervisor, check=failed, reason="the ice had melted")
    words = page(client, reading)
    assert not GREEN.search(words) and "P1 was “Do not use” when this was entered." in words


def test_a_reading_from_a_file_is_told_by_what_the_probe_was_then(world, client):
    bring_about(world, "failed")
    import_file(by=world.manager, file_name="a.csv", content=csv_file(row(taken_at=EARLIER.isoformat())))
    assert not GREEN.search(page(client, Reading.objects.get(fitness="")))


def test_after_half_a_day_nobody_is_sent_to_measure_the_same_food(world, client, clock, other):
    bring_about(world, "dropped")
    reading = take(world)
    clock.shift(timedelta(hours=13))
    client.force_login(world.cook)  # who was idle so long has to sign in again
    assert "Measure again" not in page(client, reading)


def test_a_correction_says_so_without_green(world, client):
    bring_about(world, "dropped")
    old = take(world)
    told = {
        "key": "b" * 32,
        "probe": world.probe.pk,
        "limit": world.limit.pk,
        "item": "milk",
        "typed": "4.4",
        "unit": "C",
        "taken_at": "",
        "taken_by": world.cook.pk,
        "note": "",
        "reason": "typing error",
    }
    answer = client.post(reverse("reading_correct", args=[old.pk]), told)
    assert not GREEN.search(client.get(answer.url).content.decode())


@pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit["tone"])
def test_of_all_that_can_be_known_only_one_way_to_be_green(limit):
    """Every standing with every state then and as it was entered: green needs OK, OK or unknown, and no doubt."""
    for standing, then, entered in product(Standing, Fitness, ["", *Fitness]):
        seen = ReadingWorth(
            probe="P1",
            standing=standing,
            standing_why="Why.",
            fitness=then,
            why="dropped",
            entered=entered,
            others=["P2"],
        )
        told = first_words(seen, limit)
        sound = then == Fitness.OK and entered in ("", Fitness.OK) and standing in (Standing.PROVEN, Standing.PENDING)
        assert (told == limit) is sound
        assert (told["tone"] == "good") is (sound and limit["tone"] == "good")
        if limit["tone"] == "bad" or standing == Standing.QUARANTINED:
            assert told["tone"] == "bad"
