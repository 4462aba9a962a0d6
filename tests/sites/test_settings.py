"""What is set for sites, probes and businesses: each change is a fact, the row says what they say, a correction says why."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.plans.facts import site_facts
from compliance.probes.actions import amend, register
from compliance.probes.models import Probe
from compliance.probes.wording import probe_changes
from shared.append_only import WrittenOnce
from shared.dated import former_of
from sites.actions import add_business, add_site, amend_business, amend_site
from sites.models import Business, Site
from sites.wording import business_changes, site_changes

WHY = "The inspector asked for it."


def rows_and_facts():
    return [
        (row, list(row.settings_facts.order_by("pk")))
        for model in (Site, Probe, Business)
        for row in model.objects.all()
    ]


def assert_rows_say_what_their_facts_say():
    for row, facts in rows_and_facts():
        assert row.is_recorded(), row
        assert row.former == former_of(facts, row.dated), row


def test_what_comes_into_the_book_is_recorded_as_it_is(world):
    business = add_business(by=world.supervisor, name="Aster Meals")
    site = add_site(by=world.supervisor, area=world.area, name="Dogwood School", time_zone="Europe/Dublin")
    probe = register(by=world.manager, site=world.site, code="K-07", tolerance_milli=500)
    for row in (business, site, probe):
        (fact,) = row.settings_facts.all()
        assert not fact.corrects and all(getattr(fact, name) == getattr(row, name) for name in row.dated)
    assert_rows_say_what_their_facts_say()


changes_of_a_site = st.fixed_dictionaries(
    {},
    optional={
        "name": st.sampled_from(["Alder", "Birch", "Cedar"]),
        "unit": st.sampled_from("CF"),
        "time_zone": st.sampled_from(["Europe/London", "Pacific/Auckland", "UTC"]),
        "altitude_m": st.integers(0, 3),
    },
)
changes_of_a_probe = st.fixed_dictionaries(
    {},
    optional={
        "code": st.sampled_from(["A", "B", "C"]),
        "tolerance_milli": st.sampled_from([500, 1000, 1500]),
        "time_constant_s": st.sampled_from([None, 1.5, 2.25]),
        "sensor": st.sampled_from(["unknown", "bimetal"]),
    },
)


@given(st.lists(st.tuples(changes_of_a_site, changes_of_a_probe, st.booleans()), max_size=5))
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_rows_say_what_their_facts_say_whatever_was_changed_and_corrected(world, told):
    for of_site, of_probe, corrects in told:
        for act, name, changes in ((amend_site, "site", of_site), (amend, "probe", of_probe)):
            row = type(getattr(world, name)).objects.get(pk=getattr(world, name).pk)
            try:
                act(by=world.supervisor, **{name: row}, changes=changes, reason=WHY, corrects=corrects)
            except ValidationError as refused:
                assert "nothing to correct" in str(refused)
    assert_rows_say_what_their_facts_say()


def test_a_change_says_who_when_and_why_and_holds_from_then_on(world, clock):
    before = timezone.now()
    clock.shift(timedelta(days=1))
    amend_site(by=world.supervisor, site=world.site, changes={"name": "Alder Annexe"}, reason=WHY)
    fact = world.site.settings_facts.latest("pk")
    assert (fact.recorded_by, fact.recorded_at, fact.reason) == (world.supervisor, timezone.now(), WHY)
    names = [world.site.settings_at(moment).name for moment in (before, timezone.now())]
    assert names == ["Alder School", "Alder Annexe"]


def test_a_copy_of_then_keeps_the_area_of_now_by_which_roles_are_held(world, clock):
    before = timezone.now()
    clock.shift(timedelta(days=1))
    amend_site(by=world.supervisor, site=world.site, changes={"area": world.far_area, "name": "Alder Annexe"})
    then = world.site.settings_at(before)
    assert (then.name, then.area_id, then.present is world.site) == ("Alder School", world.far_area.pk, True)
    assert world.site.as_known_at(before).area_id == world.area.pk
    with pytest.raises(WrittenOnce, match="as it once was"):
        then.save()


def test_nothing_is_asked_of_the_database_for_what_was_set_once(world, clock):
    before = timezone.now()
    clock.shift(timedelta(days=1))
    amend(by=world.manager, probe=world.probe, changes={"code": "P7"})
    amend_site(by=world.supervisor, site=world.site, changes={"unit": "F", "time_zone": "UTC"})
    with CaptureQueriesContext(connection) as queries:
        probe, site = world.probe.particulars_at(before), world.site.settings_at(before)
        assert (str(probe), site.unit, before.astimezone(site.zone).tzname()) == ("P1", "C", "GMT")
    assert not queries


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"changes": {"name": "Alder Annexe"}}, "Say what was wrong"),
        ({"changes": {"name": "Alder Annexe"}, "reason": "x"}, "tells nobody why"),
        ({"changes": {"name": "Alder School"}, "reason": WHY}, "nothing to correct"),
        ({"changes": {"closed": True}, "reason": WHY}, "from now on"),
    ],
)
def test_a_correction_that_cannot_be_is_refused(world, given, told):
    with pytest.raises(ValidationError, match=told):
        amend_site(by=world.supervisor, site=world.site, corrects=True, **given)
    assert world.site.settings_facts.count() == 1


def test_another_decision_rule_needs_a_reason(world):
    with pytest.raises(ValidationError, match="another rule"):
        amend_business(by=world.supervisor, business=world.business, changes={"decision_rule": "simple"})


def test_what_changes_nothing_that_is_dated_is_no_fact(world):
    amend_site(by=world.supervisor, site=world.site, changes={"paper": "Letter", "name": "Alder School"})
    amend(by=world.manager, probe=world.probe, changes={"limits": []})
    assert (world.site.settings_facts.count(), world.probe.settings_facts.count()) == (1, 1)


def test_due_times_go_by_what_was_known_and_no_correction_moves_one_that_is_past(world, clock):
    clock.shift(timedelta(days=1))
    amend_site(by=world.supervisor, site=world.site, changes={"time_zone": "UTC"}, reason=WHY, corrects=True)
    (former,) = site_facts([world.site])[world.site.pk].calendar.formers
    assert (former.zone.key, former.until) == ("Europe/London", timezone.now())


def test_a_site_remembers_when_it_was_closed_and_opened_again(world, clock):
    for closed in (True, False):
        clock.shift(timedelta(days=1))
        amend_site(by=world.supervisor, site=world.site, changes={"closed": closed})
    opened = timezone.now()
    assert site_facts([world.site])[world.site.pk].closings == ((opened - timedelta(days=1), True), (opened, False))


def as_shown(form) -> dict:
    values = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in values.items() if value is not None and value is not False}


def test_the_form_of_a_site_corrects_with_a_reason_and_its_page_lists_the_change(world, as_person):
    client, url = as_person(world.supervisor), reverse("site_edit", args=[world.site.pk])
    sent = as_shown(client.get(url).context["form"])
    refused = client.post(url, sent | {"name": "Alder Annexe", "corrects": "1"})
    assert "Say what was wrong" in refused.content.decode() and "Alder Annexe" in refused.content.decode()
    assert client.post(url, sent | {"name": "Alder Annexe", "corrects": "1", "reason": WHY}).status_code == 302
    page = client.get(url).content.decode()
    assert "Name: Alder Annexe" in page and "Was Alder School" in page and ", back to the start" in page and WHY in page


def test_who_was_overtaken_corrects_nothing(world, as_person):
    client, url = as_person(world.supervisor), reverse("site_edit", args=[world.site.pk])
    sent = as_shown(client.get(url).context["form"])
    amend_site(by=world.supervisor, site=world.site, changes={"unit": "F"})
    told = client.post(url, sent | {"name": "Alder Annexe", "corrects": "1", "reason": WHY}).content.decode()
    assert "Nothing was changed" in told and Site.objects.get(pk=world.site.pk).name == "Alder School"


def test_changes_are_told_in_the_words_of_the_forms(world):
    changes = {"altitude_m": 1, "closed_on_holidays": True, "country": "IE", "unit": "F", "area": world.far_area}
    amend_site(by=world.supervisor, site=world.site, changes=changes)
    told = {label: (old, new) for _, (label, old, new) in site_changes(world.site)}
    assert told == {
        "altitude in metres": ("0", "1"),
        "closed on public holidays": ("no", "yes"),
        "country": ("nothing", "IE"),
        "temperatures shown in": ("°C", "°F"),
        "area": ("North", "South"),
    }
    particulars = {"sensor": "bimetal", "tolerance_milli": 500, "time_constant_s": 2.5, "lowest_milli": -20_000}
    amend(by=world.manager, probe=world.probe, changes=particulars)
    assert {label: (old, new) for _, (label, old, new) in probe_changes([world.probe.pk], "C")} == {
        "kind of sensor": ("thermistor", "bimetal dial"),
        "tolerance": ("1.00 °C", "0.50 °C"),
        "time constant in seconds": ("nothing", "2.5"),
        "lowest temperature": ("−40.0 °C", "−20.0 °C"),
    }
    amend_business(by=world.supervisor, business=world.business, changes={"decision_rule": "simple"}, reason=WHY)
    ((_, (label, old, _)),) = business_changes(world.business)
    assert (label, old) == ("rule for verdicts", "In tolerance up to its edge; near the edge, check again soon")
