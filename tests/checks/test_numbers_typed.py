"""Numbers typed in a guided check: asked about where they may be in the other unit, never lost, and none fails a probe alone."""

import re
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from compliance.checks import drafts
from compliance.checks.kinds.boiling import BOILING
from compliance.checks.models import Check, CheckDraft
from compliance.plans.models import Reminder
from shared.audit.models import Entry
from tests.conftest import NOON
from tests.records.test_one_check import print_of as printed

from .hands import Hands
from .making import good, settled_at, zero
from .test_boiling_check import begun as start_boiling


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def hands(request, as_person, cook, probe, clock):
    return Hands(as_person(cook), probe, clock, request.param)


def text(response):
    return response.content.decode()


def in_the_ice(hands):
    hands.make_bath()
    hands.inside()
    hands.wait(20)


def test_32_at_a_celsius_site_is_asked_about_kept_as_typed_and_converted(hands):
    in_the_ice(hands)
    shown = text(hands.read("32"))
    assert "Is the display in °F?" in shown and "Yes, it shows °F" in shown and "No, it shows °C" in shown
    assert 'id="read-it"' not in shown, "the question comes first"
    assert hands.draft.outside_since == NOON + timedelta(seconds=20)
    shown = text(hands.tap("unit", unit="F"))
    assert "Is the display in" not in shown and "The display is in °F, as you said." in shown
    assert hands.draft.readings == [[20_000, "32", "F", True]] and hands.draft.outside_since is None
    assert '<span class="tap-unit">°F</span>' in shown
    for _ in range(5):
        hands.wait(10)
        hands.tap("read", same="32", value="", seen=len(hands.draft.readings))
    hands.tap("point", point="fell", state="done")
    hands.finish()
    check = Check.objects.get()
    assert (check.verdict, check.error_milli) == ("in_tolerance", 0)
    assert {(t.typed, t.unit) for t in check.timed_readings.all()} == {("32", "F")}
    assert check.typing == {"unit": "F", "moved": "yes"}
    page = text(hands.client.get(reverse("check_detail", args=[check.pk])))
    assert "32 °F" in page and "Asked which unit the display shows, Col Esker answered °F." in page


def test_who_says_that_it_is_celsius_is_believed_and_not_asked_on_the_way_down(hands):
    in_the_ice(hands)
    hands.read("32")
    hands.tap("unit", unit="C")
    assert hands.draft.readings == [[20_000, "32", "C", True]] and hands.draft.outside_since
    hands.wait(5)
    assert "Is the display in" not in text(hands.read("29"))


def test_a_display_switched_over_meanwhile_is_asked_about_again(hands):
    in_the_ice(hands)
    hands.read("32")
    hands.tap("unit", unit="F")
    hands.wait(5)
    assert "Is the display in °C?" in text(hands.read("0.2"))
    hands.tap("unit", unit="C")
    assert [r[1:3] for r in hands.draft.readings] == [["32", "F"], ["0.2", "C"]] and hands.draft.outside_since is None


def test_a_slip_on_the_answer_is_taken_back_and_the_question_comes_again(hands):
    in_the_ice(hands)
    hands.read("32")
    hands.tap("unit", unit="F")
    shown = text(hands.tap("unit", again="1"))
    assert "Is the display in °F?" in shown and hands.draft.outside_since
    assert hands.draft.readings == [[20_000, "32", "C", False]]


def test_a_fahrenheit_site_is_asked_the_other_way_round(hands):
    type(hands.probe.site).objects.update(unit="F")
    in_the_ice(hands)
    assert "Is the display in °C?" in text(hands.read("0.3"))
    hands.tap("unit", unit="C")
    assert hands.draft.readings == [[20_000, "0.3", "C", True]] and hands.draft.outside_since is None


def test_zero_turned_from_fahrenheit_into_celsius_is_asked_about_and_taken_back(hands):
    """0 °F are −17.8 °C, by definition of the scales."""
    in_the_ice(hands)
    shown = text(hands.read("-17.8"))
    assert "Does the display show 0? -17.8 °C are 0 °F." in shown and "No, it shows -17.8 °C" in shown
    assert 'id="read-it"' not in shown and 'id="take-back"' in shown
    assert "Say first which unit the display shows" in text(hands.finish()) and not Check.objects.exists()
    shown = text(hands.tap("take_back", elapsed=20_000))
    assert 'id="read-it"' in shown and "Does the display show 0?" not in shown
    assert [s["typed"] for s in hands.draft.struck] == ["-17.8"] and hands.draft.outside_since


def test_who_says_that_it_shows_so_much_below_zero_is_believed(hands):
    in_the_ice(hands)
    hands.read("-17.8")
    assert "Does the display show 0?" not in text(hands.tap("unit", unit="C"))
    assert hands.draft.readings == [[20_000, "-17.8", "C", True]] and hands.draft.outside_since


def test_a_unit_that_is_none_is_not_found(hands):
    in_the_ice(hands)
    hands.read("32")
    assert hands.tap("unit", unit="K").status_code == 404 and hands.draft.unit == ""


def test_a_number_that_no_display_shows_in_that_unit_leaves_the_answer_open(hands):
    in_the_ice(hands)
    hands.tap("unit", unit="F")
    hands.read("700")
    assert "between -100 and 400" in text(hands.tap("unit", again="1"))
    assert hands.draft.readings == [[20_000, "700", "F", False]]


def test_nothing_is_finished_while_the_unit_is_asked_about(hands):
    in_the_ice(hands)
    hands.settle("32", first="48")
    assert "Say first which unit the display shows" in text(hands.finish()) and not Check.objects.exists()
    assert 'id="finish-it"' not in text(hands.look())
    hands.tap("unit", unit="F")
    hands.finish()
    assert Check.objects.get().verdict == "in_tolerance"
    assert {(t.typed, t.unit) for t in Check.objects.get().timed_readings.all()} == {("48", "F"), ("32", "F")}


def test_212_at_boiling_is_asked_about(as_person, cook, probe, clock):
    hands = Hands(as_person(cook), probe, clock, True, BOILING)
    start_boiling(hands)
    hands.prepare(BOILING.usual)
    hands.wait(20)
    assert "Is the display in °F?" in text(hands.read("209"))
    hands.tap("unit", unit="F")
    assert hands.draft.outside_since is None, "209 °F is 98.3 °C, where water boils here"


def test_enter_beside_the_depth_presses_no_button_of_finishing(hands):
    """HTML, implicit submission: a form whose first submit button is disabled is sent by its buttons alone."""
    in_the_ice(hands)
    hands.wait(70)
    form = text(hands.read("0.1")).split('id="finish"')[1].split("</form>")[0]
    assert re.search(r'<button[^>]*type="submit"[^>]*>', form)[0] == '<button type="submit" disabled hidden>'
    assert 'name="immersion_mm"' in form


def test_one_number_alone_fails_no_probe_and_asks_for_a_second(hands, probe, cook):
    good(probe, cook, NOON - timedelta(days=1))
    in_the_ice(hands)
    hands.wait(70)
    shown = text(hands.read("4.0"))
    assert "One number fails no probe: type a second one" in shown and 'id="finish-it"' not in shown
    assert "Finish without a second number" in shown
    hands.finish()
    check = Check.objects.latest("checked_at")
    assert (check.verdict, check.why[0]) == ("inconclusive", "Inconclusive: one number alone fails no probe.")
    assert check.typing == {"showed": "4.0 °C"} and check.error_milli == 4000
    probe.refresh_from_db()
    assert (probe.state.standing, probe.state.at_once_because) == ("pending", "the last check was inconclusive")
    assert probe.state.at_once_because
    page = text(hands.client.get(reverse("check_detail", args=[check.pk])))
    assert "Do not use the probe until it has passed a check: it showed 4.0 °C." in page


def test_a_second_number_like_the_first_fails_it(hands):
    in_the_ice(hands)
    hands.wait(70)
    hands.read("4.0")
    hands.wait(10)
    assert 'id="finish-it"' in text(hands.tap("read", same="4.0", value="", seen=1))
    hands.finish()
    assert Check.objects.get().verdict == "out_of_tolerance"


def test_one_good_number_after_a_long_wait_still_passes(hands):
    in_the_ice(hands)
    hands.wait(70)
    hands.read("0.1")
    hands.tap("point", point="fell", state="done")
    hands.finish()
    assert Check.objects.get().verdict == "in_tolerance"


def test_one_number_at_boiling_fails_no_probe_and_asks_for_a_check_there_at_once(as_person, cook, probe, clock):
    hands = Hands(as_person(cook), probe, clock, True, BOILING)
    start_boiling(hands)
    hands.prepare(BOILING.usual)
    hands.inside(BOILING.usual)
    hands.wait(120)
    hands.read("93.0")
    hands.finish()
    assert Check.objects.get().verdict == "inconclusive"
    probe.refresh_from_db()
    assert probe.state.at_once_because
    clock.shift(timedelta(minutes=1))
    zero(probe, cook, NOON + timedelta(minutes=2, seconds=30))
    probe.refresh_from_db()
    assert probe.state.at_once_because == "the last check was inconclusive"
    assert Reminder.objects.filter(probe=probe, point="boiling", because=probe.state.at_once_because).exists()


def test_a_correction_to_a_single_failing_number_fails_no_probe(probe, cook):
    check = zero(probe, cook, NOON - timedelta(days=100), readings=[(120_000, "4.0", "C")])
    assert check.verdict == "inconclusive"


def test_what_is_taken_back_is_kept_shown_and_printed_and_does_not_count(hands, reader):
    in_the_ice(hands)
    hands.settle("0.1")
    hands.wait(10)
    hands.read("23")
    shown = text(hands.tap("take_back", elapsed=105_000))
    assert "Typed and taken back: 23 °C (at 1:45)." in shown
    assert hands.draft.outside_since == NOON + timedelta(seconds=30), "the fall from 9.0 began beyond the tolerance"
    hands.finish()
    check = Check.objects.get()
    assert (check.verdict, check.error_milli) == ("in_tolerance", 100)
    [struck] = check.typing["taken_back"]
    assert (struck["typed"], struck["unit"], struck["elapsed_ms"], struck["why"]) == ("23", "C", 105_000, "taken_back")
    page = text(hands.client.get(reverse("check_detail", args=[check.pk])))
    assert "Typed and taken back: 23 °C (at 1:45)." in page
    assert "Typed and taken back: 23 °C (at 1:45)." in printed(check, reader)


def test_what_was_typed_before_the_timing_started_again_is_kept(hands, reader):
    in_the_ice(hands)
    hands.read("5.5")
    assert "Do not use the probe before this check is finished" in text(hands.tap("take_out"))
    assert hands.draft.outside_since == NOON + timedelta(seconds=20)
    hands.tap("insert")
    hands.settle("0.1")
    hands.finish()
    check = Check.objects.get()
    assert check.verdict == "in_tolerance"
    assert "Typed before the timing was started again: 5.5 °C (at 0:20)." in printed(check, reader)


def test_a_number_taken_back_does_not_end_do_not_use(hands):
    in_the_ice(hands)
    hands.read("4.0")
    hands.tap("take_back", elapsed=20_000)
    assert hands.draft.readings == [] and hands.draft.outside_since == NOON + timedelta(seconds=20)


def test_a_struck_number_is_converted_with_the_others(hands):
    in_the_ice(hands)
    hands.read("32")
    hands.tap("take_back", elapsed=20_000)
    hands.wait(5)
    hands.read("33")
    hands.tap("unit", unit="F")
    assert (hands.draft.struck[0]["typed"], hands.draft.struck[0]["unit"]) == ("32", "F")
    assert hands.draft.outside_since is None


def test_points_that_nobody_confirmed_are_recorded_as_such(hands, reader):
    hands.make_bath(skip=[hands.guidance.before["packed_crushed"][3].point])
    hands.tap("point", point="immersed", state="done")
    hands.settle("0.1")
    assert "recorded as “not confirmed”" in text(hands.look())
    hands.finish()
    check = Check.objects.get()
    assert check.preparation["left"] == ["drained"] and "packed" not in check.preparation["points"]
    assert "Not confirmed: that the ice was packed against the stem, without water or air between." in check.why
    assert "The water was not drained, and water at the bottom can be some degrees warmer than the ice." in check.why
    assert check.verdict == "inconclusive", "what nobody confirmed counts as not done"
    page = text(hands.client.get(reverse("check_detail", args=[check.pk])))
    assert "The ice was pressed against the stem: <strong>not confirmed</strong>" in page
    assert "Free water was drained: <strong>not done</strong>" in page
    on_paper = printed(check, reader)
    assert (
        "The ice was pressed against the stem not confirmed" in on_paper
        and "Free water was drained not done" in on_paper
    )


def test_a_critical_point_that_nobody_confirmed_is_told_as_such_and_makes_it_inconclusive(hands, reader):
    hands.make_bath()
    hands.settle("0.0")
    assert "recorded as “not confirmed”: the check then says nothing about the probe." in text(hands.look())
    hands.finish()
    check = Check.objects.get()
    assert check.verdict == "inconclusive" and not [line for line in check.why if "was not in deep enough" in line]
    on_paper = printed(check, reader)
    assert "Depth in the ice not confirmed, not measured" in on_paper and "depth was confirmed" not in on_paper


def test_a_check_recorded_before_anybody_was_asked_says_not_confirmed(probe, cook, as_person):
    check = zero(probe, cook, NOON - timedelta(days=100))
    old = Check(**{f.attname: getattr(check, f.attname) for f in Check._meta.concrete_fields} | {"pk": None})
    old.key, old.preparation = check.key.__class__(int=7), {"kind": "packed_crushed", "points": ["crushed"]}
    old.typing = None
    old.save()
    page = text(as_person(cook).get(reverse("check_detail", args=[old.pk])))
    assert "Free water was drained: <strong>not confirmed</strong>" in page and "not done" not in page


@pytest.mark.usefixtures("clock")
def test_a_correction_keeps_what_was_said_not_to_be_done(as_person, supervisor, cook, probe):
    bath = drafts.Preparation(kind="packed_crushed", points=frozenset(["potable", "wetted", "immersed"]))
    check = zero(probe, cook, NOON - timedelta(days=50), bath=_left(bath, "drained", "packed"))
    client = as_person(supervisor)
    form = client.get(reverse("check_correct", args=[check.pk])).context["form"]
    told = {name: form[name].value() for name in form.fields} | {
        "reason": "It was pressed.",
        "points": ["potable", "wetted", "immersed", "packed"],
        "checked_at": check.checked_at.strftime("%Y-%m-%dT%H:%M"),
        "immersion_mm": "",
    }
    answer = client.post(reverse("check_correct", args=[check.pk]), told)
    assert answer.status_code == 302, answer.context["form"].errors
    assert Check.objects.latest("pk").preparation["left"] == ["drained"]


def _left(bath, *points):
    kind, point = drafts.Preparation, drafts.GUIDANCE["zero"].point
    return kind(
        kind=drafts.GUIDANCE["zero"].way(bath.kind),
        points=frozenset(map(point, bath.points)),
        left=frozenset(map(point, points)),
    )


def test_a_number_on_its_way_while_the_check_is_recorded_is_not_lost(probe, cook, clock, monkeypatch):
    """The page that finishes has an old draft in hand; what was typed since belongs to the check."""
    begun = drafts.begin(cook, probe, drafts.GUIDANCE["zero"].usual, "as_found", NOON)
    drafts.insert(begun, NOON)
    old = drafts.read(begun, "0.1", 0, NOON + timedelta(seconds=95))
    drafts.read(begun, "4.0", 1, NOON + timedelta(seconds=100))
    clock.shift(timedelta(minutes=2))
    check = drafts.finish(old, cook)
    assert [t.typed for t in check.timed_readings.all()] == ["0.1", "4.0"]


def test_what_is_typed_after_the_end_is_said_to_be_lost(hands):
    in_the_ice(hands)
    CheckDraft.objects.all().delete()
    assert "“7.7” was not noted." in text(hands.tap("read", value="7.7", seen=0))


def test_the_trail_of_an_unconfirmed_number_names_the_verdict(hands):
    in_the_ice(hands)
    hands.wait(70)
    hands.read("4.0")
    hands.finish()
    assert Entry.objects.get(action="check.record").data["verdict"] == "inconclusive"


def test_a_draft_of_before_units_were_asked_about_goes_on(hands):
    in_the_ice(hands)
    CheckDraft.objects.update(readings=[[10_000, "0.4", "C"]])
    hands.read("0.1")
    hands.tap("take_back", elapsed=10_000)
    assert [s["typed"] for s in hands.draft.struck] == ["0.4"] and hands.draft.readings == [[20_000, "0.1", "C", False]]


def test_finishing_needs_a_number_that_counts(hands, cook):
    in_the_ice(hands)
    hands.read("0.1")
    hands.tap("take_back", elapsed=20_000)
    with pytest.raises(ValidationError, match="at least one reading"):
        drafts.finish(hands.draft, cook)


def test_readings_of_a_display_in_fahrenheit_are_told_apart(probe, cook):
    assert zero(probe, cook, NOON - timedelta(days=100), readings=settled_at("32", "F")).error_milli == 0
