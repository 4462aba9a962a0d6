"""The printed record says which readings were taken with a probe that was not OK to use, why, and how many they are."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from compliance.records.scope import RecordScope
from compliance.records.sections import readings
from compliance.records.summary_counts import count_readings
from tests.checks.making import bad, event, good
from tests.readings.helpers import EARLIER, take
from tests.world import make_probe

pytestmark = pytest.mark.usefixtures("clock")


@pytest.fixture
def scope(world):
    good(world.probe, world.cook, EARLIER - timedelta(days=2))
    take(world, item="milk", taken_at=EARLIER - timedelta(hours=2))
    bad(world.probe, world.cook, EARLIER - timedelta(hours=1))
    take(world, item="soup", used_despite="No other probe at hand")
    dropped = make_probe(world.site, "P2", by=world.manager)
    good(dropped, world.cook, EARLIER - timedelta(days=2))
    event(dropped, world.cook, "dropped", EARLIER - timedelta(hours=1))
    take(world, item="rice", probe=dropped)
    day = date(2026, 3, 11)
    return RecordScope(site=world.site, first=day, last=day, printed_by="Mara Holt", now=timezone.now())


def test_the_note_below_a_reading_says_so_and_why(scope):
    lines = map(readings.Line._make, scope.judged().values_list(*readings.FIELDS.values()))
    notes = {row.cells[2]: row.note for row in readings.ReadingRows(scope).rows(lines)}
    assert "probe" not in notes["milk"]
    assert "The probe was not to be used. Used all the same: No other probe at hand." in notes["soup"]
    assert "The probe was to be checked first." in notes["rice"]


def test_the_summary_counts_them(scope):
    counted = count_readings(scope)
    assert (counted.taken, counted.to_check_first, counted.not_to_be_used) == (3, 1, 1)
