"""The pages of readings: who may open them, what they say, and that they ask the database no more for more rows."""

import re
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.checks.models import BEGINNING, END, Span
from compliance.limits.models import Direction
from compliance.readings.actions import void
from compliance.readings.models import Reading
from compliance.reminders import planning
from shared.keyset import page_by_key
from tests.checks.making import good
from tests.readings.helpers import EARLIER, correct, form_data, take
from tests.world import make_limit, make_probe

pytestmark = pytest.mark.usefixtures("clock")


def page_of(client, name, *args, **query):
    return client.get(reverse(name, args=args), query)


def test_strangers_find_nothing(world, as_person):
    reading = take(world)
    for person in (world.stranger, world.rival):
        client = as_person(person)
        for name in ("reading_detail", "reading_correct", "reading_void"):
            assert page_of(client, name, reading.pk).status_code == 404, name


@pytest.mark.parametrize(
    ("name", "reader", "cook", "manager"),
    [("reading_detail", 200, 200, 200), ("reading_correct", 403, 200, 200), ("reading_void", 403, 403, 200)],
)
def test_each_page_of_a_reading_asks_for_its_role(world, as_person, name, reader, cook, manager):
    reading = take(world)
    for person, status in ((world.reader, reader), (world.cook, cook), (world.manager, manager)):
        assert page_of(as_person(person), name, reading.pk).status_code == status
        if status == 403:
            assert as_person(person).post(reverse(name, args=[reading.pk]), {"reason": "mistyped"}).status_code == 403


def test_only_cooks_and_above_take_readings_and_only_at_their_sites(world, as_person):
    assert page_of(as_person(world.reader), "reading_add").status_code == 403
    assert page_of(as_person(world.reader), "reading_add", site=world.site.pk).status_code == 403
    assert page_of(as_person(world.cook), "reading_add", site=world.foreign_site.pk).status_code == 404
    assert page_of(as_person(world.cook), "reading_add").status_code == 200
    post = as_person(world.reader).post(reverse("reading_add") + f"?site={world.site.pk}", form_data(world))
    assert post.status_code == 403 and not Reading.objects.exists()


def test_lists_show_only_readings_of_my_sites(world, as_person):
    take(world, item="mine")
    assert "mine" in page_of(as_person(world.reader), "reading_list").content.decode()
    assert "mine" not in page_of(as_person(world.stranger), "reading_list").content.decode()


def test_a_supervisor_sees_the_readings_of_all_sites_of_the_area_and_no_others(world, as_person):
    for site, person in ((world.site, world.cook), (world.other_site, world.supervisor), (world.far_site, world.cook)):
        limit = make_limit(site, by=world.manager, code="own")
        take(world, site=site, limit=limit, by=person, item=f"at {site}")
    client = as_person(world.supervisor)
    assert items_in(client) == {"at Alder School", "at Birch House"}
    assert items_in(client, site=world.other_site.pk) == {"at Birch House"}
    assert items_in(client, site=world.far_site.pk) == {"at Alder School", "at Birch House"}


def send(client, world, **facts):
    return client.post(reverse("reading_add") + f"?site={world.site.pk}", form_data(world, **facts))


def test_a_breach_says_at_once_what_to_do(world, as_person):
    client = as_person(world.cook)
    answer = send(client, world, typed="6,5")
    words = client.get(answer.url).content.decode()
    assert (
        "The limit is not met" in words and "Move it." in words and "6.5 °C is above the limit of at most 5 °C" in words
    )
    assert "a manager writes down what was done" in words


def test_a_good_reading_says_so_and_was_taken_now(world, as_person, clock):
    good(world.probe, world.cook, EARLIER)
    client = as_person(world.cook)
    answer = send(client, world)
    assert "The limit is met" in client.get(answer.url).content.decode()
    assert Reading.objects.get().taken_at.isoformat() == "2026-03-11T12:00:00+00:00"


def test_two_taps_record_one_reading_even_a_moment_later(world, as_person, clock):
    client, data = as_person(world.cook), form_data(world)
    first = client.post(reverse("reading_add"), data)
    clock.shift(timedelta(seconds=2))
    assert client.post(reverse("reading_add"), data).url == first.url
    assert Reading.objects.count() == 1


def test_another_reading_under_the_same_key_is_asked_about_and_then_saved(world, as_person):
    client, data = as_person(world.cook), form_data(world)
    client.post(reverse("reading_add"), data)
    answer = client.post(reverse("reading_add"), data | {"typed": "4.2"})
    form = answer.context["form"]
    assert "already sent" in answer.content.decode() and form.data["key"] != data["key"]
    client.post(reverse("reading_add"), data | {"typed": "4.2", "key": form.data["key"]})
    assert Reading.objects.count() == 2


def test_a_doubt_is_asked_about_once(world, as_person):
    client = as_person(world.cook)
    make_probe(world.other_site, "P2", by=world.manager)
    asked = send(client, world, typed="250")
    assert asked.status_code == 200 and "outside the working range" in asked.content.decode()
    assert not Reading.objects.exists()
    assert send(client, world, typed="250", all_the_same="on").status_code == 302


@pytest.mark.parametrize(
    ("unit", "edge", "beyond", "question"),
    [
        ("C", "105", "105.1", "105.1 °C is hotter than food gets: is the display in °F?"),
        ("F", "221", "221.1", "221.1 °F is hotter than food gets: was the decimal point missed?"),
    ],
)
def test_what_is_hotter_than_food_gets_is_asked_about_and_nothing_is_lost(
    world, as_person, unit, edge, beyond, question
):
    client = as_person(world.cook)
    asked = send(client, world, typed=beyond, unit=unit, item="Soup, pot 2")
    assert asked.status_code == 200 and question in asked.content.decode() and not Reading.objects.exists()
    form = asked.context["form"]
    assert [form[name].value() for name in ("typed", "unit", "item")] == [beyond, unit, "Soup, pot 2"]
    assert "The display shows °" in asked.content.decode() and asked.context["all_the_same"]
    assert send(client, world, typed=beyond, unit=unit, all_the_same="on").status_code == 302
    assert "hotter than food" not in send(client, world, typed=edge, unit=unit).content.decode()


def test_the_limits_that_a_probe_serves_come_first(world, as_person):
    make_limit(world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="70", hold_s=120)
    answer = as_person(world.cook).get(
        reverse("reading_add"), {"probe": world.probe.pk}, headers={"HX-Request": "true"}
    )
    words = answer.content.decode()
    assert words.index("Cold holding") < words.index("Other limits here") < words.index("Cook</option>")
    assert "at most 5 °C" in words and "<html" not in words


def test_a_limit_with_a_hold_time_asks_how_long(world, as_person):
    cook = make_limit(world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="70", hold_s=120)
    client = as_person(world.cook)
    asked = client.get(reverse("reading_add"), {"limit": cook.pk}, headers={"HX-Request": "true"}).content.decode()
    assert "Held for" in asked and "It must stay there for 2 min" in asked
    send(client, world, limit=cook.pk, typed="71", hold_s="90 s")
    assert Reading.objects.get().deviation.why == "held for 1 min 30 s, the limit asks for 2 min"


def test_a_display_in_the_other_unit(world, as_person):
    client = as_person(world.cook)
    headers = {"HX-Request": "true", "HX-Target": "value-part"}
    asked = client.get(reverse("reading_add"), {"unit": "F", "typed": "41"}, headers=headers).content.decode()
    assert "°F" in asked and 'value="41"' in asked and "limit" not in asked
    send(client, world, typed="41", unit="F")
    assert Reading.objects.get().value_milli == 5000


def test_hours_that_the_clocks_skip_are_refused(world, as_person):
    answer = send(as_person(world.cook), world, taken_at="2025-03-30T01:30")
    assert answer.status_code == 200 and "taken_at" in answer.context["form"].errors


def test_a_correction_keeps_the_seconds_of_a_time_left_alone(world, as_person):
    old = take(world, taken_at=EARLIER + timedelta(seconds=37))
    page = page_of(as_person(world.cook), "reading_correct", old.pk)
    data = form_data(world, typed="6.4", taken_at="2026-03-11T09:00", reason="typing error")
    answer = as_person(world.cook).post(reverse("reading_correct", args=[old.pk]), data)
    new = Reading.objects.get(pk=answer.url.rstrip("/").rsplit("/", 1)[1])
    assert page.status_code == 200 and new.taken_at == old.taken_at and new.corrects.voids == old


def test_a_corrected_reading_shows_both_entries_and_why(world, as_person):
    old = take(world, typed="4.6")
    new = correct(
        by=world.manager,
        reading=old,
        reason="the display showed 6.4",
        key=uuid.uuid4(),
        probe=old.probe,
        site=old.site,
        limit=world.limit,
        item="milk",
        typed="6.4",
        unit="C",
        taken_at=old.taken_at,
    )
    client = as_person(world.reader)
    after, before = (page_of(client, "reading_detail", r.pk).content.decode() for r in (new, old))
    assert "4.6 °C" in after and "the display showed 6.4" in after
    assert "Struck out" in before and "Mara Holt" in before and "see the entry that counts" in before
    assert page_of(as_person(world.cook), "reading_correct", old.pk).status_code == 302


def test_striking_out_needs_a_reason(world, as_person):
    reading, client = take(world), as_person(world.manager)
    assert client.post(reverse("reading_void", args=[reading.pk]), {"reason": ""}).status_code == 200
    client.post(reverse("reading_void", args=[reading.pk]), {"reason": "nobody measured it"})
    assert Reading.objects.get().void.reason == "nobody measured it"


def test_what_people_type_is_shown_as_text(world, as_person):
    reading = take(world, item="<b>milk</b>", note="<script>x</script>")
    for name, args in (("reading_list", []), ("reading_detail", [reading.pk])):
        words = page_of(as_person(world.cook), name, *args).content.decode()
        assert "<b>milk" not in words and "<script>x" not in words and "&lt;b&gt;milk" in words


def span(probe, start, end, standing):
    Span.objects.create(probe=probe, starts_at=start, ends_at=end, standing=standing)


def items_in(client, **query) -> set:
    return {row.item for row in client.get(reverse("reading_list"), query).context["table"].data.data}


def test_the_filter_by_standing_follows_the_timeline(world, as_person):
    second, third = (make_probe(world.site, code, by=world.manager, limits=[world.limit]) for code in ("P2", "P3"))
    span(world.probe, BEGINNING, EARLIER, "quarantined")
    span(world.probe, EARLIER, END, "pending")
    span(second, BEGINNING, EARLIER, "proven")
    span(second, EARLIER, END, "unproven")
    later = EARLIER + timedelta(minutes=1)
    for probe in (world.probe, second, third):
        for at, when in ((EARLIER, "at"), (later, "after")):
            take(world, probe=probe, taken_at=at, item=f"{probe.code} {when}")
    client = as_person(world.reader)
    assert items_in(client, standing="quarantined") == {"P1 at"}
    assert items_in(client, standing="pending") == {"P1 after"}
    assert items_in(client, standing="proven") == {"P2 at"}
    assert items_in(client, standing="unproven") == {"P2 after", "P3 at", "P3 after"}


def test_the_other_filters(world, as_person):
    cook = make_limit(world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="70")
    second = make_probe(world.site, "P2", by=world.manager)
    take(world, item="old", taken_at=EARLIER - timedelta(days=3))
    take(world, item="late", taken_at=EARLIER - timedelta(hours=9, minutes=1))  # 23:59 on the day before
    take(world, item="hot", limit=cook, typed="71", probe=second)
    take(world, item="warm", typed="9")
    client = as_person(world.reader)
    assert items_in(client) == {"old", "late", "hot", "warm"}
    assert items_in(client, limit=cook.pk) == {"hot"} == items_in(client, probe=second.pk)
    assert items_in(client, deviations="on") == {"warm"}
    assert items_in(client, first="2026-03-10", last="2026-03-10") == {"late"}
    assert items_in(client, site=world.foreign_site.pk, first="x") == {"old", "late", "hot", "warm"}


def test_pages_by_key_reach_every_reading_once(world, as_person, monkeypatch):
    monkeypatch.setattr(page_by_key, "__defaults__", (10, *page_by_key.__defaults__[1:]))
    for i in range(24):
        take(world, item=f"i{i}", taken_at=EARLIER - timedelta(minutes=i // 3))
    client, url, seen = as_person(world.reader), reverse("reading_list"), []
    while url:
        table = client.get(url).context["table"]
        assert len(table.data.data) <= 10
        seen += [row.item for row in table.data.data]
        url = table.pager.older and reverse("reading_list") + table.pager.older
    assert seen == sorted((f"i{i}" for i in range(24)), key=lambda name: (int(name[1:]) // 3, -int(name[1:])))


ASKED = [{}, {"standing": "quarantined"}, {"standing": "pending"}, {"deviations": "on"}]


def test_a_list_asks_as_often_for_three_times_as_many(world, as_person):
    span(world.probe, BEGINNING, EARLIER - timedelta(hours=1), "quarantined")
    span(world.probe, EARLIER - timedelta(hours=1), END, "pending")
    client = as_person(world.supervisor)

    def asked(query) -> int:
        with CaptureQueriesContext(connection) as caught:
            page_of(client, "reading_list", **query)
        return len(caught)

    def add(count):
        for i in range(count):
            for at in (EARLIER, EARLIER - timedelta(hours=2)):
                reading = take(world, typed="9", item=f"x{i}", taken_at=at)
        void(by=world.manager, reading=reading, reason="test")

    add(3)
    before = [asked(query) for query in ASKED]
    add(6)
    assert [asked(query) for query in ASKED] == before and max(before) < 25


def test_a_limit_with_a_time_asks_once_where_no_time_is_given(world, as_person):
    cook_it = make_limit(
        world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="70", hold_s=120
    )
    client, url = as_person(world.cook), reverse("reading_add") + f"?site={world.site.pk}"
    told = form_data(world, limit=cook_it.pk, typed="71")
    asked = client.post(url, told)
    assert "The limit asks for 2 min, and no time is given" in asked.content.decode() and not Reading.objects.exists()
    assert client.post(url, told | {"hold_s": "2 min"}).status_code == 302
    assert client.post(url, told | {"key": uuid.uuid4().hex, "all_the_same": "on"}).status_code == 302


@pytest.mark.parametrize("odd", ["²", "9" * 40])
def test_an_address_with_an_odd_number_breaks_nothing(world, as_person, odd):
    client = as_person(world.supervisor)
    for name in ("reading_list", "reading_add", "probe_list", "probe_add", "deviation_list"):
        asked = {"site": odd, "probe": odd, "limit": odd, "from": f"P~{odd}"}
        assert page_of(client, name, **asked).status_code in {200, 404}, name


def test_the_foods_that_were_lately_measured_are_one_tap_away_and_others_are_typed(world, as_person):
    planning.add_appliance(by=world.manager, limit=world.limit, name="Dairy fridge")
    for item in ("Soup", "Dairy fridge", "Rice", "Soup"):
        take(world, item=item)
    page = as_person(world.cook).get(f"{reverse('reading_add')}?site={world.site.pk}").content.decode()
    assert re.findall(r'data-fill="id_item">([^<]+)<', page) == ["Soup", "Rice"]
    assert '<option value="Dairy fridge">' in page
