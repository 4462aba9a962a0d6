"""Whatever happens to a probe leaves the same in the record whether it is entered at once or all of it ten days later."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.probes.models import Probe
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from compliance.reminders.status import Status, with_status
from compliance.reminders.sweep import sweep
from sites.models import Site
from tests.checks import making
from tests.plans.making import check_every
from tests.world import make_probe, make_site

BEGIN, DAYS = datetime(2026, 3, 20, 12, tzinfo=UTC), 10
END = BEGIN + timedelta(days=DAYS)
WHAT = ["good", "bad", "unclear", "boiled", "dropped", "withdrawn", "returned"]
some = st.lists(
    st.tuples(st.integers(1, 24 * DAYS - 1), st.sampled_from(WHAT)),
    min_size=1,
    max_size=4,
    unique_by=lambda each: each[0],
)


@pytest.mark.django_db
@given(some.map(sorted), st.integers(1, 4))
@example([(12, "good")], 1)
@example([(1, "bad")], 2)
@example([(1, "unclear"), (2, "good")], 2)
@example([(1, "boiled"), (177, "bad")], 2)
@example([(45, "boiled"), (103, "bad"), (162, "good")], 2)
@example([(22, "unclear"), (46, "good")], 1)
@example([(22, "returned")], 1)
@example([(1, "boiled"), (46, "bad")], 2)
@example([(45, "boiled"), (127, "bad"), (162, "good")], 2)
@example([(25, "good"), (53, "bad"), (127, "dropped"), (129, "boiled")], 2)
@example([(11, "bad"), (19, "bad"), (20, "withdrawn"), (49, "returned")], 2)
@example([(1, "good"), (16, "bad"), (87, "unclear"), (116, "dropped")], 2)
@example([(12, "boiled"), (45, "good"), (99, "returned"), (195, "boiled")], 4)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_was_missed_is_the_same_whether_it_was_entered_in_time_or_late(world, happened, every):
    told = [(BEGIN + timedelta(hours=hour, minutes=30), what) for hour, what in happened]
    with time_machine.travel(BEGIN, tick=False) as clock:
        in_time, late = _checked_every(world, every), _checked_every(world, every)
        for at, what in told:
            clock.move_to(at)
            sweep(at)
            _enter(world, in_time, what, at)
        clock.move_to(END)
        sweep(END)
        for at, what in told:
            _enter(world, late, what, at)
        sweep(END)
    assert _left(late) == _left(in_time)


def _checked_every(world, days: int) -> Probe:
    name = f"{Site.objects.count()}"
    probe = make_probe(make_site(world.area, f"Site {name}"), f"S{name}", by=world.manager)
    making.good(probe, world.cook, BEGIN - timedelta(days=1))
    check_every(probe, days, by=world.manager)
    planning.roll_over([probe.site_id])
    return probe


def _enter(world, probe: Probe, what: str, at: datetime) -> None:
    if what == "boiled":
        making.boiling(probe, world.cook, at, "92.0")
    elif what in ("good", "bad", "unclear"):
        getattr(making, what)(probe, world.cook, at)
    else:
        making.event(probe, world.manager, what, at)


def _left(probe: Probe) -> list[tuple[datetime, str]]:
    """What was not done, or is still to be."""
    rows = with_status(Reminder.objects.filter(probe=probe), END).exclude(status__in=[Status.CANCELLED, Status.CLEARED])
    return list(rows.order_by("due_at").values_list("due_at", "status"))
