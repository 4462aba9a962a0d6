"""What has become of a reminder: the pure rule and the expression of the database agree on whatever happens."""

import uuid
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.checks.actions import void_check
from compliance.checks.models import Check, CheckVoid, Verdict
from compliance.plans.calendar import DAY
from compliance.plans.models import Round
from compliance.reminders.missed import missed, not_in_time
from compliance.reminders.models import Excuse, ExcuseVoid, Reminder
from compliance.reminders.status import Status, with_status
from tests.checks import making
from tests.reminders.making import statuses
from tests.reminders.oracle import cleared_at, status
from tests.rows import fill
from tests.undone import undone
from tests.world import make_limit, make_reading

NOW = datetime(2026, 3, 11, 12, tzinfo=UTC)
pytestmark = pytest.mark.usefixtures("clock")
hours = st.integers(-12, 12).map(lambda n: NOW + timedelta(hours=n))
checks = st.fixed_dictionaries(
    {
        "checked_at": hours,
        "kind": st.sampled_from(["zero", "boiling", "certificate"]),
        "stage": st.sampled_from(["as_found", "as_left"]),
        "verdict": st.sampled_from(Verdict.values),
        "reference_milli": st.sampled_from([-5_000, -5_001, 0, 5_000, 5_001, 98_000]),
    }
)
SOME = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    max_examples=settings.default.max_examples // 4,
)


def checked(hour: int, kind="zero", stage="as_found", verdict="in_tolerance", reference=0) -> dict:
    told = {"kind": kind, "stage": stage, "verdict": verdict, "reference_milli": reference}
    return {"checked_at": NOW + timedelta(hours=hour), **told}


# In order: opens, due, grace, closes.
times = st.lists(hours, min_size=4, max_size=4).map(sorted)
PAST = [NOW + timedelta(hours=hour) for hour in (-9, -6, -3, -1)]


def made(times, **fields) -> Reminder:
    names = ("opens_at", "due_at", "grace_at", "closes_at")
    return Reminder.objects.create(**dict(zip(names, times, strict=True)), because="x", **fields)


def found(reminder) -> Reminder:
    return with_status(Reminder.objects.filter(pk=reminder.pk), NOW).get()


@given(
    times,
    st.lists(st.tuples(checks, st.booleans()), max_size=4),
    st.booleans(),
    st.sampled_from(["", "one", "void"]),
    st.booleans(),
    st.none() | hours,
)
@example(PAST, [(checked(-5), False)], True, "", False, None)
@example(PAST, [(checked(-5), False)], False, "", True, None)
@example(PAST, [(checked(-9), False)], False, "", False, None)
@example(PAST, [(checked(-9, stage="as_left"), False)], False, "", False, None)
@example(PAST, [(checked(-1), False), (checked(-2, kind="boiling"), False)], False, "one", False, None)
@example(PAST, [(checked(-5, verdict="inconclusive"), False), (checked(-4), True)], False, "void", False, None)
@example(PAST, [(checked(-5, kind="certificate", reference=5_000), False)], False, "", False, None)
@example(PAST, [(checked(-5, kind="certificate", reference=-5_001), False)], False, "", False, None)
@example(PAST, [], False, "", False, NOW + timedelta(hours=-2))
@example([*PAST[:3], NOW], [], False, "", False, PAST[2])
@SOME
def test_both_agree_on_checks_voids_excuses_what_is_cancelled_and_what_was_asked_too_late(
    world, times, happened, away, excused, cancelled, recorded
):
    with undone():
        about = {"probe": world.probe, "site": world.site, "point": "boiling" if away else "zero"}
        reminder = made(times, cancelled_at=times[2] if cancelled else None, recorded_at=recorded, **about)
        live = []
        for fields, void in happened:
            check = write(world, world.probe, fields)
            if void:
                CheckVoid.objects.create(voids=check, reason="tried", recorded_by=world.manager)
            else:
                live.append(check)
        if excused:
            excuse = Excuse.objects.create(reminder=reminder, reason="tried", recorded_by=world.manager)
            if excused == "void":
                ExcuseVoid.objects.create(voids=excuse, reason="tried", recorded_by=world.manager)
        ours = found(reminder)
        at = cleared_at(reminder, live)
        assert ours.cleared_at == at
        assert ours.status == status(reminder, cleared_at=at, excused=excused == "one", now=NOW)
        assert_listed(ours)


def assert_listed(ours):
    """Lists of many sites have it where it was missed, or is late, and nowhere else."""
    lists = missed([ours.site_id], NOW), not_in_time([ours.site_id], NOW - DAY, NOW, NOW)
    late = ours.status in (Status.MISSED, Status.OVERDUE) and ours.grace_at < NOW and ours.due_at < NOW
    in_lists = [each.filter(pk=ours.pk).exists() for each in lists]
    assert in_lists == [ours.status == Status.MISSED and ours.due_at < NOW, late]


def write(world, probe, fields, site=None) -> Check:
    return Check.objects.create(
        key=uuid.uuid4(),
        probe=probe,
        site=site or world.site,
        checked_by=world.cook,
        recorded_by=world.cook,
        tolerance_milli=500,
        decision_rule="guarded",
        **fields,
    )


@given(times, st.lists(hours, max_size=4))
@example(PAST, [PAST[0]])
@example(PAST, [PAST[3]])
@example([*PAST[:2], NOW, NOW + timedelta(hours=1)], [])
@SOME
def test_both_agree_on_readings(world, times, taken):
    with undone():
        limit = make_limit(world.site, by=world.manager, code="another")
        asked = Round.objects.create(limit=limit, effective_from=NOW.date(), times=["12:00"], recorded_by=world.manager)
        reminder = made(times, round=asked, limit=limit, site=world.site)
        readings = [make_reading(world.probe, limit, "3.0", at, by=world.cook) for at in taken]
        make_reading(world.probe, world.limit, "3.0", times[1], by=world.cook)
        at, ours = cleared_at(reminder, [], readings), found(reminder)
        assert ours.cleared_at == at
        assert ours.status == status(reminder, cleared_at=at, excused=False, now=NOW)
        assert_listed(ours)


def test_what_was_done_long_before_it_fell_due_or_elsewhere_is_not_listed_as_missed(world):
    asked = Round.objects.create(
        limit=world.limit, effective_from=NOW.date(), times=["12:00"], recorded_by=world.manager
    )
    opened_long_ago = [at(-2000), at(-600), at(-598), at(-590)]
    check = made(opened_long_ago, probe=world.probe, site=world.site)
    reading = made(opened_long_ago, round=asked, limit=world.limit, site=world.site)
    lately = made([at(-48), at(-40), at(-38), at(-8)], probe=world.probe, site=world.site)
    assert set(missed([world.site.pk], NOW)) == {check, reading, lately}
    making.good(world.probe, world.cook, at(-1900))
    make_reading(world.probe, world.limit, "3.0", at(-1900), by=world.cook)
    assert set(missed([world.site.pk], NOW)) == {lately}
    write(world, world.probe, {"checked_at": at(-30), "kind": "zero", "verdict": "in_tolerance"}, site=world.other_site)
    assert not missed([world.site.pk], NOW).exists()


def at(hour: float) -> datetime:
    return NOW + timedelta(hours=hour)


@pytest.mark.parametrize(
    ("now", "said"),
    [(-0.1, "upcoming"), (0, "due"), (1.9, "due"), (2, "overdue"), (23.9, "overdue"), (24, "missed"), (99, "missed")],
)
def test_by_time_alone(now, said):
    row = SimpleNamespace(due_at=at(0), grace_at=at(2), closes_at=at(24), cancelled_at=None, recorded_at=at(-9))
    assert status(row, cleared_at=None, excused=False, now=at(now)) == said
    assert status(row, cleared_at=at(1), excused=True, now=at(now)) == Status.CLEARED
    assert status(row, cleared_at=None, excused=True, now=at(now)) == Status.EXCUSED
    row.cancelled_at = at(1)
    assert status(row, cleared_at=None, excused=False, now=at(now)) == Status.CANCELLED
    assert status(row, cleared_at=None, excused=True, now=at(now)) == Status.EXCUSED


def test_a_late_entry_clears_what_was_missed_and_its_void_brings_it_back(world):
    reminder = made([at(-48), at(-40), at(-38), at(-8)], probe=world.probe, site=world.site)
    assert statuses(pk=reminder.pk) == ["missed"]
    making.unclear(world.probe, world.cook, at(-35))
    assert statuses(pk=reminder.pk) == ["missed"]
    check = making.good(world.probe, world.cook, at(-30))
    assert statuses(pk=reminder.pk) == ["cleared"] and found(reminder).check_id == check.pk
    void_check(by=world.supervisor, check=check, reason="Another probe.")
    assert statuses(pk=reminder.pk) == ["missed"]
    making.good(world.probe, world.cook, at(-7))
    assert statuses(pk=reminder.pk) == ["missed"]


def test_a_failed_check_was_made_all_the_same(world):
    reminder = made([at(-48), at(-40), at(-38), at(8)], probe=world.probe, site=world.site)
    making.bad(world.probe, world.cook, at(-30))
    assert statuses(pk=reminder.pk) == ["cleared"]


def test_another_probe_clears_nothing(world):
    other = fill(type(world.probe), world)
    made([at(-48), at(-40), at(-38), at(8)], probe=other, site=world.site)
    making.good(world.probe, world.cook, at(-30))
    assert statuses() == ["overdue"]
