"""From a reading to the two checks on either side of it, their bath and their budget: one tap each."""

from datetime import timedelta

import pytest
from django.urls import reverse

from tests.checks.making import certificate, good
from tests.readings.helpers import take

pytestmark = pytest.mark.usefixtures("clock")


def test_a_reading_leads_to_both_checks_their_bath_and_their_budget(world, as_person):
    reading = take(world)
    before = good(world.probe, world.cook, reading.taken_at - timedelta(hours=2))
    after = good(world.probe, world.cook, reading.taken_at + timedelta(minutes=5))
    page = as_person(world.reader).get(reverse("reading_detail", args=[reading.pk])).content.decode()
    for check in (before, after):
        address = reverse("check_detail", args=[check.pk])
        assert all(f'href="{address}{end}"' in page for end in ("", "?figures=open#bath", "?figures=open#budget"))
        told = as_person(world.reader).get(f"{address}?figures=open").content.decode()
        assert all(part in told for part in ('<details class="figures" open>', 'id="bath"', 'id="budget"'))
    assert '<details class="figures">' in as_person(world.reader).get(address).content.decode()


def test_a_certificate_has_no_bath_to_lead_to(world, as_person):
    reading = take(world)
    check = certificate(world.probe, world.manager, reading.taken_at - timedelta(hours=2))
    page = as_person(world.reader).get(reverse("reading_detail", args=[reading.pk])).content.decode()
    assert reverse("check_detail", args=[check.pk]) in page
    assert "#bath" not in page
