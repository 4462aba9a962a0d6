"""The fold beside the rows that are stored: over random histories they say the same, but for the differences that are known.

No test of the suite: `pytest tests/reminders/fold_beside_stored.py`, before the fold takes the place of what is stored.

Each known difference (`verify.KNOWN`) is a fault of the stored rows, or a promise that goes with them.
"""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.reminders import planning
from sites.models import Site
from tests.reminders import test_standstill
from tests.reminders.test_standstill import ACTS, HOURS, Play, run
from tests.reminders.verify import differences_of_checks

pytestmark = pytest.mark.django_db
ZONES = ("Europe/Paris", "America/New_York", "Pacific/Auckland", "Europe/London")
SPRING, AUTUMN = datetime(2026, 3, 20, 12, tzinfo=UTC), datetime(2026, 10, 16, 12, tzinfo=UTC)  # two Fridays
HARD = settings(suppress_health_check=list(HealthCheck), max_examples=2, deadline=None)


class Wider(Play):
    """Its site may take another clock, too."""

    def zone(self, number, now):
        site = Site.objects.get(pk=self.site.pk)
        planning.change_site(by=self.world.supervisor, site=site, changes={"time_zone": ZONES[number % 4]})


acts = st.tuples(st.integers(1, HOURS), st.sampled_from([*ACTS, "zone"]), st.integers(0, 127))
scripts = st.lists(acts, min_size=1, max_size=9).map(sorted)


@pytest.mark.parametrize("begin", [SPRING, AUTUMN], ids=["clocks go forward", "clocks go back"])
@given(script=scripts)
@example([(36, "good", 23), (38, "dropped", 24), (45, "bad", 107), (188, "dropped", 14), (260, "good", 9)])
@example([(14, "withdrawn", 60), (180, "boiled", 58), (232, "late", 88), (234, "returned", 67), (309, "forget", 42)])
@example([(132, "moved", 117), (177, "patient", 45), (270, "unclear", 14), (294, "closed", 65)])
@example([(45, "moved", 42), (76, "moved", 87), (113, "patient", 10), (140, "hours", 12), (323, "moved", 94)])
@HARD
def test_checks_that_were_asked_for(world, monkeypatch, begin, script):
    monkeypatch.setattr(test_standstill, "BEGIN", begin)
    with time_machine.travel(begin, tick=False) as clock:
        play = Wider.begin(world)
        run(play, script, clock, every=None)
        now = begin + timedelta(hours=HOURS)
        clock.move_to(now)
        found = [each for each in differences_of_checks(now) if each.subject == play.probe.code and each.due > begin]
    assert [each for each in found if not each.known] == []
