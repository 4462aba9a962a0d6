"""A check with a number beyond the tolerance that nobody finishes: kept as inconclusive, the probe to be checked at once."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from compliance.checks import drafts, unfinished
from compliance.checks.kinds.boiling import BOILING
from compliance.checks.models import Check, CheckDraft
from compliance.plans.models import Reminder
from compliance.reminders.tasks import settle
from shared.audit.models import Entry
from tests.conftest import NOON
from tests.records.test_one_check import print_of as printed
from tests.world import make_probe

from .hands import Hands
from .making import good
from .test_boiling_check import begun as start_boiling
from .test_shared_bath import OneOf, choose, page_of, places

QUARTER = timedelta(minutes=15)


@pytest.fixture
def hands(as_person, cook, probe, clock):
    return Hands(as_person(cook), probe, clock, True)


def text(response):
    return response.content.decode()


def typed(hands, value):
    """As `Hands.read` does."""
    drafts.read(hands.draft, value, len(hands.draft.readings), timezone.now())


def left_with(hands, *values, read=typed):
    """In the ice, with these numbers ten seconds apart; the last of them is the last tap."""
    hands.make_bath()
    hands.inside()
    for value in values:
        hands.wait(10)
        read(hands, value)


def kept():
    return Check.objects.get()


def test_left_for_a_quarter_of_an_hour_it_is_kept_by_the_sweep_of_the_minute(hands, probe, cook):
    good(probe, cook, NOON - timedelta(days=1))
    left_with(hands, "4.0", read=Hands.read)
    hands.clock.shift(QUARTER - timedelta(seconds=1))
    assert unfinished.store_left(timezone.now()) == [] and CheckDraft.objects.exists()
    hands.wait(1)
    assert len(unfinished.store_left(timezone.now())) == 1
    check = Check.objects.latest("checked_at")
    assert (check.verdict, check.checked_by, check.recorded_by) == ("inconclusive", cook, cook)
    assert check.checked_at == NOON + timedelta(seconds=10) and not CheckDraft.objects.exists()
    assert check.why == [
        "Inconclusive: this check was left unfinished for 15 minutes.",
        "It had shown 4.0 °C at 0:10, beyond what is allowed.",
    ]
    assert [t.typed for t in check.timed_readings.all()] == ["4.0"]
    assert check.typing == {"showed": "4.0 °C", "unfinished": "left unfinished for 15 minutes"}
    assert (check.error_milli, check.reading_milli, check.expanded_milli) == (None, None, None)
    entry = Entry.objects.get(action="check.record_unfinished")
    assert (entry.actor, entry.actor_id, entry.reason) == ("Noughtbook", None, "left unfinished for 15 minutes")
    probe.refresh_from_db()
    assert probe.state.at_once_because == "an unfinished check showed 4.0 °C"
    assert probe.state.due_because == "an unfinished check showed 4.0 °C"
    assert probe.state.standing == "pending", "it neither vouches nor condemns"
    page = text(hands.client.get(reverse("probe_detail", args=[probe.pk])))
    assert "Check it before you use it: an unfinished check showed 4.0 °C." in page
    assert unfinished.store_left(timezone.now()) == []


def test_the_task_of_the_minute_keeps_it(hands, django_capture_on_commit_callbacks):
    left_with(hands, "4.0", read=Hands.read)
    CheckDraft.objects.update(tapped_at=NOON - timedelta(days=3000))  # the task goes by the clock of the database
    settle()
    assert kept().typing["unfinished"] == "left unfinished for 15 minutes"


def test_one_that_shows_nothing_wrong_is_left_alone(hands):
    left_with(hands, "0.4")
    hands.clock.shift(timedelta(days=1))
    assert unfinished.store_left(timezone.now()) == [] and CheckDraft.objects.exists()


def test_any_tap_puts_it_off(hands):
    left_with(hands, "4.0")
    hands.wait(14 * 60)
    hands.tap("about", note="cracked")
    hands.wait(14 * 60)
    assert unfinished.store_left(timezone.now()) == []
    hands.wait(60)
    [check] = unfinished.store_left(timezone.now())
    assert check.note == "cracked" and check.checked_at == NOON + timedelta(seconds=10)


@pytest.mark.parametrize("values", [("9.0", "0.1"), ("0.1", "4.0")])
def test_one_number_beyond_is_enough_whatever_came_before_or_after(hands, values):
    left_with(hands, *values)
    hands.clock.shift(QUARTER)
    unfinished.store_left(timezone.now())
    assert kept().verdict == "inconclusive" and [t.typed for t in kept().timed_readings.all()] == list(values)
    assert kept().checked_at == NOON + timedelta(seconds=20)


def test_numbers_taken_back_and_of_another_timing_are_kept_too(hands, reader):
    left_with(hands, "4.0", "3.0")
    hands.tap("take_back", elapsed=20_000)
    hands.wait(10)
    hands.tap("take_out")
    hands.clock.shift(QUARTER)
    unfinished.store_left(timezone.now())
    assert [(s["typed"], s["why"]) for s in kept().typing["taken_back"]] == [
        ("3.0", "taken_back"),
        ("4.0", "timed_again"),
    ]
    assert kept().checked_at == NOON + timedelta(seconds=20) and kept().timed_readings.count() == 0
    on_paper = printed(kept(), reader)
    assert "Typed and taken back: 3.0 °C (at 0:20)." in on_paper
    assert "Typed before the timing was started again: 4.0 °C (at 0:10)." in on_paper
    assert "left unfinished for 15 minutes" in on_paper


def test_an_open_question_of_the_unit_is_told(hands):
    left_with(hands, "32")
    hands.clock.shift(QUARTER)
    unfinished.store_left(timezone.now())
    assert "Nobody said which unit the display shows." in kept().why and kept().typing["showed"] == "32 °C"


def test_answered_to_be_right_in_the_other_unit_it_is_left_alone(hands):
    left_with(hands, "32")
    hands.tap("unit", unit="F")
    hands.clock.shift(QUARTER)
    assert unfinished.store_left(timezone.now()) == []


@pytest.mark.parametrize("who", ["cook", "manager"])
def test_whoever_opens_the_probe_finds_it_kept_without_any_task(hands, who, request, as_person, probe):
    left_with(hands, "4.0")
    client = as_person(request.getfixturevalue(who))
    before = text(client.get(reverse("probe_detail", args=[probe.pk])))
    assert "A check that is not finished shows a number beyond" in before and not Check.objects.exists()
    hands.clock.shift(QUARTER)
    shown = text(client.get(reverse("probe_detail", args=[probe.pk])))
    assert kept().checked_by.name == "Col Esker" and "Inconclusive" in shown and "You have begun a check" not in shown


def test_who_begins_a_new_check_with_it_is_told(hands, manager, as_person, probe):
    left_with(hands, "4.0")
    hands.clock.shift(QUARTER)
    other = Hands(as_person(manager), probe, hands.clock, True)
    shown = text(other.tap("start", kind="packed_crushed"))
    assert "was left unfinished for 15 minutes. It is kept as inconclusive" in shown
    assert kept().checked_by.name == "Col Esker" and CheckDraft.objects.get().person == manager


def test_a_tap_on_the_old_page_finds_it_kept_and_its_number_is_said_not_to_be_noted(hands):
    left_with(hands, "4.0")
    hands.clock.shift(QUARTER)
    shown = text(hands.tap("read", value="0.2", seen=1))
    assert kept().verdict == "inconclusive" and "“0.2” was not noted." in shown


def test_a_last_tap_on_finish_lands_on_what_was_kept(hands):
    left_with(hands, "4.0", "4.0")
    key = str(hands.draft.key)
    hands.clock.shift(QUARTER)
    assert hands.finish(key=key).url == reverse("check_detail", args=[kept().pk]) and kept().verdict == "inconclusive"


def test_given_up_it_is_kept_with_the_reason(hands, probe, cook):
    left_with(hands, "4.0")
    assert "given up, this check is recorded as inconclusive" in text(hands.look())
    again = {"again": str(hands.draft.key), "why": "The cup fell over."}
    hands.client.post(reverse("zero_check_start", args=[probe.pk]), again)
    assert kept().why[0] == "Inconclusive: this check was given up: The cup fell over."
    assert kept().typing["unfinished"] == "given up: The cup fell over"
    entry = Entry.objects.get(action="check.record_unfinished")
    assert (entry.actor_id, entry.reason) == (cook.pk, "given up: The cup fell over")
    assert "is kept as inconclusive" in text(hands.look()) and hands.look().context["phase"] == "start"
    hands.client.post(reverse("zero_check_start", args=[probe.pk]), again)
    assert Check.objects.count() == 1


def test_given_up_without_a_number_beyond_it_is_kept_and_forbids_nothing(hands, probe, cook):
    good(probe, cook, NOON - timedelta(days=1))
    left_with(hands, "0.4")
    hands.client.post(reverse("zero_check_start", args=[probe.pk]), {"again": str(hands.draft.key)})
    check = Check.objects.latest("checked_at")
    assert (check.verdict, check.why) == ("inconclusive", ["Inconclusive: this check was given up."])
    probe.refresh_from_db()
    assert probe.state.due_because == "the last check was inconclusive" and not CheckDraft.objects.exists()
    assert "check the probe again" in text(hands.look())


@pytest.mark.parametrize("key", ["x", "00000000-0000-4000-8000-000000000000"])
def test_a_key_of_no_check_gives_up_none(hands, probe, key):
    left_with(hands, "4.0")
    assert (
        hands.client.post(reverse("zero_check_start", args=[probe.pk]), {"again": key, "afresh": "1"}).status_code
        == 302
    )
    assert not Check.objects.exists() and CheckDraft.objects.count() == 1


def test_one_check_given_up_leaves_that_of_another_person_alone(hands, probe, manager, as_person):
    left_with(hands, "4.0")
    hands.clock.shift(timedelta(minutes=10))
    other = Hands(as_person(manager), probe, hands.clock, True)
    other.tap("start", kind="packed_crushed")
    other.tap("insert")
    theirs = CheckDraft.objects.get(person=manager)
    other.tap("read", value="5.0", seen=0)
    hands.clock.shift(timedelta(minutes=5))
    assert [check.checked_by.name for check in unfinished.store_left(timezone.now())] == ["Col Esker"]
    assert CheckDraft.objects.get() == theirs


def test_a_good_check_made_meanwhile_by_somebody_else_stands(hands, probe, manager):
    left_with(hands, "4.0")
    hands.clock.shift(timedelta(minutes=10))
    good(probe, manager, NOON + timedelta(minutes=5))
    hands.clock.shift(timedelta(minutes=10))
    unfinished.store_left(timezone.now())
    probe.refresh_from_db()
    assert (probe.state.standing, probe.state.at_once_because) == ("pending", "")


def test_of_a_shared_bath_the_one_that_was_left_is_kept_and_the_others_go_on(world, as_person, cook, clock):
    client, probes = as_person(cook), [world.probe, make_probe(world.site, "P2", by=world.manager)]
    one, two = (OneOf(client, probe, clock, True) for probe in probes)
    choose(client, world.site, probes)
    one.confirm("crushed", "potable", "wetted", "drained")
    for each in (one, two):
        each.put_in()
    one.read("4.0")
    clock.shift(QUARTER)
    two.read("0.1")
    two.confirm("fell")
    unfinished.store_left(timezone.now())
    assert kept().probe == one.probe and places(two) == [("P1", "check again"), ("P2", "settled")]
    two.inside()
    assert two.finish().status_code == 302 and Check.objects.count() == 2


def test_given_up_in_a_shared_bath_it_leads_to_the_next_probe(world, as_person, cook, clock):
    client, probes = as_person(cook), [world.probe, make_probe(world.site, "P2", by=world.manager)]
    one, two = (OneOf(client, probe, clock, True) for probe in probes)
    choose(client, world.site, probes)
    one.put_in()
    one.read("4.0")
    answer = client.post(reverse("zero_check_start", args=[one.probe.pk]), {"again": str(one.draft.key)})
    assert answer.url == page_of(two.probe) and kept().probe == one.probe
    choose(client, world.site, probes)
    assert len(two.draft.company) == 3, "the one that was kept stays in the list of its bath"


def test_a_new_shared_bath_keeps_what_was_left_first(world, as_person, cook, clock):
    hands = Hands(as_person(cook), world.probe, clock, True)
    left_with(hands, "4.0")
    clock.shift(QUARTER)
    choose(hands.client, world.site, [world.probe])
    assert kept().verdict == "inconclusive" and hands.draft.readings == []


def test_left_at_boiling_it_asks_for_another_check_at_boiling(as_person, cook, probe, clock):
    good(probe, cook, NOON - timedelta(days=1))
    hands = Hands(as_person(cook), probe, clock, True, BOILING)
    start_boiling(hands)
    hands.prepare(BOILING.usual)
    hands.wait(120)
    hands.read("93.0")
    clock.shift(QUARTER)
    unfinished.store_left(timezone.now())
    check = Check.objects.latest("checked_at")
    assert (check.kind, check.verdict, check.reference_milli) == ("boiling", "inconclusive", 98_266)
    probe.refresh_from_db()
    assert probe.state.at_once_because == "an unfinished check showed 93.0 °C"
    assert Reminder.objects.filter(probe=probe, point="boiling", because=probe.state.at_once_because).exists()
    assert "953 hPa" in text(hands.client.get(reverse("check_detail", args=[check.pk])))


def test_left_while_the_pressure_is_being_asked_again_nothing_is_lost(as_person, cook, probe, clock):
    hands = Hands(as_person(cook), probe, clock, True, BOILING)
    start_boiling(hands)
    hands.prepare(BOILING.usual)
    hands.wait(120)
    hands.read("98.3")
    assert hands.draft.outside_since is None
    hands.tap("air", again="1")
    assert hands.draft.outside_since == NOON + timedelta(seconds=120), "nobody knows where it boils"
    clock.shift(QUARTER)
    unfinished.store_left(timezone.now())
    assert [t.typed for t in kept().timed_readings.all()] == ["98.3"]
    assert hands.client.get(reverse("check_detail", args=[kept().pk])).status_code == 200


def test_one_that_cannot_be_kept_holds_up_no_other(world, cook, clock, monkeypatch):
    probes = [world.probe, make_probe(world.site, "P2", by=world.manager)]
    for probe in probes:
        draft = drafts.begin(cook, probe, drafts.GUIDANCE["zero"].usual, "as_found", NOON)
        drafts.insert(draft, NOON)
        drafts.read(draft, "4.0", 0, NOON)
    clock.shift(QUARTER)
    whole = unfinished.actions.record_unfinished

    def broken(**about):
        if about["probe"] == probes[0]:
            raise RuntimeError("no room")
        return whole(**about)

    monkeypatch.setattr(unfinished.actions, "record_unfinished", broken)
    with pytest.raises(RuntimeError, match="no room"):
        unfinished.store_left(NOON + QUARTER)
    assert kept().probe == probes[1] and CheckDraft.objects.get().probe == probes[0]


def test_a_tolerance_that_grew_meanwhile_keeps_what_was_beyond_it_then(hands, probe):
    left_with(hands, "0.1", "1.5")
    type(probe).objects.update(tolerance_milli=2000)
    hands.clock.shift(QUARTER)
    unfinished.store_left(timezone.now())
    assert (kept().verdict, kept().typing["showed"]) == ("inconclusive", "1.5 °C")


def test_a_clock_set_back_keeps_it_all_the_same(hands):
    left_with(hands, "4.0")
    CheckDraft.objects.update(tapped_at=NOON - timedelta(hours=1), inserted_at=NOON + timedelta(hours=1))
    [check] = unfinished.store_left(timezone.now())
    assert check.checked_at == timezone.now()


def test_looking_for_them_costs_one_query_however_many_go_on(
    world, cook, manager, supervisor, clock, django_assert_num_queries
):
    for person in (cook, manager, supervisor):
        draft = drafts.begin(person, world.probe, drafts.GUIDANCE["zero"].usual, "as_found", NOON)
        drafts.insert(draft, NOON)
        drafts.read(draft, "4.0", 0, NOON)
    with django_assert_num_queries(1):
        assert unfinished.store_left(NOON + QUARTER - timedelta(seconds=1)) == []
