"""The pages of cases, as each person meets them."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.checks.instruments import amend_probe
from compliance.quarantine.cases import load_case
from compliance.quarantine.forms import DecisionForm
from compliance.quarantine.models import Decision, Signature
from tests.checks import making
from tests.checks.making import day, good
from tests.quarantine import making as quarantine
from tests.quarantine.making import failed_after, undecided
from tests.remembered import remembered
from tests.world import make_limit, make_probe, make_reading


@pytest.fixture
def anchor(world) -> str:
    return remembered(failed, world)


@pytest.fixture
def case(anchor):
    return load_case(anchor)


def failed(world) -> str:
    return failed_after(world, "4.0", "9.0", "5.4")


@pytest.fixture
def shown(world, anchor) -> str:
    """The page of the case as the manager first opens it."""
    return remembered(first_opened, world, anchor)


def first_opened(world, anchor) -> str:
    client = Client()
    client.force_login(world.manager)
    return client.get(page(load_case(anchor))).content.decode()


def page(case):
    return reverse("case_detail", args=[case.slug])


def decide(client, case, **data):
    return client.post(reverse("case_decide", args=[case.slug]), {"outcome": "broken", "scope": "all", **data})


def test_the_list_shows_an_open_case_with_what_is_left(as_person, manager, case):
    text = as_person(manager).get(reverse("case_list")).content.decode()
    assert page(case) in text
    assert ">3<" in text


def test_the_page_opens_with_the_gravest_list(shown):
    assert "failed its check" in shown
    assert "9.0 °C" in shown
    assert "5.4 °C" not in shown


def test_each_reading_shows_what_it_could_really_have_been(shown):
    # 9.0 shown by a thermistor wrong by +0.1, then +2.4 °C at zero, each ±0.08. Coldest T: T + 2.48 + (0.2 + 0.62 · 2.48) ·
    # T/75 = 9.0, hence 6.37 °C. Hottest: T + 0.02 - (0.2 + 0.62 · 0.18) · T/75 = 9.0, hence 9.02 °C.
    assert "6.4 to 9.0 °C" in shown


def test_a_manager_decides_on_all_in_a_list(as_person, manager, case):
    decide(as_person(manager), case, fate="discarded", why="Thrown away.")
    assert Decision.objects.get().fate == "discarded"


def test_a_manager_decides_on_the_ones_ticked(as_person, manager, case):
    picked = case.probe.readings.get(typed="5.4")
    given = {"outcome": "undecided", "scope": "picked", "pick": [picked.pk], "fate": "discarded", "why": "Thrown away."}
    decide(as_person(manager), case, **given)
    assert Decision.objects.get().reading == picked


def test_a_decision_without_its_reason_is_said_at_the_top_and_what_was_typed_is_kept(as_person, manager, case):
    answer = decide(as_person(manager), case, fate="eaten", why="Served at noon")
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 0 < text.index("Say how the risk was assessed.") < text.index("failed its check"), "said at the top"
    assert "Served at noon" in text
    assert not Decision.objects.exists()


def test_stands_is_offered_only_where_the_limit_held(as_person, manager, case, shown):
    assert 'value="stands"' not in shown
    assert 'value="stands"' in as_person(manager).get(page(case) + "?show=held").content.decode()


def test_a_manager_sees_and_decides_only_on_readings_of_the_own_site(as_person, world, case):
    make_reading(world.probe, world.limit, "9.5", day(2), by=world.cook, site=world.other_site)
    client = as_person(world.manager)
    assert "9.5 °C" not in client.get(page(case)).content.decode()
    decide(client, case, fate="discarded", why="Thrown away.")
    assert set(Decision.objects.values_list("reading__site", flat=True)) == {world.site.pk}


def test_a_manager_may_not_sign(as_person, manager, case):
    assert as_person(manager).post(reverse("case_sign", args=[case.slug])).status_code == 403


@pytest.mark.parametrize("who", ["reader", "cook"])
def test_those_without_the_authority_read_but_do_not_decide(as_person, world, case, who):
    client = as_person(getattr(world, who))
    assert client.get(page(case)).status_code == 200
    assert decide(client, case, fate="discarded", why="poured away").status_code == 403


def test_a_stranger_finds_nothing(as_person, stranger, case):
    client = as_person(stranger)
    assert client.get(page(case)).status_code == 404
    assert decide(client, case, fate="discarded", why="poured away").status_code == 404


def test_a_case_that_never_was_is_not_found(as_person, manager, case):
    assert as_person(manager).get("/quarantine/check-999999/").status_code == 404


def test_the_number_of_queries_does_not_grow_with_the_readings(as_person, world, case):
    client = as_person(world.manager)
    client.get(page(case))
    with CaptureQueriesContext(connection) as few:
        client.get(page(case))
    for number in range(9):
        make_reading(world.probe, world.limit, "9.9", day(1 + number / 4), by=world.cook)
    with CaptureQueriesContext(connection) as many:
        client.get(page(case))
    assert len(many) == len(few)


def test_an_error_keeps_the_ticks_and_leads_back_to_the_lists(as_person, manager, case):
    picked = case.probe.readings.get(typed="5.4")
    given = {"outcome": "undecided", "scope": "picked", "pick": [picked.pk], "fate": "discarded"}
    text = decide(as_person(manager), case, **given).content.decode()
    assert f'name="pick" value="{picked.pk}" checked' in text
    assert f'href="{page(case)}?show=held"' in text


def test_what_was_decided_is_read_with_its_reasons_and_what_it_replaced(as_person, manager, case):
    client = as_person(manager)
    decide(client, case, fate="eaten", risk="Hardly any.", told="The head of care.", why="Served at noon.")
    picked = Decision.objects.get().reading.pk
    again = {"outcome": "decided", "scope": "picked", "pick": [picked], "fate": "discarded", "why": "Binned: 2 kg."}
    text = client.get(page(case) + "?show=decided").content.decode()
    for words in ("Served at noon.", "Risk: Hardly any.", "Told: The head of care."):
        assert words in text
    decide(client, case, **again)
    text = client.get(page(case) + "?show=decided").content.decode()
    assert "Binned: 2 kg." in text
    assert "Before: Already eaten" in text


def test_deciding_again_is_only_for_ticked_readings(as_person, manager, case):
    client = as_person(manager)
    decide(client, case, fate="discarded", why="Thrown away.")
    text = client.get(page(case) + "?show=decided").content.decode()
    assert "Decide again" in text
    assert 'name="pick"' in text
    assert "in this list" not in text
    assert decide(client, case, outcome="decided", fate="discarded", why="All of it, poured away.").status_code == 422
    assert Decision.objects.count() == 1


def test_a_manager_who_is_through_learns_who_still_has_to_decide(as_person, world, case):
    make_reading(world.probe, world.limit, "9.5", day(2), by=world.cook, site=world.other_site)
    client = as_person(world.manager)
    assert "The rest is for others" not in client.get(page(case)).content.decode()
    discard_all(world, case)
    assert "The rest is for others" in client.get(page(case)).content.decode()


def discard_all(world, case) -> None:
    """All that the manager may decide on."""
    which = undecided(case, sites=[world.site.pk])
    quarantine.decide(by=world.manager, case=case, selection=which, fate="discarded", why="Thrown away.")


def test_the_page_leads_to_its_probe_and_to_its_check(case, shown):
    assert reverse("probe_detail", args=[case.probe.pk]) in shown
    assert reverse("check_detail", args=[case.cause.pk]) in shown


def test_a_tick_that_no_page_offered_is_passed_over(as_person, manager, case):
    given = {"outcome": "undecided", "scope": "picked", "pick": ["9" * 40, "x"], "fate": "discarded", "why": "Binned."}
    assert decide(as_person(manager), case, **given).status_code == 422


def test_limits_and_readings_are_worded_as_everywhere_else(as_person, world):
    """A true minus, the hold time of the limit, and the unit of the site."""
    freezer = make_limit(world.site, by=world.manager, code="freezer", value="-18", hold_s=30)
    case = load_case(failed_after(world, "-19.7", limit=freezer))
    text = as_person(world.manager).get(page(case)).content.decode().replace("\u00a0", " ")
    assert "\u221219.7 °C" in text
    assert "at most \u221218 °C for 30 s" in text


def test_a_case_names_its_probe_as_it_was_called_at_its_end(world, as_person):
    anchor = failed_after(world, "4.0")
    good(world.probe, world.cook, day(10))
    amend_probe(by=world.manager, probe=world.probe, changes={"code": "Z9"})
    client = as_person(world.supervisor)
    for path in (reverse("case_detail", args=[anchor.replace(":", "-")]), reverse("case_list")):
        shown = client.get(path).content.decode().split("<main")[1]
        assert "P1" in shown and "Z9" not in shown


def test_many_cases_come_fifty_to_a_page_those_to_decide_first(world, as_person, monkeypatch):
    monkeypatch.setattr("shared.page_numbers.numbered_page.__defaults__", (1,))
    for number in range(2):
        probe = make_probe(world.site, f"C{number}", by=world.manager)
        making.good(probe, world.cook, making.day(0))
        make_reading(probe, world.limit, "4.0", making.day(0.5 + number), by=world.cook)
        making.bad(probe, world.cook, making.day(2 + number))
    client = as_person(world.manager)
    shown = [client.get(reverse("case_list"), {"page": page}).content.decode() for page in (1, 2)]
    assert sorted((">C0<" in page, ">C1<" in page) for page in shown) == [(False, True), (True, False)]
    assert "Page 1 of 2" in shown[0]


def test_a_decision_is_made_of_buttons_alone(as_person, manager, case):
    answer = decide(as_person(manager), case, fate="discarded", why_discarded="All of it was thrown away")
    assert answer.status_code == 302 and Decision.objects.get().why == "All of it was thrown away."


def form_of(site, **data) -> DecisionForm:
    asked = {"site_ids": [site.pk], "count": 1, "stands": False, "again": False, "zone": site.zone, "after": 0}
    return DecisionForm({"scope": "all", **data}, **asked)


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"fate": "reworked", "why_discarded": "All of it was thrown away"}, ""),
        (
            {"fate": "discarded", "why_discarded": "Sent back to the supplier", "why": "Two crates."},
            "Sent back to the supplier. Two crates.",
        ),
    ],
    ids=["what was chosen for another decision is not sent along", "own words stand behind what was chosen"],
)
def test_what_was_chosen_and_what_was_typed_are_one_text(site, given, why):
    form = form_of(site, **given)
    assert form.is_valid() and form.cleaned_data["why"] == why


def test_words_that_no_button_offers_are_refused(site):
    assert "why_discarded" in form_of(site, fate="discarded", why_discarded="<b>").errors


def test_ticks_and_the_button_for_all_contradict_each_other(as_person, manager, case):
    answer = decide(as_person(manager), case, fate="discarded", why="Binned: all.", pick=[1])
    assert answer.status_code == 422 and not Decision.objects.exists()


def test_every_count_on_the_page_is_of_what_is_in_its_list(as_person, manager, case):
    client = as_person(manager)
    decide(client, case, fate="discarded", why="Thrown away.")
    shown = client.get(page(case)).context
    assert {tile["label"]: tile["value"] for tile in shown["tiles"]} == {
        "limit broken": 0,
        "cannot be told": 1,
        "limit held": 1,
        "decided": 1,
    }
    assert ("Readings", "3, 2 still to decide") in shown["facts"] and shown["left"] == 1


def test_who_signs_sees_what_is_signed_and_says_which_they_decided_themselves(as_person, world, case):
    given = {"fate": "discarded", "why": "Thrown away."}
    quarantine.decide(by=world.manager, case=case, selection=undecided(case, "broken"), **given)
    quarantine.decide(by=world.supervisor, case=case, selection=undecided(case), **given)
    supervisor = as_person(world.supervisor)
    answer = supervisor.get(page(case))
    shown = answer.context["signs"]
    assert "Sign as Sol Venn" in answer.content.decode()
    assert shown["decisions"] == ["3 discarded"] and shown["meaning"].endswith("I made 2 of these 3 decisions myself.")
    supervisor.post(reverse("case_sign", args=[case.slug]), {"note": ""})
    signature, text = Signature.objects.get(), supervisor.get(page(case)).content.decode()
    assert (signature.signed_by, signature.meaning) == (world.supervisor, shown["meaning"])
    assert "Signed: 3 discarded." in text and "Sol Venn" in text


def test_a_case_says_whether_its_probe_is_still_out_of_use(as_person, world, case, shown):
    assert "The probe is still out of use" in shown
    good(world.probe, world.cook, day(10))
    assert "The probe is still out of use" not in as_person(world.manager).get(page(case)).content.decode()
