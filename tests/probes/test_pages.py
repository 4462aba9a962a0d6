"""The pages on which probes are taken in, amended and moved."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from compliance.checks.models import ProbeState
from compliance.probes.forms import ProbeForm, shown
from compliance.probes.models import Probe
from shared.units import difference_to_milli, to_milli
from sites.models import Role
from tests.plans.making import days_of
from tests.world import make_person


def local(at, site):
    return at.astimezone(site.zone).strftime("%Y-%m-%dT%H:%M")


def filled(site, **given):
    since = local(timezone.now() - timedelta(hours=1), site)
    fields = {
        "code": "K-07",
        "sensor": "thermistor",
        "resolution_milli": "0,1",
        "tolerance_milli": "1",
        "lowest_milli": "−40",
        "highest_milli": "200",
        "starts_at": since,
    }
    return {**fields, **given}


def test_a_manager_takes_a_probe_in(world, as_person):
    answer = as_person(world.manager).post(reverse("probe_add"), filled(world.site, limits=[world.limit.pk]))
    probe = Probe.objects.get(code="K-07")
    assert answer.url == reverse("probe_detail", args=[probe.pk])
    assert (probe.resolution_milli, probe.tolerance_milli, probe.lowest_milli) == (100, 1000, -40_000)
    assert list(probe.limits.all()) == [world.limit]


def test_a_new_probe_is_due_for_its_first_check_at_once(world, as_person):
    as_person(world.manager).post(reverse("probe_add"), filled(world.site))
    state = ProbeState.objects.get(probe__code="K-07")
    assert state.due_at <= timezone.now() and state.due_because == "never checked"


def test_at_a_site_in_fahrenheit_points_and_differences_are_each_taken_as_what_they_are(world, as_person):
    world.site.unit = "F"
    world.site.save()
    given = filled(world.site, tolerance_milli="2", resolution_milli="0.1", lowest_milli="-40", highest_milli="392")
    as_person(world.manager).post(reverse("probe_add"), given)
    probe = Probe.objects.get(code="K-07")
    assert (probe.tolerance_milli, probe.resolution_milli) == (1111, 56)
    assert (probe.lowest_milli, probe.highest_milli) == (-40_000, 200_000)


@pytest.mark.parametrize("stored", [1, 56, 1000, 1111, 1234, 99_999])
def test_figures_left_as_shown_keep_their_stored_digits(world, stored):
    world.site.unit = "F"
    known = {
        "code": "P1",
        "sensor": "thermistor",
        "tolerance_milli": stored,
        "resolution_milli": 100,
        "lowest_milli": -40_123,
        "highest_milli": 200_456,
    }
    data = {n: ProbeForm(site=world.site, initial=known)[n].value() for n in known}
    form = ProbeForm(data, site=world.site, initial=known)
    assert form.is_valid(), form.errors
    assert {n: form.figures()[n] for n in known} == known


@given(st.integers(-200, 400), st.sampled_from("CF"))
def test_a_whole_degree_is_shown_as_it_was_typed(degrees, unit):
    assert shown(to_milli(Decimal(degrees), unit), unit, False) == str(degrees)
    assert shown(difference_to_milli(Decimal(degrees), unit), unit, True) == str(degrees)


@pytest.mark.parametrize(
    "wrong, field",
    [
        ({"code": "P1"}, "code"),
        ({"tolerance_milli": "0"}, "tolerance_milli"),
        ({"tolerance_milli": "-1"}, "tolerance_milli"),
        ({"resolution_milli": "fine"}, "resolution_milli"),
        ({"lowest_milli": "10"}, "lowest_milli"),
        ({"code": ""}, "code"),
    ],
)
def test_bad_input_is_told_beside_its_field_and_kept(world, as_person, wrong, field):
    page = as_person(world.manager).post(reverse("probe_add"), filled(world.site, description="blue handle", **wrong))
    assert page.status_code == 200 and field in page.context["form"].errors
    assert "blue handle" in page.content.decode()
    assert Probe.objects.filter(business=world.business).count() == 1


def test_a_supervisor_of_several_sites_is_asked_which(world, as_person):
    client = as_person(world.supervisor)
    page = client.get(reverse("probe_add")).content.decode()
    assert "At which site" in page and "Birch House" in page
    client.post(reverse("probe_add") + f"?site={world.other_site.pk}", filled(world.other_site))
    assert Probe.objects.get(code="K-07").site == world.other_site


@pytest.mark.parametrize("asked, status", [("{far}", 404), ("nonsense", 200)])
def test_no_probe_is_added_at_a_site_of_somebody_else(world, as_person, asked, status):
    asked = asked.format(far=world.foreign_site.pk)
    assert as_person(world.manager).get(reverse("probe_add"), {"site": asked}).status_code == status


def test_amending_asks_for_a_reason_where_the_tolerance_grows(world, as_person):
    client, url = as_person(world.manager), reverse("probe_edit", args=[world.probe.pk])
    page = client.post(url, filled(world.site, code="P1", tolerance_milli="2"))
    assert "reason" in page.context["form"].errors
    client.post(url, filled(world.site, code="P1", tolerance_milli="2", reason="Agreed."))
    world.probe.refresh_from_db()
    assert world.probe.tolerance_milli == 2000


@pytest.mark.parametrize(("typed", "days", "plans"), [("", 7, 0), ("7", 7, 0), ("3", 3, 1), ("30", 30, 1)])
def test_a_new_probe_has_a_plan_of_its_own_only_where_it_differs(world, as_person, typed, days, plans):
    as_person(world.manager).post(reverse("probe_add"), filled(world.site, every_days=typed))
    probe = Probe.objects.get(code="K-07")
    assert (days_of(probe), probe.check_plans.count()) == (days, plans)


def test_moving_on_the_page(world, as_person):
    client, url = as_person(world.manager), reverse("probe_move", args=[world.probe.pk])
    since = local(timezone.now() - timedelta(hours=1), world.site)
    offered = set(client.get(url).context["form"].fields["site"].queryset)
    assert offered == {world.other_site, world.far_site}
    client.post(url, {"site": world.other_site.pk, "starts_at": since, "reason": "Lent."})
    assert client.get(url).status_code == 403
    assert client.get(reverse("probe_detail", args=[world.probe.pk])).status_code == 200


def test_who_may_amend_and_move(world, as_person):
    neighbour = make_person("Ada Brook", Role.MANAGER, site=world.other_site)
    people = (world.manager, world.cook, world.reader, neighbour, world.stranger)
    for name in ("probe_edit", "probe_move"):
        url = reverse(name, args=[world.probe.pk])
        assert [as_person(p).get(url).status_code for p in people] == [200, 403, 403, 404, 404], name
