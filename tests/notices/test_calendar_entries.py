"""What the calendar of a site shows, to whom, and how cheaply it is asked for."""

import logging
import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings as known_settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from icalendar import Calendar

from compliance.notices.actions import open_feed, revoke_feed
from compliance.notices.log_filters import SecretsHidden
from compliance.notices.models import FeedKey
from compliance.plans.actions import set_round
from compliance.plans.data import ClosureData, PlanData, RoundData
from compliance.reminders.models import Excuse, Reminder
from compliance.reminders.planning import add_closure, change_plan, change_site, extend_horizon
from tests.checks import making
from tests.world import make_limit, make_probe, make_reading

NOW = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)  # a Wednesday
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
pytestmark = pytest.mark.usefixtures("mailing")


@pytest.fixture
def feed(world, clock):
    extend_horizon(datetime.now(UTC))
    return open_feed(by=world.manager, site=world.site, label="The wall")


def fetch(secret, **headers):
    return Client().get(reverse("feed", args=[secret]), headers=headers)


def events(feed):
    answer = fetch(feed[1])
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    return Calendar.from_ical(answer.content).events


def starts(feed):
    return [event.start for event in events(feed)]


def test_a_check_every_week_is_shown_four_weeks_ahead_the_first_for_certain(feed, world):
    making.good(world.probe, world.cook, NOW - HOUR)
    found = events(feed)
    assert [event.start for event in found] == [
        datetime(2026, 3, 18, 9, tzinfo=UTC) + 7 * DAY * n for n in range(2)
    ] + [
        datetime(2026, 4, 1, 8, tzinfo=UTC),
        datetime(2026, 4, 8, 8, tzinfo=UTC),  # nine on a clock that went forward
    ]
    assert [str(event["STATUS"]) for event in found] == ["CONFIRMED"] + ["TENTATIVE"] * 3
    assert {str(event["SUMMARY"]) for event in found} == {"Check probe P1, Alder School"}
    assert {str(event["URL"]) for event in found} == {f"https://kitchen.example/probes/{world.probe.pk}/check/"}
    assert len({str(event["UID"]) for event in found}) == 4
    assert "Due 18 Mar 2026 09:00 GMT on the clock of Alder School: every 7 days" in str(found[0]["DESCRIPTION"])
    assert "1 Apr 2026 09:00 BST" in str(found[2]["DESCRIPTION"])


def test_weekdays_a_closed_week_and_a_plan_to_come(feed, world):
    making.good(world.probe, world.cook, NOW - HOUR)
    weekdays = {"pattern": "weekdays", "weekdays": 0b10001, "at": time(9)}  # Mondays and Fridays
    change_plan(by=world.manager, data=PlanData(probe=world.probe, **weekdays))
    add_closure(
        by=world.manager,
        data=ClosureData(site=world.site, first_day=date(2026, 3, 16), last_day=date(2026, 3, 20), why="Holiday"),
    )
    change_plan(
        by=world.manager,
        data=PlanData(probe=world.probe, every_days=7, at=time(7), effective_from=date(2026, 3, 28), reason="Agreed."),
    )
    london = ZoneInfo("Europe/London")
    shown = [at.astimezone(london) for at in starts(feed)]
    assert [f"{at:%a %d %b %H:%M}" for at in shown] == [
        "Fri 13 Mar 09:00",
        "Sat 21 Mar 09:00",
        "Mon 23 Mar 09:00",
        "Fri 27 Mar 09:00",
        "Sat 28 Mar 07:00",
        "Sat 04 Apr 07:00",
    ]


def test_what_is_overdue_goes_along_on_todays_top_until_it_is_done_or_excused(feed, world, clock):
    making.good(world.probe, world.cook, NOW - 7 * DAY)
    clock.move_to(NOW - 2 * HOUR)  # due since nine, with two hours of grace
    (now, *_) = events(feed)
    assert (now.start, now["SEQUENCE"]) == (datetime(2026, 3, 11, 9, tzinfo=UTC), 0)
    clock.move_to(NOW + DAY)
    (late, following, *_) = events(feed)
    assert (str(late["SUMMARY"]), late.start) == ("Overdue: Check probe P1, Alder School", date(2026, 3, 12))
    assert (str(late["UID"]), late["SEQUENCE"]) == (str(now["UID"]), 2)
    assert following.start == datetime(2026, 3, 18, 9, tzinfo=UTC)
    excuse = {"reason": "The school is flooded.", "recorded_by": world.manager}
    Excuse.objects.create(reminder=Reminder.objects.get(probe=world.probe, due_at=NOW - 3 * HOUR), **excuse)
    assert starts(feed)[0] == datetime(2026, 3, 18, 9, tzinfo=UTC)
    making.good(world.probe, world.cook, NOW + DAY)
    assert starts(feed)[0] == datetime(2026, 3, 19, 9, tzinfo=UTC)


@pytest.fixture
def round_at(world, clock):
    clock.move_to(NOW - 6 * HOUR)
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(14)], grace_minutes=60))
    return world


def readings_of(world, clock, at):
    clock.move_to(at)
    return events(open_feed(by=world.manager, site=world.site, label=f"{at}", shows=FeedKey.Shows.READINGS))


def test_readings_are_shown_one_a_due_time_until_each_is_taken(round_at, clock):
    found = readings_of(round_at, clock, NOW - 3 * HOUR - timedelta(minutes=30))  # half past eight
    assert [event.start.hour for event in found[:3]] == [8, 14, 8] and len(found) >= 14
    first = found[0]
    assert str(first["SUMMARY"]) == "Take the reading for Cold holding, Alder School"
    url = f"https://kitchen.example/readings/add/?site={round_at.site.pk}&limit={round_at.limit.pk}"
    assert str(first["URL"]) == url
    late = readings_of(round_at, clock, NOW - 2 * HOUR)[0]
    assert (str(late["UID"]), late.start) == (str(first["UID"]), NOW.date())
    assert str(late["SUMMARY"]).startswith("Overdue: ")
    make_reading(round_at.probe, round_at.limit, "3.0", NOW - 2 * HOUR, by=round_at.cook)
    taken = readings_of(round_at, clock, NOW - HOUR)
    assert str(first["UID"]) not in {str(event["UID"]) for event in taken}
    make_reading(round_at.probe, round_at.limit, "3.0", NOW + HOUR + timedelta(minutes=30), by=round_at.cook)
    # Of two o'clock, taken half an hour before.
    early = readings_of(round_at, clock, NOW + HOUR + timedelta(minutes=40))
    assert early[0].start == datetime(2026, 3, 12, 8, tzinfo=UTC)


@pytest.mark.parametrize(
    "shows, kinds", [("both", {"Check", "Reading"}), ("checks", {"Check"}), ("readings", {"Reading"})]
)
def test_a_feed_shows_what_was_chosen_for_it(shows, kinds, round_at):
    making.good(round_at.probe, round_at.cook, NOW - 7 * HOUR)
    found = events(open_feed(by=round_at.manager, site=round_at.site, label="x", shows=shows))
    assert {str(event["CATEGORIES"].to_ical(), "ascii") for event in found} == kinds


def test_who_has_the_secret_sees_that_site_alone_and_no_person(feed, world):
    make_probe(world.other_site, "P2", by=world.manager)
    withdrawn = make_probe(world.site, "P9", by=world.manager)
    making.event(withdrawn, world.manager, "withdrawn", NOW)
    making.good(world.probe, world.cook, NOW - DAY)
    shown = fetch(feed[1]).content.decode()
    assert "P1" in shown
    for other in (world.business.name, world.cook.name, world.cook.email, "P2", "P9"):
        assert other not in shown


def test_a_site_that_is_closed_for_good_shows_nothing(feed, world):
    making.good(world.probe, world.cook, NOW - DAY)
    change_site(by=world.supervisor, site=world.site, changes={"closed": True})
    assert events(feed) == []


def test_who_has_it_already_is_told_so_until_something_changes(feed, world, clock):
    making.good(world.probe, world.cook, NOW - HOUR)
    answer = fetch(feed[1])
    assert answer["Cache-Control"] == "private, max-age=300"
    clock.shift(HOUR)
    again = fetch(feed[1], if_none_match=answer["ETag"])
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", answer["ETag"])
    making.good(world.probe, world.cook, NOW + HOUR)
    making.event(world.probe, world.manager, "dropped", NOW + HOUR)
    assert fetch(feed[1], if_none_match=answer["ETag"]).status_code == 200


def test_the_queries_do_not_grow(feed, world, clock):
    def queries():
        with CaptureQueriesContext(connection) as asked:
            fetch(feed[1])
        return len(asked)

    def more(*numbers):
        for number in numbers:
            making.good(make_probe(world.site, f"Q{number}", by=world.manager), world.cook, NOW - (number % 9) * DAY)
            limit = make_limit(world.site, by=world.manager, code=f"store-{number}")
            set_round(by=world.manager, limit=limit, data=RoundData(times=[time(6), time(13)], grace_minutes=30))

    more(1, 8)
    few = queries()
    more(*range(10, 20))
    assert queries() == few <= 10


def test_the_secret_is_nowhere_in_the_database_nor_in_the_log(feed, caplog):
    key, secret = feed
    assert len(secret) >= 43  # 256 bits in base64
    assert secret not in str(FeedKey.objects.filter(pk=key.pk).values().get())
    assert known_settings.LOGGING["handlers"]["console"]["filters"] == ["secrets"]
    caplog.handler.addFilter(SecretsHidden())
    with caplog.at_level(logging.DEBUG):
        fetch(secret + "x")
        for path in (f"/feeds/{secret}", f"/feeds/{secret}.ICS", f"/feeds/{secret}.ic"):
            Client().get(path)
        Client().post(f"/feeds/{secret}.ics")
    assert "Not Found: /feeds/" in caplog.text and secret not in caplog.text


def test_a_wrong_or_revoked_secret_finds_nothing(feed, world):
    key, secret = feed
    assert fetch(secret[:-1] + "x").status_code == 404
    assert fetch(key.digest).status_code == 404
    revoke_feed(by=world.manager, key=key)
    assert fetch(secret).status_code == 404


def test_a_managers_page_shows_the_address_once_and_revokes_it(as_person, world):
    page = reverse("feed_list", args=[world.site.pk])
    client = as_person(world.manager)
    answer = client.post(page, {"label": "The wall", "shows": "readings"})
    assert "no-store" in answer["Cache-Control"]
    shown = answer.content.decode()
    assert "Shows readings of rounds" in shown
    address = re.search(r"/feeds/[\w-]+\.ics", shown)[0]
    assert Client().get(address).status_code == 200
    kept = dict(client.session)
    assert address.split("/")[-1].removesuffix(".ics") not in str(kept)  # the secret is nowhere but in that page
    assert address not in client.get(page).content.decode() and dict(client.session) == kept
    client.post(reverse("feed_revoke", args=[FeedKey.objects.get().pk]))
    assert Client().get(address).status_code == 404
    assert "revoked" in client.get(page).content.decode()


def test_an_address_that_somebody_made_who_has_left_is_named_as_such(feed, as_person, world):
    page, left = reverse("feed_list", args=[world.site.pk]), "no longer works here"
    assert left not in as_person(world.supervisor).get(page).content.decode()
    world.manager.is_active = False
    world.manager.save()
    assert left in as_person(world.supervisor).get(page).content.decode()


def test_a_cook_makes_no_address(as_person, world):
    answer = as_person(world.cook).post(reverse("feed_list", args=[world.site.pk]), {"label": "x", "shows": "both"})
    assert answer.status_code == 403
    assert not FeedKey.objects.exists()
