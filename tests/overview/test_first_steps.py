"""What a new head is led to next, from an empty book to the first check; and who is led to nothing."""

import re
from datetime import time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.checks.actions import void_check
from compliance.limits.models import RuleSet
from compliance.overview.first_steps import start_of
from compliance.plans.data import PlanData
from compliance.reminders.planning import change_plan
from sites.actions import found_business
from sites.data import NewPerson
from sites.models import Area, Membership, Role, Site
from tests.checks import making
from tests.world import PASSWORD, make_area, make_limit, make_person, make_probe, make_site

LED = re.compile(r'aria-label="Getting started">.*?</aside>', re.DOTALL)
EMPTY = [
    "today",
    "reading_list",
    "probe_list",
    "outlook_list",
    "case_list",
    "record_form",
    "site_list",
    "people",
    "area_setup",
]


@pytest.fixture
def head(db):
    _, _, person = found_business(
        by=None,
        business="Larkfield Kitchens",
        area="North",
        supervisor=NewPerson(name="Sol Venn", email="sol@example.test", initials="SV", password=PASSWORD),
    )
    return person


@pytest.fixture
def area(head):
    return Area.objects.get()


def steps(person, area):
    return start_of(area.pk, person)


def led(client, name, *args):
    """Where the bar on a page leads; None where there is none."""
    found = LED.search(client.get(reverse(name, args=args), follow=True).content.decode())
    return found and re.search(r'href="([^"]+)"', found[0])[1]


def site_and_limit(head, area):
    site = make_site(area, "Alder School")
    make_limit(site, by=head)
    return site


def test_each_step_is_done_by_what_is_in_the_book_and_the_list_is_gone_in_the_end(as_person, head, area):
    client, page = as_person(head), reverse("area_detail", args=[area.pk])

    def next_is(title, url):
        start = steps(head, area)
        assert (start.next.title, start.next.url) == (title, url)
        shown = client.get(page).content.decode()
        assert f"Getting started: {start.done} of 6 done" in shown and f'href="{url}"' in shown

    next_is("A site", reverse("site_add"))
    site = make_site(area, "Alder School")
    next_is("Its limits", reverse("limit_adopt", args=[site.pk]))
    limit = make_limit(site, by=head)
    next_is("A probe", f"{reverse('probe_add')}?site={site.pk}")
    probe = make_probe(site, "P1", by=head, limits=[limit])
    next_is("The people", reverse("person_add"))
    cook = make_person("Col Esker", Role.COOK, site=site)
    next_is("A plan", reverse("plan_site", args=[site.pk]))
    change_plan(
        by=head, data=PlanData(site=site, every_days=7, at=time(9))
    )  # as every business begins with, and now said
    next_is("The first check", reverse("zero_check", args=[probe.pk]))
    check = making.good(probe, cook, timezone.now())
    assert steps(head, area).next is None
    assert "Getting started" not in client.get(page).content.decode()
    void_check(by=head, check=check, reason="Of another probe.")
    assert steps(head, area).next.title == "The first check"


@pytest.mark.parametrize("name", EMPTY)
def test_every_empty_page_leads_to_the_next_step(as_person, head, area, name):
    client = as_person(head)
    assert f'href="{reverse("site_add")}"' in client.get(reverse(name), follow=True).content.decode()
    site = make_site(area, "Alder School")
    assert led(client, name) == reverse("limit_adopt", args=[site.pk])


def test_the_pages_of_a_site_lead_on(as_person, head, area):
    client, site = as_person(head), make_site(area, "Alder School")
    adopt, add = reverse("limit_adopt", args=[site.pk]), f"{reverse('probe_add')}?site={site.pk}"
    text = client.get(reverse("limit_list", args=[site.pk])).content.decode()
    assert adopt in text and not LED.search(text), "its own button says it"
    make_limit(site, by=head)
    for name in ("limit_list", "plan_list", "today_site", "reminder_list", "opening_change"):
        assert led(client, name, site.pk) == add
    probe = make_probe(site, "P1", by=head)
    assert led(client, "probe_detail", probe.pk) == reverse("person_add")


def test_a_check_in_progress_and_a_link_shown_once_are_not_disturbed(as_person, head, area):
    site = site_and_limit(head, area)
    probe = make_probe(site, "P1", by=head)
    client = as_person(head)
    for name, args in (("zero_check", [probe.pk]), ("boiling_check", [probe.pk]), ("person_add", [])):
        assert led(client, name, *args) is None
    given = {"name": "Col Esker", "initials": "CE", "email": "c@example.test", "place": f"site-{site.pk}", "role": "20"}
    shown = client.post(reverse("person_add"), given).content.decode()
    assert "Copy it now" in shown and not LED.search(shown)


def test_the_page_of_the_step_itself_does_not_send_to_itself(as_person, head):
    assert led(as_person(head), "site_add") is None


def test_nobody_is_led_where_they_may_not_go(as_person, head, area):
    """The list and the bar are for supervisors, who may do all of it; a reader of the whole area sees neither."""
    site = make_site(area, "Alder School")
    people = [
        make_person("Una Reed", Role.READER, area=area),
        make_person("Rue Danby", Role.READER, site=site),
        make_person("Col Esker", Role.COOK, site=site),
        make_person("Mara Holt", Role.MANAGER, site=site),
    ]
    for person in people:
        client = as_person(person)
        for name, args in (
            ("today", []),
            ("site_list", []),
            ("probe_list", []),
            ("area_list", []),
            ("reading_list", []),
        ):
            text = client.get(reverse(name, args=args), follow=True).content.decode()
            assert (
                "Getting started" not in text and reverse("site_add") not in text and reverse("person_add") not in text
            )


@pytest.mark.parametrize("role, offered", [(Role.READER, False), (Role.COOK, False), (Role.MANAGER, True)])
def test_an_empty_page_has_a_button_for_those_alone_who_may_use_it(as_person, head, area, role, offered):
    site = make_site(area, "Alder School")
    client = as_person(make_person("Rue Danby", role, site=site))
    add, adopt = f"{reverse('probe_add')}?site={site.pk}", reverse("limit_adopt", args=[site.pk])
    pages = [
        ("today_site", [site.pk], add),
        ("limit_list", [site.pk], adopt),
        ("plan_list", [site.pk], add),
        ("plan_list", [site.pk], adopt),
        ("probe_list", [], reverse("probe_add")),
    ]
    for name, args, link in pages:
        assert (f'href="{link}"' in client.get(reverse(name, args=args)).content.decode()) is offered, (name, link)
    if role >= Role.COOK:
        assert (f'href="{adopt}"' in client.get(f"{reverse('reading_add')}?site={site.pk}").content.decode()) is offered


def test_a_site_without_probes_is_not_called_in_order(as_person, head, area):
    site = make_site(area, "Alder School")
    text = as_person(head).get(reverse("today_site", args=[site.pk])).content.decode()
    assert "Every probe is checked" not in text and "No probe is at this site" in text


def test_whoever_works_in_the_area_without_being_somebody_else_is_nobody(head, area):
    Membership.objects.create(person=head, role=Role.MANAGER, site=make_site(area, "Alder School"))
    stopped = make_person("Col Esker", Role.COOK, area=area)
    stopped.is_active = False
    stopped.save()
    assert {step.title: step.done for step in steps(head, area).steps}["The people"] is False


def test_an_area_that_was_set_up_long_ago_costs_one_query_and_shows_nothing(
    as_person, world, django_assert_num_queries
):
    making.good(world.probe, world.cook, timezone.now())
    change_plan(by=world.manager, data=PlanData(site=world.site, every_days=1, at=time(9)))
    with django_assert_num_queries(1):
        assert steps(world.supervisor, world.area).next is None
    assert led(as_person(world.supervisor), "probe_list") is None


def test_the_queries_of_the_list_do_not_grow(head, area):
    def queries():
        with CaptureQueriesContext(connection) as found:
            steps(head, area)
        return len(found)

    before = queries()
    for number in range(3):
        site = make_site(area, f"Site {number}")
        make_probe(site, f"P{number}", by=head, limits=[make_limit(site, by=head)])
    assert queries() == before == 1


def test_a_head_of_several_areas_is_led_on_in_the_newest(as_person, head, area):
    site_and_limit(head, area)
    newer = make_area(area.business, "South")
    Membership.objects.create(person=head, role=Role.SUPERVISOR, area=newer)
    assert led(as_person(head), "reading_list") == reverse("site_add")


def rules(code, title, jurisdiction):
    return RuleSet.objects.create(code=code, title=title, jurisdiction=jurisdiction, edition="1", source="A law")


@pytest.mark.parametrize(
    "country, first",
    [("US", "Zest"), ("GB", "Marrow"), ("NE", "Quince"), ("NG", "Apple"), ("", "Apple"), ("FR", "Apple")],
)
def test_the_rules_of_the_country_come_first(as_person, head, area, country, first):
    """Niger is not Nigeria; without a country, or without rules for it, they come by title."""
    rules("a", "Apple", "Nigeria"), rules("m", "Marrow", "United Kingdom; some rules in parts of it only")
    rules("q", "Quince", "Niger"), rules("z", "Zest", "United States, where a state has adopted it")
    site = make_site(area, "Alder School", country=country)
    page = as_person(head).get(reverse("limit_adopt", args=[site.pk]))
    assert page.context["chosen"].title == page.context["tabs"][0]["label"].partition(",")[0] == first


def test_a_book_without_rules_is_no_dead_end(as_person, head, area):
    site = make_site(area, "Alder School")
    text = as_person(head).get(reverse("limit_adopt", args=[site.pk])).content.decode()
    assert reverse("limit_add", args=[site.pk]) in text


def test_the_first_site_begins_in_utc_and_with_the_browsers_zone_to_come(as_person, head):
    form = as_person(head).get(reverse("site_add")).context["form"]
    assert form["time_zone"].value() == "UTC" and "data-browser-zone" in str(form["time_zone"])


def test_what_was_typed_or_stands_is_not_overwritten_by_the_browser(as_person, head, area):
    client, site = as_person(head), make_site(area, "Alder School")
    again = client.post(reverse("site_add"), {"area": area.pk, "time_zone": "Europe/Dublin"}).context["form"]
    edit = client.get(reverse("site_edit", args=[site.pk])).context["form"]
    assert "data-browser-zone" not in str(again["time_zone"]) + str(edit["time_zone"])


def test_a_new_site_leads_to_its_limits(as_person, head, area):
    given = {
        "area": area.pk,
        "name": "Alder",
        "time_zone": "Europe/London",
        "unit": "C",
        "altitude_m": "0",
        "paper": "A4",
    }
    answer = as_person(head).post(reverse("site_add"), given)
    assert answer.url == reverse("limit_list", args=[Site.objects.get().pk])
