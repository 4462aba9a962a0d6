"""The pages of drift and advice: who sees them, who may accept, what a stale page does, and how many queries they take."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.advice import views
from compliance.advice.forms import AcceptForm
from compliance.advice.models import Acceptance
from compliance.probes.actions import move
from compliance.probes.models import Probe
from tests.advice.making import found, history, read_daily, rising, steady
from tests.plans.making import check_every, days_of
from tests.remembered import remembered
from tests.world import make_probe


@pytest.fixture
def known(world, clock):
    """A probe that drifts, with readings; the advice is longer than a week."""
    return remembered(drifting, world)


def drifting(world) -> Probe:
    history(world.probe, world.cook, rising(16, step=15), expanded=80)
    read_daily(world, world.probe, 10, per_day=2)
    return world.probe


def page(probe, name="probe_outlook"):
    return reverse(name, args=[probe.pk])


def text_of(response) -> str:
    return response.content.decode().replace("\N{NO-BREAK SPACE}", " ")


def advised(probe) -> dict:
    """What the form offers; that the page has it, whoever accepts sees."""
    return views._accept_form(views._outlook(probe)).initial


def accept(client, probe, **changes):
    return client.post(page(probe, "probe_outlook_accept"), {**advised(probe), "why": "", **changes})


def test_the_page_says_it_in_words_before_the_picture_and_the_figures(as_person, reader, known):
    text = text_of(as_person(reader).get(page(known)))
    marks = [
        "It drifts up by about 0.07 °C a month.",
        "Checked weekly, a failure puts about 15 readings in doubt",
        "Advice: check",
        'class="chart"',
        "Show the figures",
        "Where this comes from",
    ]
    places = [text.find(mark) for mark in marks]
    assert -1 not in places
    assert places == sorted(places)
    assert text.count("chart-wide") == text.count("chart-narrow") == 1


def test_whoever_sees_the_probe_sees_the_page_and_only_managers_the_form(as_person, world, known):
    for person, offered in (
        (world.reader, False),
        (world.cook, False),
        (world.manager, True),
        (world.supervisor, True),
    ):
        answer = as_person(person).get(page(known))
        assert (answer.status_code, answer.context["form"] is not None) == (200, offered), person
    assert as_person(world.stranger).get(page(known)).status_code == 404


def test_a_person_accepts_and_the_page_says_who(as_person, world, known):
    client = as_person(world.manager)
    shown = client.get(page(known)).context["form"].initial
    assert accept(client, known, **shown).status_code == 302
    known.refresh_from_db()
    stored = Acceptance.objects.get()
    assert days_of(known) == stored.days_accepted == stored.days_advised != 7
    assert stored.figures["checks"] == 16
    text = text_of(as_person(world.reader).get(page(known)))
    assert "Accepted so far" in text
    assert "Mara Holt" in text


@pytest.mark.parametrize("who, status", [("reader", 403), ("cook", 403), ("stranger", 404)])
def test_others_may_not_accept(as_person, world, known, who, status):
    assert accept(as_person(getattr(world, who)), known).status_code == status
    assert not Acceptance.objects.exists()


def test_a_manager_of_where_it_was_may_look_and_not_accept(as_person, world, known):
    move(by=world.supervisor, probe=known, site=world.other_site, starts_at=timezone.now(), reason="Lent.")
    answer = as_person(world.manager).get(page(known))
    assert (answer.status_code, answer.context["form"]) == (200, None)
    assert as_person(world.manager).post(page(known, "probe_outlook_accept"), {}).status_code == 403


def test_other_days_need_a_reason_and_what_was_typed_stays(as_person, manager, known):
    answer = accept(as_person(manager), known, days="5")
    assert answer.status_code == 422
    assert "Say why" in text_of(answer)
    assert 'value="5"' in text_of(answer)
    assert not Acceptance.objects.exists()
    assert accept(as_person(manager), known, days="5", why="We cook on five days.").status_code == 302
    assert Acceptance.objects.get().why == "We cook on five days."


@pytest.mark.parametrize("days", ["", "many", "0", "400"])
def test_nonsense_is_refused(days):
    form = AcceptForm({"days": days, "before": 7, "advised": 14, "why": "As agreed."}, advised=14, before=7)
    assert list(form.errors) == ["days"]


def test_nonsense_is_refused_on_the_page(as_person, manager, known):
    answer = accept(as_person(manager), known, days="many", why="As agreed.")
    assert answer.status_code == 422
    assert not Acceptance.objects.exists()


def test_a_page_from_before_somebody_set_the_days_changes_nothing(as_person, world, known):
    client = as_person(world.manager)
    shown = advised(known)
    check_every(known, 2, by=world.supervisor)
    answer = client.post(page(known, "probe_outlook_accept"), {**shown, "why": ""})
    assert answer.status_code == 422
    assert "Somebody has set the checks to every 2 days meanwhile" in text_of(answer)
    known.refresh_from_db()
    assert days_of(known) == 2
    # What comes back begins from what is so now, so that a second look and a second press do it.
    assert 'name="before" value="2"' in text_of(answer)


def test_a_page_from_before_a_check_changed_the_advice_changes_nothing(as_person, world, known):
    client = as_person(world.manager)
    answer = accept(client, known, advised="1")
    assert answer.status_code == 422
    assert "A check came in meanwhile: the advice was every day" in text_of(answer)
    assert not Acceptance.objects.exists()


def test_a_failed_probe_has_nothing_to_accept(as_person, world):
    history(world.probe, world.cook, [*steady(8), 1800])
    client = as_person(world.manager)
    answer = client.get(page(world.probe))
    assert answer.context["form"] is None
    assert "Put it right first" in text_of(answer)
    posted = client.post(page(world.probe, "probe_outlook_accept"), {"days": 1, "before": 7, "advised": 1})
    assert posted.status_code == 302
    assert not Acceptance.objects.exists()


def test_a_probe_never_checked_has_a_page_too(as_person, world):
    text = text_of(as_person(world.reader).get(page(world.probe)))
    assert "There is no check yet" in text
    assert "No checks yet" in text


def test_the_part_for_the_probes_page_is_a_fragment_with_a_link(as_person, world, known):
    answer = as_person(world.reader).get(page(known, "probe_outlook_part"))
    text = text_of(answer)
    assert "It drifts up" in text
    assert page(known) in text
    assert "<html" not in text


def test_the_probes_page_links_to_it_with_and_without_script(as_person, world, known):
    text = text_of(as_person(world.reader).get(reverse("probe_detail", args=[known.pk])))
    assert f'href="{page(known)}"' in text
    assert f'hx-get="{page(known, "probe_outlook_part")}"' in text


def queries(client, address) -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        assert client.get(address).status_code == 200
    return len(captured)


def test_the_page_takes_as_many_queries_for_a_long_life_as_for_a_short_one(as_person, world, known):
    client = as_person(world.manager)
    before = queries(client, page(known))
    for number in range(40):
        found(known, world.cook, timezone.now() - timedelta(days=300 + number), 100)
    read_daily(world, known, 30, per_day=2)
    assert queries(client, page(known)) == before


def test_the_list_takes_as_many_queries_for_thrice_the_probes(as_person, world):
    def more(count, start):
        for number in range(start, start + count):
            history(make_probe(world.site, f"Q{number}", by=world.manager), world.cook, rising(4))

    client, address = as_person(world.supervisor), reverse("outlook_list")
    more(3, 0)
    client.get(address)
    few = queries(client, address)
    more(6, 3)
    assert queries(client, address) == few


def test_the_list_puts_the_most_urgent_first_and_shows_only_my_sites(as_person, world, known):
    bad, calm = (make_probe(world.other_site, code, by=world.manager) for code in ("Q1", "Q2"))
    away = make_probe(world.foreign_site, "Q9", by=world.stranger)
    history(bad, world.cook, [*steady(5), 1900])
    history(calm, world.cook, steady(12), expanded=80)
    history(away, world.cook, steady(5))
    text = text_of(as_person(world.supervisor).get(reverse("outlook_list")))
    places = [text.find(f">{code}</a>") for code in ("Q1", "P1", "Q2")]
    assert -1 not in places
    assert places == sorted(places)
    assert ">Q9<" not in text
    assert ">Q1<" not in text_of(as_person(world.manager).get(reverse("outlook_list")))


def test_a_probe_to_be_adjusted_is_told_on_its_page_and_in_the_list(as_person, world):
    history(world.probe, world.cook, steady(12, at=960))
    client = as_person(world.manager)
    text = text_of(client.get(page(world.probe)))
    assert "Adjust or replace it now</" in text and "it may be out by tomorrow" in text
    assert text.count("no interval is short enough") == 1
    assert "adjust it now" in text_of(client.get(reverse("outlook_list")))


def test_the_list_goes_on_by_key_and_misses_nobody(as_person, world, monkeypatch):
    monkeypatch.setattr(views, "PAGE", 2)
    for number, milli in enumerate([300, 300, 300, 700]):
        history(make_probe(world.site, f"Q{number}", by=world.manager), world.cook, [milli])
    client, address, seen = as_person(world.manager), reverse("outlook_list"), []
    while address:
        answer = client.get(address)
        seen.append([outlook.probe.code for outlook in answer.context["table"].data.data])
        older = answer.context["table"].pager.older
        address = older and reverse("outlook_list") + older
    assert [sorted(codes) for codes in seen] == [["Q0", "Q3"], ["Q1", "Q2"], ["P1"]]


@pytest.mark.parametrize("mangled", ["x", "~", "5~x", "5~99999999999999999999", "²~3"])
def test_a_mangled_page_name_gives_the_first_page(as_person, world, mangled):
    answer = as_person(world.manager).get(reverse("outlook_list"), {"from": mangled})
    assert answer.status_code == 200
    assert answer.context["table"].pager.newer is None
