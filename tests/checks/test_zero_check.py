"""The guided check from the first tap to the verdict, with scripts and without; taps that come twice, late or never."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from compliance.checks import drafts
from compliance.checks.kinds.zero import ICE
from compliance.checks.models import Check, CheckDraft
from compliance.metrology.bath import BathKind, BathPoint
from compliance.probes.models import EventKind
from tests.conftest import NOON

from .hands import Hands, TapByTap
from .making import event, good


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def hands(request, as_person, cook, probe, clock):
    return Hands(as_person(cook), probe, clock, request.param)


@pytest.fixture
def taps(hands):
    return TapByTap(hands.client, hands.probe, hands.clock, bool(hands.headers))


def test_a_whole_check_in_two_minutes(taps, cook):
    assert "The probe is in" not in taps.look().content.decode()
    assert "It is off" not in taps.make_bath().content.decode()
    taps.inside()
    taps.settle("0.2")
    assert taps.look().context["timing"].settled
    response = taps.finish()
    check = Check.objects.get()
    assert response.url == reverse("check_detail", args=[check.pk])
    assert (check.verdict, check.error_milli, check.checked_by) == ("in_tolerance", 200, cook)
    assert check.checked_at == NOON + timedelta(seconds=75) and not CheckDraft.objects.exists()
    assert [t.elapsed_ms for t in check.timed_readings.all()] == [10_000, 35_000, 45_000, 55_000, 65_000, 75_000]
    assert len(check.preparation["points"]) == 10 and check.budget["bath"]["half_width"] == 0.01


def test_each_reading_renews_the_sentence_and_the_picture(hands):
    hands.make_bath()
    hands.wait(5)
    shown = hands.read("9.4").content.decode()
    assert "9.4 °C" in shown and "<svg" in shown and "Type the next number in some seconds" in shown
    hands.wait(10)
    assert "Still falling" in hands.read("3.1").content.decode()


def test_a_cook_at_a_fahrenheit_site_types_fahrenheit(hands):
    type(hands.probe.site).objects.update(unit="F")
    hands.make_bath()
    hands.inside()
    hands.settle("32.4")
    hands.finish()
    check = Check.objects.get()
    assert check.error_milli == 222 and check.timed_readings.last().unit == "F"


def test_leaving_the_page_loses_nothing(hands):
    hands.make_bath()
    hands.wait(20)
    hands.read("4.0")
    hands.wait(600)
    shown = hands.look()
    assert shown.context["phase"] == "timing" and "4.0 °C" in shown.content.decode()


def test_a_check_left_for_an_hour_is_offered_again(hands):
    hands.make_bath()
    hands.wait(20)
    hands.read("0.4")
    hands.wait(3600)
    shown = hands.look()
    assert shown.context["phase"] == "resume" and "Start again" in shown.content.decode()
    assert hands.look(go="").context["phase"] == "timing"
    first = hands.draft.key
    hands.client.post(reverse("zero_check_start", args=[hands.probe.pk]), {"again": str(first)})
    assert hands.look().context["phase"] == "start" and not CheckDraft.objects.exists()


def test_a_tap_that_comes_twice_counts_once(hands):
    hands.tap("start", kind="packed_crushed")
    hands.tap("start", kind="stirred_cubes")
    hands.tap("point", point="crushed", state="done")
    hands.tap("point", point="crushed", state="done")
    assert hands.draft.preparation == {"kind": "packed_crushed", "points": ["crushed"], "left": []}
    hands.tap("insert")
    hands.wait(30)
    hands.tap("insert")
    assert hands.draft.inserted_at == NOON
    hands.tap("read", value="1.0", seen=0)
    hands.wait(1)
    hands.tap("read", value="1.0", seen=0)
    assert len(hands.draft.readings) == 1


def test_another_value_from_an_old_page_is_kept(hands):
    hands.make_bath()
    hands.wait(10)
    hands.tap("read", value="5.0", seen=0)
    hands.wait(10)
    hands.tap("read", value="2.0", seen=0)
    assert [r[1] for r in hands.draft.readings] == ["5.0", "2.0"]


def test_a_wrong_reading_is_taken_back_once(hands):
    hands.make_bath()
    for value in ("9.0", "44", "4.0"):
        hands.wait(10)
        hands.read(value)
    hands.tap("take_back", elapsed=20_000)
    hands.tap("take_back", elapsed=20_000)
    assert [r[1] for r in hands.draft.readings] == ["9.0", "4.0"]


def test_a_slip_of_the_finger_is_asked_about_and_can_be_taken_back(hands):
    hands.make_bath()
    for value in ("9.0", "4.4", "23", "0.9"):
        hands.wait(10)
        hands.read(value)
    shown = hands.look()
    assert "Reading 3 shows 23 at 30 s; was 2.3 meant?" in shown.content.decode()
    assert [doubt.reading.elapsed_ms for doubt in shown.context["timing"].doubts] == [30_000]
    assert 'aria-label="Take back the doubtful 23 °C at 0:30"' in shown.content.decode()
    hands.tap("take_back", elapsed=30_000)
    assert "meant?" not in hands.look().content.decode()


@pytest.mark.parametrize(
    ("typed", "message"), [("", "not a number"), ("o.2", "not a number"), ("450", "decimal point")]
)
def test_what_is_no_temperature_is_refused_and_stays_in_the_box(hands, typed, message):
    hands.make_bath()
    response = hands.read(typed)
    assert message in response.content.decode() and f'value="{typed}"' in response.content.decode()
    assert hands.draft.readings == []


def test_a_comma_and_a_true_minus_are_read(hands):
    hands.make_bath()
    hands.inside()
    hands.settle("−0,3")
    hands.finish()
    assert Check.objects.get().error_milli == -300


def test_a_second_finish_lands_on_the_same_check(hands):
    hands.make_bath()
    hands.inside()
    hands.settle("0.0")
    key = str(hands.draft.key)
    first = hands.finish()
    assert hands.finish(key=key).url == first.url and Check.objects.count() == 1
    assert hands.finish(key="junk").url == reverse("zero_check", args=[hands.probe.pk])


def test_nothing_is_finished_without_a_reading(hands):
    hands.make_bath()
    assert "at least one reading" in hands.finish().content.decode() and not Check.objects.exists()


def test_finishing_too_early_is_inconclusive(hands):
    hands.make_bath()
    hands.wait(5)
    hands.read("9.0")
    assert "has not settled" in hands.look().content.decode()
    hands.finish()
    assert Check.objects.get().verdict == "inconclusive"


def test_a_point_left_out_that_matters_is_said_and_makes_it_inconclusive(hands):
    hands.make_bath(skip=[BathPoint.WETTED])
    assert "say nothing" not in hands.look().content.decode()
    hands.inside()
    hands.settle("0.0")
    assert "The ice was not wetted" in hands.look().content.decode()
    hands.finish()
    assert Check.objects.get().verdict == "inconclusive"


def test_a_step_can_be_undone(hands):
    hands.tap("start", kind="packed_crushed")
    hands.tap("point", point="crushed", state="done")
    hands.tap("point", point="crushed", state="open")
    assert hands.draft.preparation["points"] == [] and hands.look().context["guide"].current.task.point == "crushed"


def test_cubes_in_water_are_a_bath_of_their_own(hands):
    hands.make_bath(BathKind.STIRRED_CUBES)
    hands.inside(BathKind.STIRRED_CUBES)
    hands.settle("0.1")
    hands.finish()
    check = Check.objects.get()
    assert check.verdict == "in_tolerance" and check.budget["bath"]["half_width"] == 0.2


def test_timing_can_start_again_with_the_same_bath(hands):
    hands.make_bath()
    hands.wait(10)
    hands.read("9.0")
    hands.tap("take_out")
    assert (
        hands.draft.readings == [] and hands.draft.inserted_at is None and len(hands.draft.preparation["points"]) == 6
    )


def test_after_an_adjustment_the_check_is_as_left_unless_told_otherwise(hands, cook):
    event(hands.probe, cook, EventKind.ADJUSTED, NOON - timedelta(hours=1))
    hands.make_bath()
    assert hands.draft.stage == "as_left"
    hands.tap("about", stage="as_found")
    assert hands.draft.stage == "as_found"


def test_a_good_check_since_the_adjustment_makes_the_next_as_found(hands, cook):
    event(hands.probe, cook, EventKind.ADJUSTED, NOON - timedelta(hours=3))
    good(hands.probe, cook, NOON - timedelta(hours=2), stage="as_left")
    assert drafts.likely_stage(hands.probe) == "as_found"


def test_what_is_chosen_at_the_end_is_recorded(hands):
    hands.make_bath()
    hands.settle("0.0")
    hands.finish(stage="as_left", note="new screw", immersion_mm="70")
    check = Check.objects.get()
    assert (check.stage, check.note, check.immersion_mm) == ("as_left", "new screw", 70)


def test_a_note_is_kept_with_the_next_tap_and_while_it_is_written(hands):
    hands.make_bath()
    hands.wait(10)
    hands.read("5.0", note="cracked handle", stage="as_left", immersion_mm="8o")
    assert (hands.draft.note, hands.draft.stage, hands.draft.immersion_mm) == ("cracked handle", "as_left", None)
    hands.tap("about", note="cracked handle, taped", immersion_mm="80")
    assert (hands.draft.note, hands.draft.immersion_mm) == ("cracked handle, taped", 80)
    assert "cracked handle, taped" in hands.look().content.decode()


def test_a_depth_that_is_none_is_refused_and_the_note_stays(hands):
    hands.make_bath()
    hands.settle("0.0")
    response = hands.finish(note="keep me", immersion_mm="deep")
    assert response.status_code == 200 and "keep me" in response.content.decode() and not Check.objects.exists()


def test_a_tap_after_the_check_was_given_up_says_so(hands):
    assert "meanwhile" in hands.tap("read", value="1", seen=0).content.decode()


def test_two_people_check_side_by_side(hands, manager, client):
    hands.make_bath()
    client.force_login(manager)
    assert hands.look().context["phase"] == "start" and CheckDraft.objects.count() == 1


def test_the_clock_on_the_page_runs_and_stops_with_the_check(hands):
    hands.make_bath()
    hands.wait(83)
    now = reverse("zero_check_now", args=[hands.probe.pk])
    shown = hands.client.get(now).content.decode()
    assert '<span data-clock="83000">1:23</span>' in shown and "in the ice" in shown
    CheckDraft.objects.all().delete()
    assert hands.client.get(now).status_code == 204


def test_no_part_of_the_page_asks_again_and_again(hands):
    hands.make_bath()
    hands.read("9.0")
    assert "every" not in "".join(re.findall(r'hx-trigger="([^"]*)"', hands.look(go="").content.decode()))


def test_without_a_script_a_link_looks_at_the_clock_again(hands):
    hands.make_bath()
    address = reverse("zero_check", args=[hands.probe.pk]) + "?go"
    assert f'<p class="unscripted"><a class="text-button" href="{address}">' in hands.look(go="").content.decode()


def test_the_clock_stands_once_the_check_can_be_finished(hands):
    hands.make_bath()
    hands.inside()
    hands.settle("0.0")
    assert "data-clock" not in hands.look(go="").content.decode()


def test_a_check_that_takes_hours_is_not_timed_on(hands):
    hands.make_bath()
    hands.wait(7300)
    assert "too long" in hands.read("0.0").content.decode() and timezone.now() > NOON


def test_a_point_that_does_not_exist_is_not_found(hands):
    hands.tap("start", kind="packed_crushed")
    assert hands.tap("point", point="prayed", state="done").status_code == 404


def test_one_line_before_finishing_says_what_the_bath_is_worth(hands):
    hands.make_bath(skip={BathPoint.DRAINED})
    hands.inside()
    hands.settle("0.2")
    line = "As confirmed so far, the bath stands for 0 °C within ±0.20 °C; with every step confirmed, within ±0.01 °C."
    assert line in hands.look().content.decode()
    hands.finish()
    check = Check.objects.get()
    assert check.budget["bath"]["half_width"] == 0.2
    assert "The bath stands for 0 °C within 0.2 °C." in check.figures


def test_neither_drained_nor_packed_is_said_before_finishing_and_is_inconclusive(hands):
    hands.make_bath(skip={BathPoint.DRAINED})
    hands.tap("point", point="immersed", state="done")
    hands.settle("0.0")
    shown = hands.look().content.decode()
    assert "Packed: finish" in shown and "So confirmed, the bath stands for 0 °C within ±0.20 °C" in shown
    assert "recorded as “not confirmed”: the check then says nothing about the probe" in shown
    hands.finish()
    check = Check.objects.get()
    assert check.verdict == "inconclusive" and "packed" not in check.preparation["points"] + check.preparation["left"]


def test_one_tap_confirms_the_ice_and_puts_the_probe_in_but_what_is_ticked_by_hand_it_leaves_open(hands):
    shown = hands.look().content.decode()
    assert 'name="point" value="wetted"' in shown and "All done, the probe is in" in shown
    assert "from 1:30 on one number is enough, three make it surer" in shown
    listed = [task.point.value for task in ICE.before[ICE.usual] if not task.by_hand]
    hands.tap("start", kind="packed_crushed", point=listed, **{"in": "1"})
    draft = hands.draft
    assert draft.inserted_at == NOON and sorted(draft.preparation["points"]) == sorted(listed)
    assert "drained" not in draft.preparation["points"]
    hands.wait(95)
    hands.read("0.1")
    hands.tap("point", point="fell", state="done")
    shown = hands.look().content.decode()
    assert "Packed and deep: finish" in shown and "within ±0.20 °C; with every step confirmed" in shown
    hands.finish(confirmed="packed immersed")
    check = Check.objects.get()
    assert check.verdict == "in_tolerance" and check.budget["bath"]["half_width"] == 0.2
    assert {"packed", "immersed"} < set(check.preparation["points"])


def test_finishing_confirms_nothing_of_the_ice(hands):
    hands.make_bath(skip={BathPoint.DRAINED})
    hands.settle("0.0")
    assert hands.finish(confirmed="packed immersed drained").status_code == 200
    assert not Check.objects.exists() and hands.draft.preparation["left"] == ["drained"]
    assert hands.finish(confirmed="prayed").status_code == 404


def test_a_step_ticked_late_makes_old_ice_no_younger(hands):
    hands.tap("start", kind="packed_crushed", point="drained", state="done")
    hands.wait(31 * 60)
    hands.tap("point", point="wetted", state="done")
    assert "over 30 minutes old" in hands.tap("insert", point=["crushed", "potable"]).content.decode()
    assert hands.draft.inserted_at is None and hands.draft.preparation["points"] == ["drained", "wetted"]


def test_a_page_from_before_the_check_was_begun_changes_nothing_in_it(hands):
    hands.tap("start", kind="packed_crushed", point="drained", state="done")
    hands.tap("start", kind="stirred_cubes", point=["potable"], **{"in": "1"})
    assert hands.draft.inserted_at is None and hands.draft.preparation["points"] == ["drained"]


def test_what_to_do_and_the_time_left_are_said_until_one_number_is_enough(hands):
    hands.make_bath()
    hands.wait(30)
    shown = hands.look(go="").content.decode()
    assert '<strong class="number" data-left="60000">1:00 left</strong>' in shown
    assert "From 1:30 on one number is enough; three make it surer." in shown
    hands.wait(60)
    shown = hands.look(go="").content.decode()
    assert "data-left" not in shown and "Type what it shows. One number is enough; three make it surer." in shown


def test_a_fahrenheit_site_is_told_in_fahrenheit_what_the_bath_is_worth(hands):
    type(hands.probe.site).objects.update(unit="F")
    hands.make_bath()
    hands.inside()
    hands.settle("32.0", first="50.0")
    assert "the bath stands for 32 °F within ±0.02 °F." in hands.look().content.decode()
