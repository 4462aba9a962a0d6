"""Sites and areas: adding, changing, closing, and who may."""

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shared.audit.models import Entry
from sites import access, actions
from sites.models import Area, Role, Site
from tests.world import make_area, make_site

FIELDS = {"address": "1 Mill Lane", "time_zone": "Europe/London", "unit": "C", "altitude_m": "40", "paper": "A4"}


def test_a_supervisor_adds_a_site(world, as_person):
    as_person(world.supervisor).post(reverse("site_add"), {"area": world.area.pk, "name": "Dogwood House", **FIELDS})
    site = Site.objects.get(name="Dogwood House")
    assert (site.area, site.altitude_m, access.may(world.supervisor, site, Role.SUPERVISOR)) == (world.area, 40, True)


def test_a_new_site_begins_like_the_last_one(world, as_person):
    make_site(world.area, "Fir School", unit="F", paper="Letter")
    form = as_person(world.supervisor).get(reverse("site_add")).context["form"]
    assert (form["unit"].value(), form["paper"].value(), form["time_zone"].value()) == ("F", "Letter", "Europe/London")


def test_no_site_is_added_to_an_area_of_somebody_else(world, as_person):
    given = {"area": world.far_area.pk, "name": "Dogwood House", **FIELDS}
    assert as_person(world.supervisor).post(reverse("site_add"), given).status_code == 200
    assert not Site.objects.filter(name="Dogwood House").exists()


def test_a_site_that_cannot_be_is_refused_and_what_was_typed_is_kept(world, as_person):
    client = as_person(world.supervisor)
    for wrong in ({"time_zone": "Nowhere/Here"}, {"altitude_m": "9000"}, {"name": ""}, {"name": "Alder School"}):
        given = {"area": world.area.pk, "name": "Dogwood House", **FIELDS, **wrong}
        page = client.post(reverse("site_add"), given)
        assert page.status_code == 200 and "1 Mill Lane" in page.content.decode(), wrong
        assert Site.objects.filter(area=world.area).count() == 2, wrong


def test_changing_a_site_tells_old_and_new(world, as_person):
    given = {"area": world.area.pk, "name": "Alder Primary", **FIELDS, "closed": "on"}
    as_person(world.supervisor).post(reverse("site_edit", args=[world.site.pk]), given)
    changes = Entry.objects.get(action="site.amend").data["changes"]
    assert changes["name"] == ["Alder School", "Alder Primary"] and changes["closed"] == ["False", "True"]


def test_who_may_change_a_site(world, as_person):
    url = reverse("site_edit", args=[world.site.pk])
    codes = {p.name: as_person(p).get(url).status_code for p in (world.supervisor, world.manager, world.stranger)}
    assert codes == {"Sol Venn": 200, "Mara Holt": 403, "Nye Farrow": 404}


def test_a_site_stays_with_its_business(world):
    with pytest.raises(ValidationError, match="stays with its business"):
        actions.amend_site(by=world.supervisor, site=world.site, changes={"area": world.foreign_site.area})


def test_whoever_adds_an_area_supervises_it(world, as_person):
    as_person(world.supervisor).post(reverse("area_add"), {"name": "West"})
    west = Area.objects.get(name="West")
    assert west.business == world.business and west in access.areas_of(world.supervisor)


def test_two_areas_of_one_business_differ_in_name(world, as_person):
    page = as_person(world.supervisor).post(reverse("area_add"), {"name": "South"})
    assert "already exists" in page.content.decode()


def test_an_area_is_renamed_by_its_supervisor_alone(world, as_person):
    url = reverse("area_edit", args=[world.area.pk])
    assert as_person(world.manager).post(url, {"name": "Upper"}).status_code == 404
    assert as_person(world.supervisor).post(url, {"name": "Upper"}).status_code == 302
    world.area.refresh_from_db()
    assert world.area.name == "Upper"


def test_everybody_sees_their_own_sites_only(world, as_person):
    page = as_person(world.reader).get(reverse("site_list")).content.decode()
    assert "Alder School" in page and "Birch House" not in page and "Add a site" not in page


def test_the_list_of_sites_is_as_quick_for_three_times_as_many(world, as_person):
    client, counts = as_person(world.supervisor), []
    for names in (["Elm", "Fir"], [f"Oak {n}" for n in range(8)]):
        for name in names:
            make_site(world.area, name)
        with CaptureQueriesContext(connection) as queries:
            page = client.get(reverse("site_list"))
        counts.append(len(queries))
    assert "Oak 7" in page.content.decode() and counts[0] == counts[1]


def test_more_sites_than_a_page_holds_are_paged(world, as_person):
    for number in range(60):
        make_site(world.area, f"Site {number:02}")
    client = as_person(world.supervisor)
    assert "Site 59" not in client.get(reverse("site_list")).content.decode()
    assert "Site 59" in client.get(reverse("site_list"), {"page": 2}).content.decode()


def test_home_is_the_area_of_its_supervisor_and_the_day_of_everybody_else(world, as_person):
    assert as_person(world.supervisor).get("/").url == reverse("area_detail", args=[world.area.pk])
    assert as_person(world.manager).get("/").url == reverse("today")
    actions.grant(by=None, person=world.supervisor, role=Role.SUPERVISOR, area=make_area(world.business, "West"))
    assert as_person(world.supervisor).get("/").url == reverse("area_list")
