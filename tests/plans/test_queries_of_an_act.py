"""How many queries it takes to set the plan of one probe and to enter a failed check, with all that follows."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.checks.models import ProbeState
from tests.checks import making
from tests.plans.test_pages import PLAN

NOW = datetime(2026, 3, 11, 12, tzinfo=UTC)
pytestmark = pytest.mark.usefixtures("clock")


def counted(act) -> int:
    with CaptureQueriesContext(connection) as asked:
        act()
    return len([q for q in asked if "SAVEPOINT" not in q["sql"]])


def test_a_plan_of_one_probe(world, as_person):
    making.good(world.probe, world.cook, NOW - timedelta(days=1))
    client, address = as_person(world.manager), reverse("plan_probe", args=[world.probe.pk])
    client.get(address)
    assert counted(lambda: client.post(address, PLAN | {"after": "0"})) <= 20
    assert ProbeState.objects.get(probe=world.probe).due_because == "every 3 days"


def test_a_failed_check(world):
    making.good(world.probe, world.cook, NOW - timedelta(days=1))
    assert counted(lambda: making.bad(world.probe, world.cook, NOW)) <= 28
