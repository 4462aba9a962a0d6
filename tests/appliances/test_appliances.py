"""Each appliance has its rounds: no reading of one ticks off another, and none is owed while it is out of use."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from compliance.appliances.actions import LATEST_ENTRY
from compliance.appliances.data import OutOfUseData
from compliance.appliances.models import Appliance, BackInUse, OutOfUse
from compliance.plans.actions import set_round
from compliance.plans.data import RoundData
from compliance.readings import actions as readings
from compliance.readings.importing import import_file
from compliance.readings.models import Reading
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.readings.files import HEADER, csv_file, row
from tests.records.making import record_of, section, take
from tests.reminders.making import told
from tests.world import make_limit

ROWS = Reminder.objects.filter(limit__isnull=False)
pytestmark = pytest.mark.django_db


def on(day: int, hour: int = 8, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


def name(world, called: str, **given) -> Appliance:
    return planning.add_appliance(by=world.manager, limit=given.pop("limit", world.limit), name=called, **given)


def out(world, appliance, by=None, **given) -> OutOfUse:
    data = OutOfUseData(**{"why": "defrosting", **given})
    return planning.take_out_of_use(by=by or world.cook, appliance=appliance, data=data)


@pytest.fixture
def two(clock, world):
    """At eight and at two, of two fridges, named yesterday at noon; now it is five past eight of the 12th. The probe is good."""
    making.good(world.probe, world.cook, on(11, 9))
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(14)], grace_minutes=60))
    found = name(world, "Walk-in chiller", place="back kitchen"), name(world, "Dairy fridge")
    clock.move_to(on(12, 8, 5))
    return found


def status_of(appliance, due_at=None) -> str:
    return dict(told(appliance=appliance))[due_at or on(12)]


def test_a_reading_of_one_fridge_leaves_the_round_of_the_other_open(world, two):
    walk_in, dairy = two
    take(world, "3.0", on(12, 8, 2), appliance=walk_in)
    assert (status_of(walk_in), status_of(dairy)) == ("cleared", "due")
    take(world, "3.1", on(12, 8, 4), appliance=dairy)
    assert status_of(dairy) == "cleared"


def test_a_reading_that_names_no_appliance_clears_none(world, two):
    take(world, "3.0", on(12, 8, 2))
    assert [status_of(each) for each in two] == ["due", "due"]


def test_a_limit_without_appliances_goes_on_and_any_reading_under_it_counts(world, two, clock):
    other = make_limit(world.site, by=world.manager, code="hot")
    set_round(by=world.manager, limit=other, data=RoundData(times=[time(9)]))
    clock.move_to(on(12, 9, 5))
    take(world, "4.0", on(12, 9, 1), limit=other)
    assert told(limit=other) == [(on(12, 9), "cleared")]


def test_what_had_fallen_due_of_the_limit_itself_before_they_were_named_stays(world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(14)], grace_minutes=60))
    clock.move_to(on(11, 14, 10))
    name(world, "Walk-in chiller")
    assert [(row.appliance_id, row.due_at) for row in ROWS.filter(due_at__lte=on(11, 15))] == [(None, on(11, 14))]
    assert set(ROWS.filter(due_at__gt=on(11, 15)).values_list("appliance__name", flat=True)) == {"Walk-in chiller"}


def test_retired_nothing_more_falls_due_and_where_none_is_left_the_limit_itself_is_asked_for(world, two):
    for each in two:
        planning.change_appliance(by=world.manager, appliance=each, changes={"retired": True}, reason="sold")
    ahead = ROWS.filter(due_at__gt=on(12, 9))
    assert set(ahead.values_list("appliance", flat=True)) == {None}
    assert [status_of(each) for each in two] == ["due", "due"], "what has fallen due stays"


def test_out_of_use_no_round_is_owed_and_what_fell_due_in_that_time_says_why(world, two, clock):
    walk_in, dairy = two
    away = out(world, walk_in, starts_at=on(12, 7, 30))
    assert (status_of(walk_in), status_of(dairy)) == ("cancelled", "due")
    assert (
        "out of use, defrosting; entered by Col Esker" in ROWS.get(appliance=walk_in, due_at=on(12)).cancelled_because
    )
    assert not ROWS.filter(appliance=walk_in, due_at__gt=on(12)).exists()
    clock.move_to(on(13, 13))
    planning.put_back_in_use(by=world.cook, out_of_use=away)
    assert ROWS.filter(appliance=walk_in, due_at__gt=on(12)).earliest("due_at").due_at == on(13, 14)


def test_struck_out_what_fell_due_in_that_time_was_owed(world, two, clock):
    away = out(world, two[0], starts_at=on(12, 7, 30), ends_at=on(12, 18))
    clock.move_to(on(12, 15))
    planning.void_out_of_use(by=world.manager, out_of_use=away, reason="the wrong one was tapped")
    assert told(appliance=two[0]) == [(on(11, 14), "missed"), (on(12), "missed"), (on(12, 14), "overdue")]


def test_with_an_end_the_rounds_after_it_are_there_already(world, two):
    out(world, two[0], ends_at=on(13, 10))
    assert [due for due in ROWS.filter(appliance=two[0], due_at__gt=on(12)).values_list("due_at", flat=True)][0] == on(
        13, 14
    )


@pytest.mark.parametrize(
    "given",
    [
        {"starts_at": on(12, 8, 6)},
        {"starts_at": on(12, 8, 5) - LATEST_ENTRY - timedelta(minutes=1)},
        {"ends_at": on(12, 8, 5)},
        {"why": "bored"},
    ],
    ids=["to come", "long ago", "no time at all", "no reason known"],
)
def test_what_cannot_be_is_refused(world, two, given):
    with pytest.raises(ValidationError):
        out(world, two[0], **given)
    assert not OutOfUse.objects.exists()


def test_out_of_use_twice_or_back_twice_is_refused_and_changes_nothing(world, two):
    away = out(world, two[0])
    with pytest.raises(ValidationError, match="already"):
        out(world, two[0], why="broken")
    planning.put_back_in_use(by=world.cook, out_of_use=away)
    with pytest.raises(ValidationError, match="already"):
        planning.put_back_in_use(by=world.cook, out_of_use=away)
    assert (OutOfUse.objects.count(), BackInUse.objects.count()) == (1, 1)


def test_two_of_one_name_are_refused_until_one_is_retired(world, two):
    with pytest.raises(ValidationError, match="called"):
        name(world, "dairy FRIDGE")
    planning.change_appliance(by=world.manager, appliance=two[1], changes={"retired": True}, reason="sold")
    assert name(world, "Dairy fridge") != two[1]


def test_an_appliance_of_another_limit_is_refused(world, two):
    other = make_limit(world.site, by=world.manager, code="hot")
    with pytest.raises(ValidationError, match="measured against"):
        take(world, "70", on(12, 8, 1), limit=other, appliance=two[0])


def test_a_correction_that_names_the_other_appliance_clears_its_round_instead(world, two):
    walk_in, dairy = two
    wrong = take(world, "3.0", on(12, 8, 2), appliance=walk_in)
    data = readings.ReadingData(
        key="another",
        probe=world.probe,
        site=world.site,
        limit=world.limit,
        appliance=dairy,
        item=wrong.item,
        typed="3.0",
        unit="C",
        taken_at=wrong.taken_at,
    )
    readings.correct(by=world.cook, reading=wrong, reason="It was the other fridge.", data=data)
    assert (status_of(walk_in), status_of(dairy)) == ("due", "cleared")


# -------------------------------------------------------------------------------------------------------------- pages, paper


def test_today_asks_for_each_by_name_and_leads_to_its_form(world, two, as_person):
    page = as_person(world.cook).get(reverse("today_site", args=[world.site.pk])).content.decode()
    assert "Reading: Walk-in chiller" in page and "back kitchen" in page
    url = f"{reverse('reading_add')}?site={world.site.pk}&limit={world.limit.pk}&appliance={two[1].pk}"
    assert url.replace("&", "&amp;") in page
    form = as_person(world.cook).get(url).context["form"]
    sent = {"key": form["key"].value(), "probe": world.probe.pk, "limit": world.limit.pk, "typed": "3.2", "unit": "C"}
    as_person(world.cook).post(url, sent | {"appliance": two[1].pk})
    assert Reading.objects.get().appliance == two[1] and Reading.objects.get().item == "Dairy fridge"
    assert status_of(two[1]) == "cleared"


def test_one_tap_takes_it_out_of_use_and_another_puts_it_back(world, two, as_person):
    client, today = as_person(world.cook), reverse("today_site", args=[world.site.pk])
    client.post(reverse("appliance_out", args=[two[0].pk]), {"why": "broken"})
    page = client.get(today).content.decode()
    assert "Out of use since 12 Mar 08:05: broken" in page and "Reading: Walk-in chiller" in page, "it fell due before"
    client.post(reverse("out_of_use_back", args=[OutOfUse.objects.get().pk]))
    assert "Out of use since" not in client.get(today).content.decode()


def test_the_way_back_leads_to_no_other_address(world, two, as_person):
    answer = as_person(world.cook).post(
        reverse("appliance_out", args=[two[0].pk]), {"why": "empty", "next": "//elsewhere.example/"}
    )
    assert answer["Location"] == reverse("today_site", args=[world.site.pk])


def test_the_record_tells_of_rounds_and_readings_by_appliance_and_of_times_out_of_use(world, two, clock):
    walk_in, dairy = two
    take(world, "3.3", on(12, 8, 2), appliance=walk_in, item="Milk, top shelf")
    planning.change_appliance(by=world.manager, appliance=walk_in, changes={"name": "Cold room"})
    out(world, dairy, why="broken", note="the engineer comes on Friday")
    clock.move_to(on(13, 18))
    text = record_of(world.site, on(12).date(), on(13).date())
    planned, rounds = section(text, "Planned and done"), section(text, "Appliances and their rounds")
    assert "Cold room (Cold holding): at 14:00" in planned and "Walk-in chiller (Cold holding)" not in planned, "done"
    assert "Cold room back kitchen Cold holding 4 1 0 2 0 1" in rounds, "due, done, late, missed, excused, other"
    assert "Dairy fridge 12 Mar 2026 08:05 not yet back Broken: the engineer comes on Friday. CE" in rounds
    assert "Milk, top shelf (Walk-in chiller)" in section(text, "Readings")
    assert "name Walk-in chiller Cold room" in text


def test_a_file_names_an_appliance_or_none(world, two):
    header = f"{HEADER},appliance"
    rows = [
        f"{row(taken_at='2026-03-12T08:01+00:00')},dairy fridge",
        f"{row(taken_at='2026-03-12T08:02+00:00')},",
        f"{row(taken_at='2026-03-12T08:03+00:00')},Attic",
    ]
    made = import_file(by=world.manager, file_name="a.csv", content=csv_file(*rows, header=header))
    assert (made.added, made.refused_count) == (2, 1) and "no appliance “Attic”" in str(made.refused)
    assert list(Reading.objects.order_by("taken_at").values_list("appliance__name", flat=True)) == [
        "Dairy fridge",
        None,
    ]
    assert (status_of(two[0]), status_of(two[1])) == ("due", "cleared")
    again = import_file(by=world.manager, file_name="a.csv", content=csv_file(*rows[:2], header=header))
    assert (again.added, again.known) == (0, 2)
