"""A reading measured again speaks for one food or unit, under one limit at one site, and only where it was taken later."""

import uuid
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from compliance.checks.models import CheckDraft
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from compliance.quarantine.measured_again import name_of, offers
from compliance.quarantine.models import Decision, Fate
from compliance.readings import actions as readings
from compliance.readings.models import Reading
from compliance.reminders.planning import add_appliance
from tests.checks.making import bad, day, good
from tests.quarantine import making
from tests.quarantine.making import failed_after
from tests.records.making import take
from tests.remembered import remembered
from tests.world import make_limit, make_person, make_probe, make_reading, make_version


@pytest.fixture
def other(failed):
    """Another probe, good since day 0."""
    return failed[1]


@pytest.fixture
def anchor(failed):
    """Soup read at 4.0 °C on day 0.5 and at 4.2 °C on day 1, in a case that began with the failure on day 9."""
    return failed[0]


@pytest.fixture
def failed(world):
    return remembered(build_failed, world)


def build_failed(world) -> tuple:
    probe = make_probe(world.site, "P2", by=world.manager, limits=[world.limit])
    good(probe, world.cook, day(0))
    return failed_after(world, "4.0", "4.2"), probe


def decide(world, anchor, reading, ids=None, **given):
    case = load_case(anchor)
    which = Selection(sites=tuple(case.sites), ids=ids, undecided=True)
    given = {"by": world.manager, "fate": Fate.MEASURED_AGAIN, **given}
    return making.decide(case=case, selection=which, good_reading=reading, **given)


def refused(world, anchor, reading, words, **given):
    with pytest.raises(ValidationError, match=words) as caught:
        decide(world, anchor, reading, **given)
    assert list(caught.value.error_dict) == ["good_reading"]
    assert not Decision.objects.exists()


def test_a_later_one_of_the_same_food_speaks_for_it_and_its_standing_is_kept(world, anchor, other):
    again = take(world, "3.9", day(10), probe=other)
    assert decide(world, anchor, again) == 2
    kept = Decision.objects.first()
    assert (kept.good_reading, kept.good_standing, kept.sensor) == (again, "pending", "thermistor")
    assert (kept.behind.verdict, kept.ahead.verdict) == ("in_tolerance", "out_of_tolerance")


def test_the_same_probe_will_do_after_a_good_check(world, anchor):
    again = take(world, "3.9", day(12), used_despite="Nothing else at hand.")
    refused(world, anchor, again, "itself in doubt")
    good(world.probe, world.cook, day(11))
    assert decide(world, anchor, again) == 2


def test_a_custard_of_the_day_before_does_not_release_a_fridge(world, anchor, other):
    refused(world, anchor, take(world, "3.9", day(0.2), probe=other, item="Custard"), "of Custard.*Name one of Soup")


@pytest.mark.parametrize("at", [0.2, 0.75, 1])
def test_it_has_to_be_later_than_each_of_them(world, anchor, other, at):
    refused(world, anchor, take(world, "3.9", day(at), probe=other), "not taken later")


def test_it_has_to_be_under_the_same_limit_of_which_a_later_version_is_fine(world, anchor, other):
    rice = make_limit(world.site, by=world.manager, code="cooling", value="8")
    refused(world, anchor, take(world, "3.9", day(10), probe=other, limit=rice), "“Cooling”, not “Cold holding”")
    make_version(world.limit, by=world.manager, value="4", effective_from=day(9.5))
    assert decide(world, anchor, take(world, "3.9", day(10), probe=other)) == 2


def test_it_is_judged_by_the_version_in_force_when_it_was_taken_even_where_that_was_set_later(world, anchor, other):
    again = take(world, "4.6", day(10), probe=other)
    make_version(world.limit, by=world.manager, value="4.5", effective_from=day(9.5))
    refused(world, anchor, again, "beyond its limit")


def test_it_has_to_be_of_the_same_site(world, anchor, other):
    elsewhere = make_reading(other, world.limit, "3.9", day(10), by=world.cook, site=world.other_site)
    refused(world, anchor, elsewhere, "another site", by=world.supervisor)


def test_one_of_a_probe_that_was_not_to_be_used_speaks_for_nothing(world, anchor, other):
    CheckDraft.objects.create(
        key=uuid.uuid4(), probe=other, person=world.cook, started_at=day(9.9), outside_since=day(9.9)
    )
    again = take(world, "3.9", day(10), probe=other, used_despite="Nothing else at hand.")
    refused(world, anchor, again, "not to be used")


def test_one_that_was_struck_out_speaks_for_nothing(world, anchor, other):
    again = take(world, "3.9", day(10), probe=other)
    readings.void(by=world.cook, reading=again, reason="Wrong fridge.")
    refused(world, anchor, again, "struck out")


def test_one_beyond_its_limit_speaks_for_nothing(world, anchor, other):
    refused(world, anchor, take(world, "5.6", day(10), probe=other), "beyond its limit")


def test_several_foods_are_refused_with_what_to_do(world, anchor, other):
    take(world, "4.1", day(2), item="Rice")
    again = take(world, "3.9", day(10), probe=other)
    refused(world, anchor, again, "of Soup, Rice|of Rice, Soup")
    soup = tuple(Reading.objects.filter(item="Soup", probe=world.probe).values_list("pk", flat=True))
    assert decide(world, anchor, again, ids=soup) == 2


def test_another_fate_keeps_no_reading_that_it_does_not_rest_on(world, anchor, other):
    decide(world, anchor, take(world, "3.9", day(0.2), probe=other), fate=Fate.DISCARDED, why="Binned.")
    assert set(Decision.objects.values_list("good_reading", flat=True)) == {None}


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Soup", " sOUP ", True),
        ("Fridge 1", "fridge1", True),
        ("Crème brûlée", "Cre\u0300me bru\u0302le\u0301e", True),
        ("Groß", "GROSS", True),
        ("Ｆｒｉｄｇｅ\u00a0２", "fridge 2", True),
        ("Tray 1 2", "tray  1  2", True),
        ("Tray 1 2", "Tray 12", False),
        ("Fridge 1", "Fridge 2", False),
        ("Soup", "Soups", False),
    ],
)
def test_how_foods_are_compared(one, other, same):
    assert (name_of(one) == name_of(other)) == same


@given(st.text())
def test_upper_case_and_wide_spaces_change_nothing(item):
    assert name_of(name_of(item)) == name_of(item)
    assert name_of(f"  {item} ".replace(" ", "\u2003 ")) == name_of(item)


# The form.


def page(client, anchor, **query) -> str:
    return client.get(
        reverse("case_detail", args=[anchor.replace(":", "-")]), {"show": "held", **query}
    ).content.decode()


def post(client, anchor, **data):
    return client.post(
        reverse("case_decide", args=[anchor.replace(":", "-")]), {"outcome": "held", "fate": "measured_again", **data}
    )


def offered(text: str) -> str:
    return text.split('name="good_reading"', 1)[1].split("</select>", 1)[0]


def test_the_form_offers_what_fits_under_the_food_that_it_speaks_for(world, as_person, anchor, other):
    late = take(world, "4.1", day(3), item="Rice")
    fits, rice = (
        take(world, "3.9", day(10), probe=other, item="SOUP"),
        take(world, "3.7", day(10.1), probe=other, item="rice"),
    )
    others = [
        take(world, "3.8", day(0.4), probe=other),
        take(world, "3.6", day(1), probe=other, item="rice"),
        take(world, "3.5", day(10), probe=other, item="Custard"),
        take(world, "5.5", day(10), probe=other),
        late,
    ]
    shown = offered(page(as_person(world.manager), anchor))
    assert 'optgroup label="Soup · Cold holding"' in shown and 'optgroup label="Rice · Cold holding"' in shown
    assert [f'value="{reading.pk}"' in shown for reading in (fits, rice, *others)] == [True, True, *[False] * 5]


def test_a_form_that_comes_back_offers_only_what_speaks_for_all_that_are_ticked(world, as_person, anchor, other):
    first, last = world.probe.readings.order_by("taken_at")
    early, late = (take(world, "3.9", at, probe=other) for at in (day(0.75), day(10)))
    ask = {"scope": "picked", "pick": [first.pk, last.pk]}
    answer = post(as_person(world.manager), anchor, good_reading=early.pk, **ask)
    text = answer.content.decode()
    assert answer.status_code == 422 and "not taken later than those chosen" in text
    assert f'value="{early.pk}"' not in offered(text) and f'value="{late.pk}"' in offered(text)
    assert f'name="pick" value="{first.pk}" checked' in text
    post(as_person(world.manager), anchor, good_reading=late.pk, **ask)
    assert Decision.objects.count() == 2


def test_without_one_the_form_says_so(world, as_person, anchor):
    assert "take one first" in offered(page(as_person(world.manager), anchor))


def named(world) -> set[Reading]:
    """What is offered for the readings of the probe that failed."""
    doubted = list(world.probe.readings.select_related("site", "limit_version__limit"))
    return {reading for offer in offers(doubted, (), [world.site.pk]) for reading in offer.readings}


def test_an_old_one_is_offered_however_many_came_since(world, anchor, other, monkeypatch):
    monkeypatch.setattr("compliance.quarantine.measured_again.LOOKED_AT", 2)
    again = take(world, "3.9", day(10), probe=other)
    for number in range(3):
        take(world, "3.9", day(10) + timedelta(hours=1 + number), probe=other, item="Custard")
    assert named(world) == {again}


def test_a_reading_of_a_site_of_others_is_no_choice(world, as_person, anchor, other):
    cook = make_person("Ada Brook", 20, site=world.other_site)
    elsewhere = make_reading(other, world.limit, "3.9", day(10), by=cook, site=world.other_site)
    answer = post(as_person(world.manager), anchor, good_reading=elsewhere.pk, scope="all")
    assert answer.status_code == 422 and not Decision.objects.exists()


def test_a_probe_that_fails_takes_its_readings_out_of_the_offer(world, anchor, other):
    again = take(world, "3.9", day(10), probe=other)
    assert named(world) == {again}
    bad(other, world.cook, day(11))
    assert named(world) == set()


def test_where_none_is_named_each_is_decided_by_the_next_of_its_own_and_the_rest_is_told(
    world, as_person, anchor, other
):
    take(world, "4.1", day(3), item="Rice")
    take(world, "4.0", day(3.1), item="Custard")
    between = take(world, "3.6", day(0.75), probe=other)
    soup, _, rice = (
        take(world, "3.9", day(10), probe=other, item="SOUP"),
        take(world, "3.8", day(11), probe=other),
        take(world, "3.7", day(10.1), probe=other, item="rice"),
    )
    client, case = as_person(world.manager), load_case(anchor)
    text = page(client, anchor)
    assert "3.9 °C" in text.replace("\u00a0", " ") and "Measured again" in text
    answer = client.post(
        reverse("case_decide", args=[case.slug]),
        {"outcome": "held", "fate": "measured_again", "scope": "all", "most": 4},
        follow=True,
    )
    said = answer.content.decode()
    assert "3 readings decided on. 1 other not measured again: still to decide." in said
    spoken = Decision.objects.order_by("reading__taken_at").values_list(
        "reading__item", "good_reading", "good_standing"
    )
    assert list(spoken) == [("Soup", between.pk, "pending"), ("Soup", soup.pk, "pending"), ("Rice", rice.pk, "pending")]
    assert load_case(anchor).undecided == 1


def test_where_nothing_was_measured_again_nothing_is_decided(world, anchor, other):
    refused(world, anchor, None, "None of these was measured again")
    take(world, "5.6", day(10), probe=other)
    CheckDraft.objects.create(
        key=uuid.uuid4(), probe=other, person=world.cook, started_at=day(10.5), outside_since=day(10.5)
    )
    take(world, "3.9", day(10.6), probe=other, used_despite="Nothing else at hand.")
    refused(world, anchor, None, "None of these was measured again")


def test_an_appliance_is_followed_through_another_name_and_not_mistaken_for_its_namesake(world, anchor, other):
    fridge, twin = (
        add_appliance(by=world.manager, limit=world.limit, name=name) for name in ("Fridge", "Other fridge")
    )
    take(world, "4.1", day(3), item="Fridge", appliance=fridge)
    of_the_twin = take(world, "3.8", day(10), probe=other, item="Fridge", appliance=twin)
    renamed = take(world, "3.7", day(11), probe=other, item="Milk fridge", appliance=fridge)
    ids = tuple(Reading.objects.filter(item="Fridge", probe=world.probe).values_list("pk", flat=True))
    assert decide(world, anchor, None, ids=ids) == 1
    assert Decision.objects.get().good_reading == renamed
    everything = Selection(sites=(world.site.pk,), ids=ids)
    told = {"by": world.manager, "case": load_case(anchor), "selection": everything, "fate": Fate.MEASURED_AGAIN}
    assert making.decide(good_reading=renamed, **told) == 1
    with pytest.raises(ValidationError, match="of another appliance"):
        making.decide(good_reading=of_the_twin, **told)
