"""A check made wholly without network: judged when it comes, as one that was made tap by tap."""

import json
import uuid
from datetime import UTC, datetime, timedelta

import pytest

from compliance.checks.models import Check, ProbeState
from compliance.metrology.bath import BathPoint
from tests.checks import making
from tests.checks.hands import TapByTap
from tests.checks.making import settled_at
from tests.phone.sending import READY, Phone
from tests.records.making import record_of
from tests.records.test_one_check import print_of

pytestmark = pytest.mark.django_db
MADE = datetime(2026, 3, 11, 9, 12, 20, tzinfo=UTC)


@pytest.fixture
def phone(clock, client, world):
    return Phone(client, world, world.cook)


def test_it_is_judged_as_the_same_check_made_tap_by_tap(phone, world, client, clock):
    assert "recorded" in phone.check(MADE)
    clock.shift(timedelta(minutes=5))
    hands = TapByTap(client, world.probe, clock, scripts=True)
    hands.make_bath()
    for ms, text, _ in settled_at("0.1"):
        clock.move_to(hands.draft.inserted_at + timedelta(milliseconds=ms))
        hands.read(text)
    hands.inside()
    hands.finish()
    tapped, kept = Check.objects.order_by("-pk")
    for name in ("verdict", "error_milli", "expanded_milli", "preparation", "budget", "why", "stage", "checked_by"):
        assert getattr(kept, name) == getattr(tapped, name), name
    assert (kept.checked_at, tapped.phone) == (MADE, None)


def test_it_fails_the_probe_from_when_it_was_made(phone, world):
    making.good(world.probe, world.cook, MADE - timedelta(days=1))
    phone.check(MADE, "2.4")
    state = ProbeState.objects.get(probe=world.probe)
    assert (state.last_check.verdict, state.last_check.checked_at) == ("out_of_tolerance", MADE)
    assert state.standing == "quarantined"


def test_sent_again_it_is_recorded_once(phone):
    sent = {"key": str(uuid.uuid4())}
    first = phone.check(MADE, **sent)
    phone.ahead = timedelta(hours=3)
    assert phone.check(MADE, **sent) == first
    answer = phone.check(MADE, "2.4", **sent)
    assert answer["question"] == "another" and Check.objects.count() == 1


def test_of_two_phones_with_one_probe_both_are_kept(phone, world, client):
    other = Phone(client, world, world.manager)
    other.check(MADE + timedelta(minutes=3))
    phone.check(MADE)
    made = Check.objects.order_by("checked_at").values_list("checked_by__name", flat=True)
    assert list(made) == ["Col Esker", "Mara Holt"]


def test_what_was_not_ticked_is_not_confirmed_and_what_was_taken_back_is_kept(phone):
    points = [point for point in READY["points"] if point != BathPoint.PACKED]
    phone.check(MADE, points=points, struck=json.dumps([[20_000, "23"]]))
    check = Check.objects.get()
    assert check.preparation["left"] == [] and "packed" not in check.preparation["points"]
    [struck] = check.typing["taken_back"]
    assert (struck["typed"], struck["why"]) == ("23", "taken_back")
    assert datetime.fromisoformat(struck["at"]) == MADE - timedelta(seconds=50)


def test_a_display_that_nobody_saw_fall_says_nothing(phone):
    stood = json.dumps([[ms, "0.1"] for ms in (5_000, 40_000, 60_000, 95_000)])
    phone.check(MADE, numbers=stood, points=[p for p in READY["points"] if p != "fell"], left=["fell"])
    check = Check.objects.get()
    assert check.verdict == "inconclusive" and check.typing["moved"] == "no"


def test_a_number_of_the_other_unit_is_asked_about(phone):
    numbers = json.dumps([[ms, "32.2"] for ms in (50_000, 70_000, 95_000)])
    answer = phone.check(MADE, numbers=numbers)
    assert answer["question"] == "unit" and not Check.objects.exists()
    phone.check(MADE, numbers=numbers, unit="F", unit_said="on")
    assert Check.objects.get().timed_readings.first().unit == "F"


def test_a_probe_that_shows_no_number_has_failed(phone):
    phone.check(MADE, numbers="[]", no_figure="nothing", points=[])
    assert (Check.objects.get().verdict, Check.objects.get().no_figure) == ("out_of_tolerance", "nothing")


@pytest.mark.parametrize(
    "wrong",
    [
        {"numbers": "[]"},
        {"numbers": '[[1, "0.1", 2]]'},
        {"numbers": '[["1", "0.1"]]'},
        {"numbers": '[[-1, "0.1"]]'},
        {"numbers": '[[1, "cold"]]'},
        {"struck": '[[1, "cold"]]'},
        {"numbers": "{"},
        {"way": "unstirred"},
        {"stage": ""},
        {"key": "again"},
    ],
)
def test_what_cannot_be_a_check_comes_back_with_a_reason(phone, wrong):
    assert phone.check(MADE, **wrong)["refused"]
    assert not Check.objects.exists()


def test_page_and_paper_say_how_the_phone_had_it(phone, world, as_person):
    phone.ahead = timedelta(seconds=-90)
    answer = phone.check(MADE)
    words = "11 Mar 2026 09:10 GMT by its own clock, which was 1 min 30 s behind"
    page = as_person(world.cook).get(answer["recorded"]).content.decode()
    assert words in page and "11 Mar 2026 12:00 GMT</time> by Col Esker" in page
    assert words in record_of(world.site)
    assert words in print_of(Check.objects.get(), world.reader)
