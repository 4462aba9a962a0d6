"""Each tile of an area leads to a list of exactly what it counts; so does what the weekly message says was missed."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.overview.area_lists import MISSED_DAYS
from compliance.plans.calendar import DAY
from compliance.plans.models import Reminder, Round
from compliance.quarantine.cases import load_case
from compliance.quarantine.models import Fate
from compliance.readings.models import Deviation
from compliance.reminders.actions import excuse_reminder, void_excuse
from compliance.reminders.missed import missed_by_site
from compliance.reminders.models import Excuse
from sites.models import Membership, Role, Site
from tests.checks import making
from tests.notices.test_enqueue import NINE, due, tell, told
from tests.quarantine.making import decide, undecided
from tests.remembered import remembered
from tests.world import PASSWORD, World, make_limit, make_person, make_probe, make_reading

__all__ = ["due"]
NOON = datetime(2026, 3, 11, 12, tzinfo=UTC)
pytestmark = pytest.mark.usefixtures("clock")


def round_of(limit):
    given = {"times": ["08:00"], "recorded_by": limit.versions.get().recorded_by, "effective_from": date(2025, 1, 1)}
    return Round.objects.get_or_create(limit=limit, defaults=given)[0]


def asked(site, days, *, probe=None, limit=None, until=1.0, **fields):
    """Asked for so many days ago, over after `until` days."""
    due_at = NOON - timedelta(days=days)
    each = limit and round_of(limit)
    return Reminder.objects.create(
        site=site,
        probe=probe,
        round=each,
        limit=limit,
        opens_at=due_at - timedelta(hours=20),
        due_at=due_at,
        grace_at=due_at + timedelta(hours=2),
        closes_at=due_at + timedelta(days=until),
        because="at 12:00",
        **fields,
    )


@pytest.fixture
def busy(db):
    return remembered(busy_world)


def busy_world() -> World:
    """Two open sites, one that is closed, one of another area; at each the same is wrong."""
    world = World.build()
    world.head = make_person("Hal Ingram", Role.SUPERVISOR, area=world.area)
    Membership.objects.create(person=world.head, role=Role.SUPERVISOR, area=world.far_area)
    closed = Site.objects.create(area=world.area, name="Dogwood Hall", time_zone="Europe/London")
    for number, site in enumerate((world.site, world.other_site, closed, world.far_site)):
        wrong_at(site, world, number)
    Site.objects.filter(pk=closed.pk).update(closed=True)
    world.closed = closed
    return world


def wrong_at(site, world, number):
    limit = make_limit(site, by=world.manager, code=f"chill-{number}")
    probes = {name: make_probe(site, f"{name}{number}", by=world.manager) for name in ("fail", "gone", "good", "done")}
    for name in ("fail", "gone", "done"):
        making.good(probes[name], world.cook, NOON - timedelta(days=9))
        reading = make_reading(probes[name], limit, "7.0", NOON - timedelta(days=5), by=world.cook)
        Deviation.objects.create(reading=reading, why="2 °C above the limit", recorded_by=world.cook)
        check = making.bad(probes[name], world.cook, NOON - timedelta(days=1))
    decided = load_case(f"check:{check.pk}")
    decide(by=world.manager, case=decided, selection=undecided(decided), fate=Fate.DISCARDED, why="Thrown away.")
    making.event(probes["gone"], world.cook, "withdrawn", NOON - timedelta(hours=20))
    making.good(probes["good"], world.cook, NOON - timedelta(days=20))
    what_became_of_it(site, world, probes, limit)


def what_became_of_it(site, world, probes, limit):
    """Of the good probe: two missed, two excused, one lifted, one done, one open still, one too long ago."""
    of_good = {"probe": probes["good"]}
    asked(site, 12, **of_good), asked(site, MISSED_DAYS - 0.1, **of_good), asked(site, MISSED_DAYS + 0.1, **of_good)
    for days in (14, 16):
        excuse_reminder(by=world.manager, reminder=asked(site, days, **of_good), reason="Away.")
    asked(site, 18, cancelled_at=NOON - timedelta(days=17.5), cancelled_because="a closure", **of_good)
    asked(site, 20.1, **of_good)
    asked(site, 0.5, **of_good)  # open still
    asked(site, 13, probe=probes["gone"])  # missed before it was withdrawn
    asked(site, 8, limit=limit, until=0.2)
    asked(site, 9, limit=limit, until=0.2)
    asked(site, 5.1, limit=limit, until=0.2)  # read


def tiles_of(client, area):
    return {tile["label"]: tile for tile in client.get(reverse("area_detail", args=[area.pk])).context["tiles"]}


def rows_at(client, address):
    """Every row of a list, page by page."""
    rows = []
    while address:
        answer = client.get(address)
        assert answer.status_code == 200, address
        table = answer.context["table"]
        rows += list(table.data)
        path, older = address.partition("?")[0], table.pager.older
        address = f"{path}{older}" if older else None
    return rows


def listed(client, area, tile):
    """How much there is behind a tile."""
    if tile["url"].startswith("#"):
        page = client.get(reverse("area_detail", args=[area.pk]))
        assert f'id="{tile["url"][1:]}"' in page.content.decode()
        if tile["url"] == "#sites":
            addresses = re.findall(r'href="([^"]*/reviews/)"', page.content.decode())
            lists = [client.get(address).context["days"] for address in addresses]
            return sum(day["badge_value"] == "late" for days in lists for day in days)
        return len(page.context["failed"].rows)
    if tile["url"].startswith(reverse("case_list")):
        page = client.get(tile["url"])
        assert page.context["closed_table"] is None
        lines = [row.summary for row in page.context["open_table"].data]
        return len(lines) if "to_sign" in tile["url"] else sum(line.undecided for line in lines)
    return len(rows_at(client, tile["url"]))


def test_every_tile_leads_to_a_list_of_exactly_what_it_counts(as_person, busy):
    for person in (busy.supervisor, busy.head):
        client = as_person(person)
        tiles = tiles_of(client, busy.area)
        assert {label: tile["value"] for label, tile in tiles.items()} == {
            "probes out of tolerance": 4,
            "readings to decide on": 4,
            "deviations open": 6,
            "checks overdue": 7,
            "checks missed": 6,
            "rounds missed": 4,
            "days not reviewed in time": 18,
            "cases to sign": 2,
        }
        assert {label: listed(client, busy.area, tile) for label, tile in tiles.items()} == {
            label: tile["value"] for label, tile in tiles.items()
        }


def test_the_counts_of_the_sites_add_up_to_the_tiles_and_lead_to_their_own_lists(as_person, busy):
    client = as_person(busy.supervisor)
    page = client.get(reverse("area_detail", args=[busy.area.pk])).content.decode()
    links = re.findall(r'href="([^"]*/missed/\?site=[^"]*)">(\d+)<', page)
    assert len(links) == 4
    for address, count in links:
        assert len(rows_at(client, address.replace("&amp;", "&"))) == int(count)
    tiles = tiles_of(client, busy.area)
    assert sum(int(n) for _, n in links) == tiles["checks missed"]["value"] + tiles["rounds missed"]["value"]


def test_an_excuse_that_is_struck_out_is_missed_again(as_person, busy):
    client, before = as_person(busy.supervisor), tiles_of(as_person(busy.supervisor), busy.area)["checks missed"]
    void_excuse(by=busy.manager, excuse=Excuse.objects.filter(reminder__site=busy.site).first(), reason="Not away.")
    after = tiles_of(client, busy.area)["checks missed"]
    assert after["value"] == before["value"] + 1 == listed(client, busy.area, after)


def test_a_check_entered_late_takes_what_it_cleared_off_tile_and_list(as_person, busy):
    client = as_person(busy.supervisor)
    probe = Reminder.objects.filter(site=busy.other_site, probe__code="good1").first().probe
    making.good(probe, busy.cook, NOON - timedelta(days=12.1))
    tile = tiles_of(client, busy.area)["checks missed"]
    assert tile["value"] == 5 == listed(client, busy.area, tile)


def test_more_than_a_page_of_missed_checks_is_counted_and_listed_alike(as_person, busy):
    for number in range(60):
        asked(busy.site, 3 + number / 100, probe=busy.probe, until=0.1)
    client = as_person(busy.supervisor)
    tile = tiles_of(client, busy.area)["checks missed"]
    assert tile["value"] == 66 == listed(client, busy.area, tile)
    assert "66 checks missed" in client.get(tile["url"]).content.decode()


def test_nothing_missed_leads_nowhere(as_person, world):
    tiles = tiles_of(as_person(world.supervisor), world.area)
    assert (tiles["checks missed"]["value"], tiles["checks missed"]["url"]) == (0, "")
    shown = as_person(world.supervisor).get(reverse("area_missed", args=[world.area.pk])).content.decode()
    assert "Nothing was missed." in shown and "0 checks and readings missed" in shown


@pytest.mark.parametrize("name", ["area_missed", "area_overdue"])
def test_the_lists_are_for_those_of_the_whole_area_alone(as_person, busy, name):
    address = reverse(name, args=[busy.area.pk])
    reader = make_person("Una Reed", Role.READER, area=busy.area)
    statuses = {
        person.name: as_person(person).get(address).status_code
        for person in (busy.supervisor, reader, busy.manager, busy.stranger, busy.rival)
    }
    assert list(statuses.values()) == [200, 200, 404, 404, 404]
    page = as_person(reader).get(f"{reverse('area_missed', args=[busy.area.pk])}").content.decode()
    assert "/excuse/" not in page


def test_a_mangled_address_shows_more_rather_than_an_error(as_person, world):
    client, address = as_person(world.supervisor), reverse("area_missed", args=[world.area.pk])
    queries = ("site=999999", "site=x", "what=nothing", "week=rubbish", "after=x", "site=" + "9" * 30)
    assert {query: client.get(f"{address}?{query}").status_code for query in queries} == dict.fromkeys(queries, 200)


def test_a_foreign_area_or_state_in_the_address_of_the_cases(as_person, busy):
    client = as_person(busy.supervisor)
    assert client.get(f"{reverse('case_list')}?area={busy.far_area.pk}").status_code == 404
    assert client.get(f"{reverse('case_list')}?area=x&state=nonsense").status_code == 200
    theirs = client.get(f"{reverse('deviation_list')}?area={busy.far_area.pk}").context["table"]
    assert "Cedar School" not in {str(row.reading.site) for row in theirs.data}


def test_the_queries_do_not_grow_with_what_was_missed(as_person, busy):
    client, names = as_person(busy.supervisor), ("area_detail", "area_missed", "area_overdue")

    def asked_by(name):
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse(name, args=[busy.area.pk]))
        return len(queries)

    for name in names:
        asked_by(name)  # what is kept from the first time on
    few = {name: asked_by(name) for name in names}
    for number in (10, 11):
        more = Site.objects.create(area=busy.area, name=f"More {number}", time_zone="Europe/London")
        wrong_at(more, busy, number)
    assert {name: asked_by(name) for name in names} == few


def test_one_query_counts_for_every_site(busy, django_assert_num_queries):
    with django_assert_num_queries(1):
        found = missed_by_site([busy.site.pk, busy.other_site.pk], NOON)
    assert found == {busy.site.pk: (3, 2), busy.other_site.pk: (3, 2)}


def test_what_the_weekly_message_says_was_missed_is_listed_where_it_leads(client, due, mailing, clock):
    """From the text of the mail to the sign-in and on to the very week; a stranger who has the address finds nothing."""
    clock.move_to(NINE)
    tell(NINE, clock)  # the area is in the book
    for days in range(1, 13):
        tell(NINE + days * DAY + timedelta(hours=6), clock)
    digest = next(each for each in told("digest", due.supervisor) if "missed" in each.subject)
    (count,) = re.findall(r"Alder School: (\d+) missed", digest.text)
    (address,) = re.findall(r"https://kitchen\.example(/areas/\d+/missed/\?\S+)", digest.text)
    asked_to = client.get(address)
    assert asked_to.status_code == 302 and "sign-in" in asked_to.url
    arrived = client.post(asked_to.url, {"username": due.supervisor.email, "password": PASSWORD})
    assert arrived.url == address
    assert len(rows_at(client, address)) == int(count) >= 1
    clock.move_to(NINE + 40 * DAY)  # in the old mail it is that week still
    client.force_login(due.supervisor)
    assert len(rows_at(client, address)) == int(count)
    for person in (due.stranger, due.manager):
        client.force_login(person)
        assert client.get(address).status_code == 404


@pytest.fixture
def mailing(settings):
    settings.MAIL_WORKS, settings.DEFAULT_FROM_EMAIL = True, "Noughtbook <book@kitchen.example>"
    settings.ADDRESS = "https://kitchen.example"
