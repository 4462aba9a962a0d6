"""One sheet for a round: what is due, line by line, with the probe chosen once; and what was done about a breach, by buttons."""

from datetime import UTC, datetime, time

import pytest
from django.urls import reverse

from compliance.limits.models import Direction
from compliance.plans.actions import set_round
from compliance.plans.data import RoundData
from compliance.readings.actions import set_offered_acts
from compliance.readings.forms import HeldField
from compliance.readings.models import CorrectiveAction, Deviation, Reading
from compliance.readings.offered_acts import USUAL, ActsData
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.remembered import remembered
from tests.reminders.making import told
from tests.world import make_limit

pytestmark = pytest.mark.django_db


def on(day: int, hour: int = 8, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


@pytest.fixture
def due(clock, world):
    """Five past eight: the walk-in chiller, the dairy fridge, and under a limit of its own food that is held for 2 min."""
    rows = remembered(rounds_at_eight, world)
    clock.move_to(on(12, 8, 5))
    return rows


def rounds_at_eight(world) -> dict:
    making.good(world.probe, world.cook, on(11, 9))
    cook = make_limit(world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="75", hold_s=120)
    for limit in (world.limit, cook):
        set_round(by=world.manager, limit=limit, data=RoundData(times=[time(8)], grace_minutes=60))
    for called in ("Walk-in chiller", "Dairy fridge"):
        planning.add_appliance(by=world.manager, limit=world.limit, name=called)
    rows = Reminder.objects.filter(limit__isnull=False, due_at=on(12)).order_by("appliance__name")
    found = {str(row.appliance or row.limit): row.pk for row in rows}
    return {"walk_in": found["Walk-in chiller"], "dairy": found["Dairy fridge"], "cook": found["Cook"], "limit": cook}


def _field(name: str) -> str:
    return name if "-" in name else name.replace("_", "-", 1)


@pytest.fixture
def sheet(world, due, as_person):
    """Sends what is typed into the sheet, as its page has it; with `line`, as HTMX sends one line."""
    url = reverse("today_round", args=[world.site.pk])

    def send(by=None, htmx=False, **typed):
        client = as_person(by or world.cook)
        page = client.get(url)
        keys = {f"key-{line.pk}": line.key for line in page.context["lines"]}
        data = keys | {"probe": world.probe.pk} | {_field(name): value for name, value in typed.items()}
        return client.post(url, data, **({"headers": {"HX-Request": "true"}} if htmx else {}))

    return send


def test_the_sheet_has_a_line_for_each_that_is_due_with_its_limit_and_the_only_fit_probe_chosen(world, due, as_person):
    page = as_person(world.cook).get(reverse("today_round", args=[world.site.pk]))
    assert [(line.title, line.demand) for line in page.context["lines"]] == [
        ("Dairy fridge", "at most 5\N{NO-BREAK SPACE}°C"),
        ("Walk-in chiller", "at most 5\N{NO-BREAK SPACE}°C"),
        ("Cook", "at least 75\N{NO-BREAK SPACE}°C for 2 min"),
    ]
    assert [(each["probe"], each["chosen"]) for each in page.context["probes"]] == [(world.probe, True)]
    today = as_person(world.cook).get(reverse("today_site", args=[world.site.pk])).content.decode()
    assert "Record the round (3)" in today


def test_one_line_is_saved_by_itself_and_leaves_the_others(sheet, due, world):
    answer = sheet(htmx=True, line=due["dairy"], **{f"typed_{due['dairy']}": "3.4", f"typed_{due['cook']}": "80"})
    assert answer.status_code == 200 and b"saved" in answer.content
    reading = Reading.objects.get()
    assert (str(reading.appliance), reading.item, reading.typed, reading.probe) == (
        "Dairy fridge",
        "Dairy fridge",
        "3.4",
        world.probe,
    )
    assert told(appliance__name="Dairy fridge", due_at=on(12)) == [(on(12), "cleared")]


def test_without_scripts_one_submit_saves_all_that_is_filled_in_and_leads_back(sheet, due, world):
    typed = {f"typed_{due['dairy']}": "3.4", f"typed_{due['walk_in']}": "2.9"}
    answer = sheet(
        **typed, **{f"typed_{due['cook']}": "80", f"item_{due['cook']}": "Soup", f"held_{due['cook']}": "2:00"}
    )
    assert answer["Location"] == reverse("today_site", args=[world.site.pk])
    assert sorted(Reading.objects.values_list("item", "hold_s")) == [
        ("Dairy fridge", None),
        ("Soup", 120),
        ("Walk-in chiller", None),
    ]


def test_a_hold_time_is_typed_as_people_type_it():
    held = HeldField(required=False)
    typed = {"0:30": 30, "30 s": 30, "30": 30, "2:05": 125, "1:00:00": 3600, "": None}
    assert {text: held.clean(text) for text in typed} == typed


@pytest.mark.parametrize(("typed", "seconds"), [("2:05", 125), ("", None)])
def test_a_hold_time_that_is_empty_is_not_recorded(sheet, due, typed, seconds):
    pk = due["cook"]
    answer = sheet(htmx=True, line=pk, **{f"typed_{pk}": "80", f"item_{pk}": "Soup", f"held_{pk}": typed})
    reading = Reading.objects.get()
    assert reading.hold_s == seconds and reading.lacks_hold == (seconds is None)
    assert ("hold time not recorded" in answer.content.decode()) == (seconds is None)


@pytest.mark.parametrize(
    ("typed", "said"),
    [({"typed": "abc"}, "number"), ({"typed": "3.4", "probe": ""}, "Choose the probe"), ({"typed": ""}, "Type what")],
)
def test_what_cannot_be_saved_is_said_on_its_line_and_kept(sheet, due, typed, said):
    pk = due["dairy"]
    answer = sheet(htmx=True, line=pk, **{f"{name}_{pk}" if name == "typed" else name: v for name, v in typed.items()})
    assert said in answer.content.decode() and not Reading.objects.exists()
    assert f'value="{typed["typed"]}"' in answer.content.decode()


def test_a_number_that_looks_wrong_is_asked_about_once(sheet, due):
    pk = due["dairy"]
    assert b"Look again before you save" in sheet(htmx=True, line=pk, **{f"typed_{pk}": "190"}).content
    assert not Reading.objects.exists()
    sheet(htmx=True, sure=pk, **{f"typed_{pk}": "190"})
    assert Reading.objects.get().typed == "190"


def test_the_same_line_sent_twice_is_recorded_once(world, due, as_person, clock):
    client, url = as_person(world.cook), reverse("today_round", args=[world.site.pk])
    data = {"probe": world.probe.pk, "line": due["dairy"], f"key-{due['dairy']}": "k1", f"typed-{due['dairy']}": "3.4"}
    first = client.post(url, data, headers={"HX-Request": "true"})
    clock.shift(20)
    again = client.post(url, data, headers={"HX-Request": "true"})
    assert Reading.objects.count() == 1 and b"saved" in first.content and b"saved" in again.content


def breach(sheet, due, world) -> Deviation:
    page = sheet(by=world.manager, htmx=True, line=due["dairy"], **{f"typed_{due['dairy']}": "9.2"}).content.decode()
    assert "The limit is not met" in page and "Move it." in page
    return Deviation.objects.get()


def test_a_breach_opens_under_its_line_with_the_words_of_the_site_and_is_closed_by_buttons(
    sheet, due, world, as_person, clock
):
    lists = {name: getattr(USUAL, name) for name in ("warm_causes", "cool_actions", "cool_causes", "dispositions")}
    set_offered_acts(
        by=world.manager, site=world.site, data=ActsData(warm_actions=["Took it to the blast chiller"], **lists)
    )
    deviation = breach(sheet, due, world)
    pk = deviation.pk
    told = {
        f"action_{pk}": "Took it to the blast chiller",
        f"cause_{pk}": "Door left open",
        f"disposition_{pk}": "moved",
    }
    page = as_person(world.manager).get(reverse("today_round", args=[world.site.pk])).content.decode()
    assert all(value in page for value in told.values())
    sheet(by=world.manager, htmx=True, act=pk, **told, **{f"after_{pk}": "0"})
    act = CorrectiveAction.objects.get()
    assert (act.action, act.cause, act.disposition, act.decided_by) == (*told.values(), world.manager)
    clock.shift(20)
    again = sheet(by=world.manager, htmx=True, act=pk, **told, **{f"after_{pk}": "0"})
    assert CorrectiveAction.objects.count() == 1 and b"entered this meanwhile" in again.content


def test_words_go_before_buttons_and_what_is_missing_is_said(sheet, due, world):
    pk = breach(sheet, due, world).pk
    page = sheet(by=world.manager, htmx=True, act=pk, **{f"cause_{pk}": "Door left open"}).content.decode()
    assert "Say in words what was done" in page and 'value="Door left open" checked' in page
    told = {f"action_{pk}": USUAL.warm_actions[0], f"cause_{pk}": "Door left open", f"disposition_{pk}": "moved"}
    sheet(by=world.manager, htmx=True, act=pk, **told, **{f"action_words-{pk}": "Gave it to the neighbours' kitchen"})
    assert CorrectiveAction.objects.get().action == "Gave it to the neighbours' kitchen"


def test_a_cook_sees_what_is_usual_and_records_nothing_about_it(sheet, due, world):
    page = sheet(htmx=True, line=due["dairy"], **{f"typed_{due['dairy']}": "9.2"}).content.decode()
    assert "Move it." in page and "manager records what was done" in page
    assert sheet(act=Deviation.objects.get().pk).status_code == 403


def test_when_the_last_line_is_saved_the_sheet_leads_back_to_today(sheet, due, world):
    cook, item = due["cook"], f"item_{due['cook']}"
    for pk, typed in ((due["dairy"], "3"), (due["walk_in"], "3")):
        assert "HX-Redirect" not in sheet(htmx=True, line=pk, **{f"typed_{pk}": typed})
    last = sheet(htmx=True, line=cook, **{f"typed_{cook}": "80", item: "Soup"})
    assert last["HX-Redirect"] == reverse("today_site", args=[world.site.pk])


def test_the_lists_of_a_site_are_refused_without_words(world, as_person):
    url = reverse("acts_change", args=[world.site.pk])
    page = as_person(world.manager).get(url)
    sent = {name: "\n".join(getattr(USUAL, name)) for name in ("warm_causes", "cool_actions", "cool_causes")}
    sent |= {"dispositions": list(USUAL.dispositions), "after": page.context["form"]["after"].value()}
    assert as_person(world.manager).post(url, sent | {"warm_actions": "ok"}).status_code == 422
    assert as_person(world.manager).post(url, sent | {"warm_actions": "Moved it\n\nBinned it"}).status_code == 302
    assert world.site.offered_acts.get().warm_actions == ["Moved it", "Binned it"]
