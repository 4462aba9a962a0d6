"""The shortest demo that may be asked for, of few of its probes."""

from datetime import UTC, datetime

from django.core.management import call_command

from compliance.checks.models import Check
from compliance.overview.demo.physics import FEWEST_DAYS
from compliance.plans.models import CheckPlan
from tests.overview.test_demo import made

# One probe of a few sites.
FEW = {"Alderbrook": "AL-2", "Bramley": "BR-2", "Copperfield": "CO-2", "Dunlin": "DU-1", "Larkspur": "LA-2"}
WEEKEND_BEFORE_THE_FEWEST = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)  # a Wednesday sixty days after a Saturday


def test_the_shortest_one_begins_on_any_day_of_the_week(db):
    """All that is told to happen in it lies in it, also where a school was closed and it happened on the day before."""
    with made(FEW, WEEKEND_BEFORE_THE_FEWEST, FEWEST_DAYS) as setting:
        assert setting.begins.weekday() == 5
        assert CheckPlan.objects.filter(probe__code="CO-2", every_days=1).exists()
        assert Check.objects.filter(probe__code="BR-2", verdict="out_of_tolerance").exists()
        call_command("verify_due", verbosity=0)
