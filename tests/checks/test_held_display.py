"""A display that shows its final value from the first number on: somebody is asked whether it moved. Judgement throughout."""

import pytest
from django.urls import reverse

from compliance.checks.models import Check
from compliance.metrology.bath import BathKind, BathPoint, Preparation, judge_bath
from compliance.metrology.settling import TimedValue, has_moved
from compliance.metrology.verification import Instrument, verify_zero
from compliance.metrology.vocabulary import Sensor, Verdict
from tests.conftest import NOON
from tests.records.test_one_check import print_of

from .hands import Hands
from .making import GOOD_BATH, settled_at, zero

UNSEEN = Preparation(kind=BathKind.PACKED_CRUSHED, points=frozenset(BathPoint) - {BathPoint.FELL})
HELD = [TimedValue(elapsed=at, value=0.0) for at in (2.0, 20.0, 40.0, 60.0, 80.0, 100.0)]
FELL = [TimedValue(elapsed=1.0, value=15.0), *HELD[1:]]
PROBE = Instrument(sensor=Sensor.UNKNOWN, resolution=0.1, tolerance=1.0)


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def hands(request, as_person, cook, probe, clock):
    return Hands(as_person(cook), probe, clock, request.param)


def hold(hands, value="0.0"):
    """The same number from the first second on."""
    hands.make_bath()
    hands.inside()
    hands.settle(value, first=value)


# The measurement


def test_without_a_fall_typed_or_seen_it_is_inconclusive():
    found = verify_zero(HELD, UNSEEN, PROBE)
    assert found.verdict is Verdict.INCONCLUSIVE
    assert found.why[0] == "Inconclusive: nobody saw the display move, so this check says nothing about the probe."
    assert found.why[-1].startswith("Release a held display")


def test_a_fall_that_was_seen_or_typed_is_enough():
    assert verify_zero(HELD, GOOD_BATH, PROBE).verdict is Verdict.IN_TOLERANCE
    assert verify_zero(FELL, UNSEEN, PROBE).verdict is Verdict.IN_TOLERANCE


def test_a_flicker_of_one_digit_is_no_fall_and_two_digits_are():
    assert not has_moved([*HELD, TimedValue(elapsed=30.0, value=0.1)], 0.1)
    assert has_moved([*HELD, TimedValue(elapsed=1.0, value=0.2)], 0.1)
    assert has_moved([*HELD, TimedValue(elapsed=1.0, value=-0.2)], 0.1), "from the freezer it rises"
    assert not has_moved([], 0.1)


def test_what_is_shown_beyond_tolerance_fails_a_probe_held_or_not():
    held = [TimedValue(elapsed=reading.elapsed, value=4.0) for reading in HELD]
    assert verify_zero(held, UNSEEN, PROBE).verdict is Verdict.OUT_OF_TOLERANCE


def test_a_bath_that_is_none_comes_first():
    both = judge_bath(Preparation(kind=BathKind.PACKED_CRUSHED, points=UNSEEN.points - {BathPoint.POTABLE}))
    assert both.why[0] == "The bath does not stand for 0 °C."


# The page


def test_it_is_asked_and_a_yes_clears_it(hands):
    hold(hands)
    shown = hands.look()
    assert "Did you see it fall?" in shown.content.decode() and not shown.context["timing"].conclusive
    hands.tap("point", point="fell", state="done")
    shown = hands.look()
    assert shown.context["timing"].conclusive and "You saw the display move." in shown.content.decode()
    hands.finish()
    check = Check.objects.get()
    assert check.verdict == "in_tolerance" and check.typing["moved"] == "yes"
    assert "fell" in check.preparation["points"]


@pytest.mark.parametrize(("answer", "kept"), [("left", "no"), (None, "unanswered")])
def test_without_a_yes_it_is_inconclusive_and_shown_and_printed(hands, reader, answer, kept):
    hold(hands)
    if answer:
        hands.tap("point", point="fell", state=answer)
        assert "Nobody saw the display move" in hands.look().content.decode()
    assert "Finish it as inconclusive" in hands.look().content.decode()
    hands.finish()
    check = Check.objects.get()
    assert (check.verdict, check.typing["moved"]) == ("inconclusive", kept)
    assert ("fell" in check.preparation["left"]) is (answer == "left")
    line = "Asked “Did you see it fall?”"
    assert line in hands.client.get(reverse("check_detail", args=[check.pk])).content.decode()
    assert line in print_of(check, reader)


def test_nothing_is_asked_of_a_number_beyond_tolerance_and_it_fails(hands):
    hold(hands, "4.0")
    assert "Did you see it fall?" not in hands.look().content.decode()
    hands.finish()
    check = Check.objects.get()
    assert check.verdict == "out_of_tolerance" and "moved" not in (check.typing or {})


def test_an_answer_can_be_changed_and_goes_with_its_timing(hands):
    hold(hands)
    hands.tap("point", point="fell", state="left")
    hands.tap("point", point="fell", state="open")
    assert "Did you see it fall?" in hands.look().content.decode()
    hands.tap("point", point="fell", state="done")
    hands.tap("take_out")
    assert "fell" not in hands.draft.preparation["points"]


def test_nothing_is_asked_where_a_fall_was_typed_or_it_has_not_settled(hands):
    hands.make_bath()
    hands.inside()
    hands.wait(5)
    hands.read("0.0")
    assert "Did you see it fall?" not in hands.look().content.decode()
    hands.tap("take_back", elapsed=5_000)
    hands.settle("0.0")
    assert "Did you see it fall?" not in hands.look().content.decode()
    hands.finish()
    check = Check.objects.get()
    assert "fell" in check.preparation["points"] and "moved" not in (check.typing or {})


def test_a_fall_typed_after_a_no_counts(hands):
    hold(hands)
    hands.tap("point", point="fell", state="left")
    hands.wait(5)
    hands.read("1.5")
    assert "fell" in hands.draft.preparation["left"]
    hands.settle("0.0")
    hands.finish()
    check = Check.objects.get()
    assert "fell" in check.preparation["points"] and "fell" not in check.preparation["left"]


def test_a_check_written_down_without_any_fall_needs_it_ticked(probe, cook):
    held = [(ms, "0.0", "C") for ms, _, _ in settled_at("0.0")]
    assert zero(probe, cook, NOON, readings=held, bath=UNSEEN).verdict == "inconclusive"
    assert zero(probe, cook, NOON, readings=held).verdict == "in_tolerance"
