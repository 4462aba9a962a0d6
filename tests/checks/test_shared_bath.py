"""Several probes in one ice bath: one preparation, and a clock, readings and a record for each."""

from datetime import timedelta

import pytest
from django.contrib.auth import get_user
from django.urls import reverse
from django.utils import timezone

from compliance.checks import drafts, shared_bath
from compliance.checks.models import Check, CheckDraft
from compliance.metrology.bath import BathKind
from tests.conftest import NOON
from tests.world import make_probe

from .hands import Hands, TapByTap

BATH = ("crushed", "potable", "wetted", "drained")
OWN = ("stem_cleaned", "well_formed")


class OneOf(Hands):
    """The hands on one probe of several."""

    @property
    def draft(self):
        return CheckDraft.objects.get(probe=self.probe)

    def confirm(self, *points):
        drafts.mark(self.draft, [self.guidance.point(point) for point in points], "done", timezone.now())

    def put_in(self):
        self.confirm(*OWN)
        drafts.insert(self.draft, timezone.now())


class OneTapped(TapByTap, OneOf):
    def confirm(self, *points):
        for point in points:
            self.tap("point", point=point, state="done")

    def put_in(self):
        self.confirm(*OWN)
        self.tap("insert")


@pytest.fixture
def probes(world):
    return [world.probe, *(make_probe(world.site, code, by=world.manager) for code in ("P2", "P3"))]


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def three(request, as_person, cook, probes, clock):
    client = as_person(cook)
    return [OneOf(client, probe, clock, request.param) for probe in probes]


@pytest.fixture
def tapped(three):
    """The first probe tap by tap."""
    first, *others = three
    return [OneTapped(first.client, first.probe, first.clock, bool(first.headers)), *others]


def address(site):
    return reverse("today_together", args=[site.pk])


def page_of(probe):
    return reverse("zero_check", args=[probe.pk])


def choose(client, site, probes, kind="packed_crushed"):
    return client.post(address(site), {"probes": [probe.pk for probe in probes], "kind": kind})


def start(three):
    """As `choose` does."""
    probes = [hands.probe for hands in three]
    shared_bath.begin(get_user(three[0].client), probes, BathKind.PACKED_CRUSHED, timezone.now())


def chosen(three):
    return choose(three[0].client, three[0].probe.site, [hands.probe for hands in three])


def places(hands):
    return [(place.code, place.words) for place in hands.look(go="").context["bath"]]


def test_today_leads_to_the_due_probes_all_of_them_chosen(as_person, cook, site, probes, clock):
    client = as_person(cook)
    assert address(site) in client.get(reverse("today_site", args=[site.pk])).content.decode()
    shown = client.get(address(site)).content.decode()
    assert shown.count(" checked") == 3 and not CheckDraft.objects.exists()


def test_one_due_probe_needs_no_company(as_person, cook, site, probe, clock):
    assert address(site) not in as_person(cook).get(reverse("today_site", args=[site.pk])).content.decode()


def test_three_probes_one_bath_three_records(tapped, cook, clock):
    one, two, third = tapped
    assert chosen(tapped).url == page_of(one.probe)
    one.confirm(*BATH)
    assert all(hands.draft.preparation["points"] == list(BATH) for hands in tapped)
    one.put_in()
    assert two.draft.preparation["points"] == list(BATH), "a clean stem is each probe's own"
    clock.shift(timedelta(seconds=20))
    two.put_in()
    assert (one.draft.inserted_at, two.draft.inserted_at) == (NOON, NOON + timedelta(seconds=20))
    for hands, value in ((one, "0.2"), (two, "2.4")):
        hands.inside()
        hands.settle(value)
        assert hands.look().context["timing"].settled
    assert places(third) == [("P1", "settled"), ("P2", "settled"), ("P3", "waiting")]
    assert one.finish().url == page_of(two.probe)
    assert places(two) == [("P1", "finished"), ("P2", "settled"), ("P3", "waiting")]
    assert two.finish().url == page_of(third.probe)
    assert ("P2", "out of tolerance") in places(third)
    third.put_in()
    assert places(third)[2] == ("P3", "in the ice")
    third.inside()
    third.settle("0.1")
    last = third.finish()
    checks = {check.probe.code: check for check in Check.objects.select_related("probe")}
    assert last.url == reverse("today_site", args=[one.probe.site_id]), "the day has more to do than the last check"
    said = one.client.get(last.url).content.decode()
    assert "3 probes checked." in said and "Discard the ice" in said
    assert (
        f'<a href="{reverse("check_detail", args=[checks["P2"].pk])}">P2</a>: out of tolerance, stop using it.' in said
    )
    assert {code: c.error_milli for code, c in checks.items()} == {"P1": 200, "P2": 2400, "P3": 100}
    assert {code: c.verdict for code, c in checks.items()} == {
        "P1": "in_tolerance",
        "P2": "out_of_tolerance",
        "P3": "in_tolerance",
    }
    assert all(len(c.preparation["points"]) == 10 and c.checked_by == cook for c in checks.values())
    assert checks["P1"].timed_readings.count() == checks["P2"].timed_readings.count() == 6
    assert not CheckDraft.objects.exists()


def test_a_bath_in_which_all_pass_ends_on_the_day_of_the_site(three):
    for last in two_of(three):
        last.settle("0.1")
        answer = last.finish()
    assert answer.url == reverse("today_site", args=[last.probe.site_id])
    assert "2 probes checked, all in tolerance." in last.client.get(answer.url).content.decode()


def test_a_last_probe_that_fails_leads_to_its_check_and_what_to_do_now(three):
    for hands, value in zip(two_of(three), ("0.1", "2.4"), strict=True):
        hands.settle(value)
        answer = hands.finish()
    assert answer.url == reverse("check_detail", args=[Check.objects.get(probe=hands.probe).pk])


def test_who_fails_on_the_way_is_told_at_once(three):
    first, second = two_of(three)
    first.settle("2.4")
    said = first.client.get(first.finish().url).content.decode()
    assert "P1: out of tolerance, stop using it. Label it and keep it apart." in said
    assert 'class="message tone-bad"' in said


def two_of(three):
    """Two probes in the ice, all confirmed."""
    start(three[:2])
    three[0].confirm(*BATH)
    for hands in three[:2]:
        hands.put_in()
        hands.inside()
    return three[:2]


def test_the_others_go_in_first_and_the_longest_in_is_read_first(three, clock):
    one, two, third = three
    start(three)
    one.confirm(*BATH)
    assert shown(one).get("onward") is None, "it is not in yet"
    one.put_in()
    assert (onward := shown(one)["onward"]).url == page_of(two.probe) and "P2" in onward.label
    clock.shift(timedelta(seconds=20))
    for hands in (two, third):
        hands.put_in()
    assert shown(third)["onward"].url == page_of(one.probe)
    assert not shown(one)["onward"].url and "From 1:30" in shown(one)["onward"].hint
    assert shown(one)["onward"].changes_in_ms == 70_000
    assert 'hx-trigger="look, load delay:70000ms"' in one.look(go="").content.decode()
    clock.shift(timedelta(seconds=80))
    assert shown(one)["onward"].hint == "Type what it shows."
    assert 'hx-trigger="look"' in one.look(go="").content.decode()
    one.inside()
    one.read("0.1")
    assert shown(one)["onward"] is None and shown(one)["timing"].settled, (
        "one reading after 90 s is enough, as was said"
    )


def shown(hands):
    return hands.look(go="").context


def test_what_is_each_probes_own_is_confirmed_as_it_goes_in_and_the_next_one_follows(three):
    one, two, third = three
    start(three)
    one.confirm("drained")
    listed = ["crushed", "potable", "wetted", *OWN]
    assert leads_to(one.tap("insert", point=listed)) == page_of(two.probe)
    assert set(one.draft.preparation["points"]) == {*BATH, *OWN}
    assert set(two.draft.preparation["points"]) == set(BATH)
    assert leads_to(two.tap("insert", point=list(OWN))) == page_of(third.probe)
    assert leads_to(third.tap("insert", point=list(OWN))) == page_of(one.probe), "the longest in is read first"


def leads_to(answer):
    return answer.headers.get("HX-Redirect") or answer.redirect_chain[-1][0]


def all_in_and_read(three, *values):
    start(three)
    three[0].confirm(*BATH)
    for hands in three:
        hands.put_in()
    three[0].wait(95)
    return [hands.read(value) for hands, value in zip(three, values, strict=True)]


def say(three, what, *of, **data):
    data |= {"say": what, "draft": [str(hands.draft.key) for hands in of], "key": str(three[-1].draft.key)}
    return three[-1].tap("bath", **data)


def test_a_whole_bath_is_seen_to_fall_and_is_finished_with_one_tap_each(three):
    first, second, last = all_in_and_read(three, "0.1", "0.0", "0.2")
    assert (leads_to(first), leads_to(second)) == (page_of(three[1].probe), page_of(three[2].probe))
    assert "Did you see each of them fall?" in last.content.decode()
    say(three, "fell", *three)
    shown = three[-1].look(go="").content.decode()
    assert 'name="confirmed" value="packed immersed"' in shown and "All 3 packed and deep: finish" in shown
    say(three, "finish", *three, confirmed="packed immersed")
    checks = list(Check.objects.order_by("probe__code"))
    assert [check.verdict for check in checks] == ["in_tolerance"] * 3
    assert all({"packed", "immersed", "fell"} < set(check.preparation["points"]) for check in checks)
    again = three[-1].tap("bath", say="finish", key=str(checks[2].key), draft=[str(c.key) for c in checks])
    assert Check.objects.count() == 3 and again.status_code in (200, 302)


def test_one_that_nobody_saw_fall_is_not_said_to_have(three):
    all_in_and_read(three, "0.1", "0.0", "0.2")
    say(three, "stood", three[0])
    say(three, "fell", three[1], three[2])
    assert "fell" in three[0].draft.preparation["left"] and "fell" in three[1].draft.preparation["points"]
    assert "Not yet: P1." in three[-1].look(go="").content.decode()
    say(three, "finish", three[1], three[2], confirmed="packed immersed")
    assert sorted(Check.objects.values_list("probe__code", flat=True)) == ["P2", "P3"]
    assert "packed" not in three[0].draft.preparation["points"]


def test_a_number_that_raises_a_question_stays_in_sight(three):
    answers = all_in_and_read(three, "0.1", "2.4", "0.2")
    assert "HX-Redirect" not in answers[1].headers and "One number fails no probe" in answers[1].content.decode()


def test_what_is_said_of_a_bath_reaches_no_check_of_anybody_else(three, manager, probes):
    all_in_and_read(three, "0.1", "0.0", "0.2")
    theirs = shared_bath.begin(manager, probes, BathKind.PACKED_CRUSHED, NOON)
    keys = [str(draft.key) for draft in theirs]
    three[0].tap("bath", say="fell", draft=keys)
    said = CheckDraft.objects.filter(person=manager).values_list("preparation", flat=True)
    assert all(each["points"] == [] for each in said)


def test_a_point_that_is_unknown_ticks_none_of_the_others(three):
    one = three[0]
    start(three)
    url = reverse("zero_check_point", args=[one.probe.pk])
    assert one.client.post(url, {"point": ["crushed", "sung_to"], "state": "done"}).status_code == 404
    assert one.draft.preparation["points"] == []


def test_the_way_back_from_a_shared_bath_is_the_day(three):
    start(three)
    assert shown(three[0])["back_url"] == reverse("today_site", args=[three[0].probe.site_id])


def test_what_is_done_to_the_ice_later_is_not_said_of_a_probe_that_is_in(three):
    one, two, _ = three
    start(three)
    one.confirm("crushed", "potable", "wetted")
    one.tap("point", point="drained", state="left")
    one.put_in()
    two.confirm("drained")
    assert "drained" not in one.draft.preparation["points"] and "drained" in two.draft.preparation["points"]


def test_a_bath_of_half_an_hour_is_drained_again_first(three, clock):
    one, two, third = three
    start(three)
    one.confirm(*BATH)
    one.put_in()
    clock.shift(timedelta(minutes=30))
    two.confirm(*OWN)
    assert two.look().context["guide"].current is None, "exactly thirty minutes is not over"
    clock.shift(timedelta(seconds=1))
    shown = two.look()
    assert shown.context["guide"].current.task.title == "Drain it again"
    assert "over 30 minutes old" in shown.content.decode()
    assert "over 30 minutes old" in two.tap("insert").content.decode() and two.draft.inserted_at is None
    two.confirm("drained")
    assert two.look().context["guide"].current is None
    assert third.look().context["guide"].current.task.point == "stem_cleaned"
    two.tap("insert")
    assert two.draft.inserted_at == NOON + timedelta(minutes=30, seconds=1) and one.draft.inserted_at == NOON


def test_a_bath_that_was_not_drained_again_says_so(three, clock):
    start(three)
    three[0].confirm(*BATH)
    clock.shift(timedelta(minutes=31))
    three[0].tap("point", point="drained", state="left")
    three[0].put_in()
    assert three[0].draft.inserted_at and "drained" not in three[0].draft.preparation["points"]


def test_cubes_in_water_are_filled_up_again(three, clock):
    choose(three[0].client, three[0].probe.site, [h.probe for h in three], kind="stirred_cubes")
    three[0].confirm("potable")
    clock.shift(timedelta(minutes=31))
    assert three[1].look().context["guide"].current.task.title == "Fill it up again"


def test_one_given_up_leaves_the_others_alone(three):
    one, two, third = three
    start(three)
    one.confirm(*BATH)
    two.put_in()
    two.read("4.0")
    answer = third.client.post(reverse("zero_check_start", args=[third.probe.pk]), {"again": str(third.draft.key)})
    assert answer.url == page_of(two.probe), "the one in the ice comes first"
    assert places(one) == [("P1", "waiting"), ("P2", "in the ice")]
    assert len(two.draft.readings) == 1 and not Check.objects.exists()


def test_a_check_begun_before_joins_with_its_readings(three):
    one, two, third = three
    one.tap("start", kind="packed_crushed")
    one.confirm(*BATH)
    one.put_in()
    one.read("3.0")
    key = one.draft.key
    start(three)
    assert one.draft.key == key and len(one.draft.readings) == 1 and one.draft.together == two.draft.together
    assert third.draft.preparation["points"] == list(BATH), "it is the same cup of ice"


def test_sending_the_choice_twice_makes_one_bath_and_loses_nothing(three):
    chosen(three)
    three[1].confirm("crushed")
    before = {(d.key, d.together) for d in CheckDraft.objects.all()}
    chosen(three)
    assert {(d.key, d.together) for d in CheckDraft.objects.all()} == before
    assert three[0].draft.preparation["points"] == ["crushed"]


def test_a_probe_left_for_an_hour_starts_again_in_the_bath_of_the_others(three, clock):
    one, two, _ = three
    start(three)
    one.confirm(*BATH)
    one.put_in()
    one.read("0.5")
    clock.shift(timedelta(hours=2))
    assert one.look().context["phase"] == "resume"
    again = {"again": str(one.draft.key), "afresh": "1"}
    one.client.post(reverse("zero_check_start", args=[one.probe.pk]), again)
    assert (one.draft.inserted_at, one.draft.readings, one.draft.preparation["points"]) == (None, [], [])
    assert one.draft.together == two.draft.together and one.look().context["phase"] == "prepare"


def test_yesterdays_ice_is_not_taken_for_todays(three, cook, clock):
    start(three)
    three[0].confirm(*BATH)
    old = three[0].draft.together
    clock.shift(timedelta(days=1))
    three[0].client.force_login(cook)  # who was idle so long has to sign in again
    start(three)
    assert all(hands.draft.preparation["points"] == [] for hands in three) and three[0].draft.together != old


def test_timing_again_takes_the_bath_as_it_is_now(three, clock):
    one, two, _ = three
    start(three)
    one.confirm(*BATH)
    one.put_in()
    clock.shift(timedelta(minutes=31))
    two.confirm("drained")
    one.tap("take_out")
    assert one.draft.bath_at == two.draft.bath_at and not drafts.is_stale(one.draft, NOON + timedelta(minutes=32))


def test_looking_writes_nothing(three):
    start(three)
    before = list(CheckDraft.objects.order_by("pk").values())
    for hands in three:
        hands.look()
        hands.client.get(address(hands.probe.site))
    assert list(CheckDraft.objects.order_by("pk").values()) == before


def test_a_probe_that_went_to_another_site_is_left_out(three, other_site):
    start(three)
    type(three[2].probe).objects.filter(pk=three[2].probe.pk).update(site=other_site)
    assert [code for code, _ in places(three[0])] == ["P1", "P2"]


@pytest.mark.parametrize("where", ["foreign_site", "other_site"])
def test_a_probe_of_elsewhere_is_refused(where, request, as_person, cook, site, probes, clock):
    elsewhere = make_probe(request.getfixturevalue(where), "X1", by=cook)
    answer = choose(as_person(cook), site, [probes[0], elsewhere])
    assert "not in use at this site" in answer.content.decode() and not CheckDraft.objects.exists()


def test_none_chosen_is_told(as_person, cook, site, probes, clock):
    assert "Choose at least one probe" in choose(as_person(cook), site, []).content.decode()


@pytest.mark.parametrize("who, status", [("stranger", 404), ("reader", 403), ("cook", 200), ("supervisor", 200)])
def test_who_may(who, status, request, as_person, site, probes, clock):
    client = as_person(request.getfixturevalue(who))
    assert client.get(address(site)).status_code == status
    assert choose(client, site, probes).status_code == (302 if status == 200 else status)


def test_baths_of_two_people_do_not_mix(as_person, cook, manager, site, probes, clock):
    mine = shared_bath.begin(cook, probes, BathKind.PACKED_CRUSHED, NOON)
    theirs = shared_bath.begin(manager, probes, BathKind.PACKED_CRUSHED, NOON)
    assert mine[0].together != theirs[0].together
    hands = OneOf(as_person(cook), probes[0], clock, True)
    hands.tap("point", point="crushed", state="done")
    marked = CheckDraft.objects.filter(person=manager).values_list("preparation", flat=True)
    assert all(each["points"] == [] for each in marked)
