"""Menus of sites: plain where they are few, searched where they are many, and never longer than what a search shows."""

import re

import pytest
from django.urls import reverse

from compliance.probes.models import Probe
from sites.choosing import FOUND, MENU, SCOPES, SiteOffer
from sites.models import Role, Site
from tests.remembered import remembered
from tests.world import make_area, make_limit, make_person, make_probe, make_site

MORE_THAN_A_PAGE = MENU + 25  # no list shows as many rows
SEARCH = 'type="search" id="id_site_q"'


@pytest.fixture
def wide(world):
    """So many sites that neither a menu nor a page of a list has them all."""
    remembered(widened, world)


def widened(world):
    widen(world, MORE_THAN_A_PAGE)


def widen(world, more: int) -> None:
    """More sites in `area`, each with a probe and a limit."""
    first = Site.objects.count()
    for number in range(first, first + more):
        site = make_site(world.area, f"Kitchen {number:04d}")
        make_probe(site, f"K{number}", by=world.manager, limits=[make_limit(site, by=world.manager)])


def pages_of(world) -> list[str]:
    plain = ("reading_list", "deviation_list", "probe_list", "record_form", "reading_add", "probe_add", "case_list")
    plain += ("site_list", "people", "person_add", "notice_list", "reading_import", "today", "home")
    named = {
        "today_site": world.site,
        "area_missed": world.area,
        "area_overdue": world.area,
        "probe_move": world.probe,
        "probe_detail": world.probe,
        "role_add": world.cook,
        "person_edit": world.cook,
        "plan_list": world.site,
        "limit_list": world.site,
        "reminder_list": world.site,
    }
    return [reverse(name) for name in plain] + [reverse(name, args=[of.pk]) for name, of in named.items()]


def test_no_page_grows_with_the_number_of_sites(as_person, world, wide):
    client, sizes = as_person(world.supervisor), []
    for more in (0, 8):
        widen(world, more)
        sizes.append({page: len(client.get(page, follow=True).content) for page in pages_of(world)})
    assert {page: (size, sizes[1][page]) for page, size in sizes[0].items() if sizes[1][page] > size + 165} == {}
    assert max(sizes[1].values()) < 150_000


def test_with_few_sites_a_plain_menu_has_them_all(as_person, world):
    client = as_person(world.supervisor)
    for name in ("reading_list", "probe_list", "record_form"):
        page = client.get(reverse(name)).content.decode()
        assert SEARCH not in page and ">Alder School</option>" in page and ">Birch House</option>" in page
    assert ">P1</option>" in client.get(reverse("reading_list")).content.decode()


def test_a_search_gives_the_sites_with_all_its_words_and_no_more_than_a_screen(world, wide):
    offer = SiteOffer(world.supervisor)
    assert [site.name for site in offer.search("kitchen 0031")] == ["Kitchen 0031"]
    assert [site.name for site in offer.search("north ald")] == ["Alder School"]
    assert len(offer.search("k")) == FOUND
    assert offer.search(" ") == offer.search("no such place") == []


def options(client, **asked) -> list[str]:
    return re.findall(r'<option value="(\d+|site-\d+)"', client.get(reverse("site_choices"), asked).content.decode())


def test_a_search_finds_nothing_that_the_person_may_not_see(world):
    everybody = (world.manager, world.supervisor, world.reader, world.cook, world.stranger, world.rival)
    for person in everybody:
        seen = set(SiteOffer(person).sites())
        own = {site.area.business_id for site in seen}
        manages = person.memberships.filter(role__gte=Role.MANAGER).exists()
        for scope in SCOPES:
            for of in (None, world.area.pk, world.business.pk, world.foreign_site.area_id):
                extra = set(SiteOffer(person, scope, of).search("e")) - seen
                assert not extra or (scope == "business" and manages and {s.area.business_id for s in extra} <= own)


def test_a_page_searches_as_its_person_in_the_scope_that_it_asks_for(as_person, world):
    for person in (world.manager, world.stranger):
        for scope, of in (("seen", None), ("area", world.area.pk), ("business", world.business.pk)):
            found = SiteOffer(person, scope, of).search("e")
            asked = {"scope": scope, "of": of or "", "site_q": "e"}
            assert options(as_person(person), **asked) == [str(site.pk) for site in found]


def test_a_scope_asks_for_the_role_that_the_form_needs(as_person, world):
    assert options(as_person(world.reader), scope="recording", site_q="alder") == []
    assert options(as_person(world.cook), scope="recording", site_q="alder") == [str(world.site.pk)]
    assert options(as_person(world.cook), scope="managed", site_q="alder") == []
    assert options(as_person(world.reader), scope="business", of=world.business.pk, site_q="alder") == []
    assert options(as_person(world.manager), scope="supervised", site_q="alder") == []
    assert as_person(world.manager).get(reverse("site_choices"), {"scope": "all"}).status_code == 404


def test_typed_words_are_shown_as_text(as_person, world, wide):
    page = as_person(world.supervisor).get(reverse("reading_list"), {"site_q": '"><script>'}).content.decode()
    assert "Nothing found" in page and "<script>" not in page.split("</head>")[1]


def test_without_a_script_words_alone_find_a_site_and_several_are_offered(as_person, world, wide):
    client, records = as_person(world.supervisor), reverse("record_print")
    several = client.get(records, {"site_q": "kitchen 001", "period": "week"})
    assert several.status_code == 400
    assert "Search for a site, and choose it." in several.content.decode()
    assert len(re.findall("<option value=.\\d+.[^>]*>Kitchen 001", several.content.decode())) == 10
    alone = client.get(records, {"site_q": "kitchen 0011", "period": "week"})
    assert b"".join(alone.streaming_content).startswith(b"%PDF")


def test_a_list_is_narrowed_to_the_one_site_that_the_words_find(as_person, world, wide):
    page = as_person(world.supervisor).get(reverse("probe_list"), {"site_q": "kitchen 0012"})
    assert [probe.site.name for probe in page.context["table"].data.data] == ["Kitchen 0012"]


def test_probes_and_limits_are_offered_once_a_site_is_chosen(as_person, world, wide):
    client, address = as_person(world.supervisor), reverse("reading_list")
    assert 'name="probe"' not in client.get(address).content.decode()
    page = client.get(address, {"site": world.site.pk}).content.decode()
    assert re.findall(r'<option value="\d+">(?:P|K)\d+</option>', page) == [
        f'<option value="{world.probe.pk}">P1</option>'
    ]
    here = {"HX-Request": "true", "HX-Current-URL": f"http://testserver{address}"}
    part = client.get(address, {"site": world.site.pk}, headers=here).content.decode()
    assert 'id="of-site" hx-swap-oob="true"' in part and ">P1</option>" in part
    again = client.get(
        address,
        {"site": world.site.pk, "probe": world.probe.pk},
        headers=here | {"HX-Current-URL": f"http://testserver{address}?site={world.site.pk}"},
    ).content.decode()
    assert "of-site" not in again


def test_an_address_with_a_probe_alone_still_narrows(as_person, world, wide):
    page = as_person(world.supervisor).get(reverse("reading_list"), {"probe": world.probe.pk})
    assert page.context["form"].chosen == {"probe": world.probe}


def test_today_leads_to_the_site_that_is_searched_for(as_person, world, wide):
    client = as_person(world.supervisor)
    assert SEARCH in client.get(reverse("today_site", args=[world.site.pk])).content.decode()
    found = client.get(reverse("today"), {"site_q": "birch"})
    assert found.url == reverse("today_site", args=[world.other_site.pk])
    assert "Choose one of 20 found" in client.get(reverse("today"), {"site_q": "kitchen"}).content.decode()
    assert client.get(reverse("today"), {"site": world.foreign_site.pk}).status_code == 200


def test_a_reading_and_a_new_probe_ask_for_the_site_in_the_same_way(as_person, world, wide):
    client = as_person(world.supervisor)
    for name in ("reading_add", "probe_add"):
        assert SEARCH in client.get(reverse(name)).content.decode()
        assert client.get(reverse(name), {"site_q": "birch"}).url == f"{reverse(name)}?site={world.other_site.pk}"


def test_a_probe_moves_to_a_site_that_was_searched_for(as_person, world, wide, clock):
    client, address = as_person(world.manager), reverse("probe_move", args=[world.probe.pk])
    given = {"site_q": "kitchen 0013", "starts_at": "2026-03-11T11:00", "reason": "lent for the summer"}
    assert client.post(address, given | {"site_q": "kitchen"}).status_code == 200
    assert client.post(address, given).status_code == 302
    assert Probe.objects.get(pk=world.probe.pk).site.name == "Kitchen 0013"


def test_a_site_chosen_before_other_words_were_typed_is_not_meant(as_person, world, wide, clock):
    given = {"starts_at": "2026-03-11T11:00", "reason": "lent for the summer", "site": world.other_site.pk}
    client, address = as_person(world.manager), reverse("probe_move", args=[world.probe.pk])
    for words in ("kitchen", "no such place"):
        answer = client.post(address, given | {"site_q": words})
        assert "Search for a site, and choose it." in answer.content.decode()
    role = {"place": f"area-{world.area.pk}", "place_q": "kitchen 0014", "role": Role.COOK.value}
    as_person(world.supervisor).post(reverse("role_add", args=[world.cook.pk]), role)
    assert world.cook.memberships.filter(area=world.area).exists()


def test_a_probe_moves_to_no_site_of_another_business(as_person, world, wide):
    given = {"site": world.foreign_site.pk, "starts_at": "2026-03-11T11:00", "reason": "lent for the summer"}
    answer = as_person(world.manager).post(reverse("probe_move", args=[world.probe.pk]), given)
    assert answer.status_code == 200
    assert "cannot be moved there" in answer.content.decode()


def test_a_role_is_given_at_a_site_that_was_searched_for_or_for_an_area(as_person, world, wide):
    client, address = as_person(world.supervisor), reverse("role_add", args=[world.cook.pk])
    assert f'value="area-{world.area.pk}"' in client.get(address).content.decode()
    assert "Choose one of 20 found" in client.post(address, {"place_q": "kitchen", "role": 10}).content.decode()
    assert client.post(address, {"place_q": "kitchen 0014", "role": Role.COOK.value}).status_code == 302
    assert world.cook.memberships.filter(site__name="Kitchen 0014").exists()
    chosen = client.get(reverse("site_choices"), {"scope": "supervised", "field": "place", "place_q": "birch"})
    assert f'value="site-{world.other_site.pk}" selected' in chosen.content.decode()
    assert f'value="area-{world.area.pk}"' in chosen.content.decode()


def test_a_role_is_given_at_no_site_of_another_area(as_person, world, wide):
    elsewhere = make_site(make_area(world.foreign_site.area.business, "West"), "Far Kitchen")
    given = {"place": f"site-{elsewhere.pk}", "place_q": "far", "role": Role.COOK.value}
    answer = as_person(world.supervisor).post(reverse("role_add", args=[world.cook.pk]), given)
    assert answer.status_code == 200 and not elsewhere.memberships.exists()


def test_somebody_without_a_role_is_offered_nothing(as_person, db):
    assert options(as_person(make_person("No Body")), site_q="e") == []
