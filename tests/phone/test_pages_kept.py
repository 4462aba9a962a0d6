"""What the server tells a phone of its pages: whose they are, which are kept; and the worker that acts on it."""

import json
import re

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse

from compliance.phone.views import PARTS
from shared.kept_pages import IDLE, KEEP, NOBODY, PERSON, mark_of

pytestmark = pytest.mark.django_db


def kept(client, address: str) -> list[str]:
    return client.get(address).headers.get(KEEP, "").split()


def test_the_pages_of_the_day_are_kept_and_no_others(as_person, world):
    cook, site, probe = as_person(world.cook), world.site.pk, world.probe.pk
    today, sheet, reading = f"/today/{site}/", f"/today/{site}/round/", f"/readings/add/?site={site}"
    assert kept(cook, today) == [today, sheet, reading]
    assert kept(cook, sheet) == [sheet]
    assert kept(cook, reading) == kept(cook, f"{reading}&probe={probe}") == [reading]
    assert kept(cook, f"/probes/{probe}/check/") == [f"/probes/{probe}/check/whole/"]
    assert kept(cook, f"/probes/{probe}/check/whole/") == [f"/probes/{probe}/check/whole/"]
    for other in ("/readings/", "/probes/", f"/probes/{probe}/", f"/probes/{probe}/boiling/", "/account/", "/cases/"):
        assert kept(cook, other) == []


def test_a_reader_who_may_record_nothing_keeps_the_day_alone(as_person, world):
    today = f"/today/{world.site.pk}/"
    assert kept(as_person(world.reader), today) == [today]


def test_each_page_says_whose_it_is_and_the_one_to_sign_in_is_nobodys(as_person, world):
    marks = {as_person(person).get("/account/").headers[PERSON] for person in (world.cook, world.manager)}
    assert marks == {mark_of(world.cook), mark_of(world.manager)}
    assert Client().get("/sign-in/").headers[PERSON] == NOBODY and IDLE not in Client().get("/sign-in/").headers
    assert f'name="person" content="{mark_of(world.cook)}"' in as_person(world.cook).get("/account/").content.decode()


def test_a_phone_is_told_for_how_long_it_may_be_left_which_is_shorter_in_a_kitchen(client, world):
    client.force_login(world.cook)
    assert client.get("/account/").headers[IDLE] == str(12 * 3600)
    session = client.session
    session.set_expiry(900)  # as on a device that stays in the kitchen
    session.save()
    assert client.get("/account/").headers[IDLE] == "900"


def test_the_page_of_a_whole_check_has_every_step_and_its_cautions(as_person, world):
    page = as_person(world.cook).get(reverse("zero_check_whole", args=[world.probe.pk])).content.decode()
    points = set(re.findall(r'name="points" value="(\w+)"', page))
    assert points == {"crushed", "potable", "wetted", "drained", "stem_cleaned", "well_formed", "packed", "immersed"}
    assert 'data-tolerance="1000"' in page
    for caution in (
        "Ice bath.",
        "Clean probe.",
        "Alcohol wipes burn.",
        "Do not use the probe before this check is judged.",
    ):
        assert caution in page
    assert as_person(world.reader).get(reverse("zero_check_whole", args=[world.probe.pk])).status_code == 403


def test_the_worker_keeps_static_parts_by_names_that_say_what_is_in_them_and_knows_nobody(as_person, world):
    answers = [client.get("/worker.js") for client in (Client(), as_person(world.cook))]
    assert answers[0].content == answers[1].content
    assert answers[0].headers["Content-Type"] == "text/javascript; charset=utf-8"
    assert "default-src 'self'" in answers[0].headers["Content-Security-Policy"]
    told = json.loads(re.match(r"self\.noughtbook = (.*);\n", answers[0].content.decode())[1])
    assert len(told["parts"]) == len(PARTS)
    assert all(re.fullmatch(r"/static/\S+\.[0-9a-f]{12}\.\w+", part) for part in told["parts"])
    assert re.fullmatch(told["round"], f"/today/{world.site.pk}/round/")


def test_every_static_part_of_the_pages_that_are_kept_is_among_those(as_person, world):
    addresses = ("/phone/", f"/today/{world.site.pk}/", f"/probes/{world.probe.pk}/check/whole/")
    pages = "".join(as_person(world.cook).get(each).content.decode() for each in addresses)
    asked = set(re.findall(r'(?:src|href)="/static/(\S+?)\.[0-9a-f]{12}(\.\w+)"', pages))
    assert {stem + suffix for stem, suffix in asked} - {"noughtbook/noughtbook.webmanifest"} == set(PARTS)


def test_the_page_of_what_is_kept_holds_nothing_of_anybody_but_what_the_phone_has(world):
    page = Client().get("/phone/")
    assert page.status_code == 200 and page.headers[PERSON] == NOBODY
    assert world.cook.name not in page.content.decode()


def test_the_manifest_leads_to_the_first_page():
    with open(finders.find("noughtbook/noughtbook.webmanifest"), encoding="utf-8") as file:
        manifest = json.load(file)
    assert (manifest["start_url"], manifest["scope"], manifest["display"]) == ("/", "/", "standalone")
    assert finders.find(f"noughtbook/{manifest['icons'][0]['src']}")


def test_who_is_signed_in_learns_the_time_and_what_a_form_carries(as_person, world, clock):
    told = as_person(world.cook).get("/phone/now/").json()
    assert (told["person"], told["now"]) == (mark_of(world.cook), 1773230400000) and told["csrf"]
    assert Client().get("/phone/now/").headers["Location"].startswith("/sign-in/")
