"""The rows of readings: those that are stored are those of the fold over all facts, whoever wrote these and when."""

from datetime import UTC, date, datetime, time, timedelta
from random import Random

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.appliances.data import OutOfUseData
from compliance.appliances.models import Appliance, ApplianceSettings, OutOfUse
from compliance.limits.models import Limit, LimitVersion
from compliance.notices.late_sources import untaken
from compliance.plans import round_rows
from compliance.plans.actions import set_round
from compliance.plans.calendar import DAY
from compliance.plans.data import ClosureData, RoundData
from compliance.plans.models import Closure, ClosureVoid, Opening, Round
from compliance.plans.round_rows import AHEAD, derive_rounds, differing_rounds, extend_rounds
from compliance.plans.store import late_at
from compliance.reminders import planning, tasks
from compliance.reminders.models import Excuse, Reminder
from compliance.reminders.status import with_status
from sites.models import Site
from tests.checks import making
from tests.records.making import record_of, section
from tests.remembered import remembered
from tests.reminders.making import statuses
from tests.undone import undone
from tests.world import make_limit, make_site

READINGS = Reminder.objects.filter(limit__isnull=False)
pytestmark = pytest.mark.django_db
HOURS = 16 * 24
SPRING, AUTUMN = datetime(2026, 3, 20, 12, tzinfo=UTC), datetime(2026, 10, 16, 12, tzinfo=UTC)  # two Fridays
ZONES = ("Europe/Paris", "America/New_York", "Pacific/Auckland", "Europe/London")
NIGHTS = [(time(18), time(3))] * 6 + [None]
FEW = settings(suppress_health_check=list(HealthCheck), max_examples=settings.default.max_examples // 10, deadline=None)


class Play:
    """Readings under one limit of a site of its own, and what may be changed about them."""

    def __init__(self, world):
        self.by = world.supervisor
        self.site = make_site(world.area, f"Site {Site.objects.count()}")
        self.limit = make_limit(self.site, by=world.manager)

    def act(self, what: str, number: int, now: datetime) -> None:
        self.site = Site.objects.get(pk=self.site.pk)
        try:
            getattr(self, what)(number, now)
        except ValidationError:
            return

    def times(self, number, now):
        at = [time(number % 24), time(number * 7 % 24, 30)]
        set_round(by=self.by, limit=self.limit, data=RoundData(times=at, grace_minutes=15 + number % 90))

    def from_later_on(self, number, now):
        first = now.date() + DAY * (1 + number % 4)
        set_round(by=self.by, limit=self.limit, data=RoundData(times=[time(number % 24)], effective_from=first))

    def every(self, number, now):
        set_round(by=self.by, limit=self.limit, data=RoundData(every_minutes=60 * (1 + number % 5)))

    def off(self, number, now):
        set_round(by=self.by, limit=self.limit, data=RoundData(in_force=False, reason="the season is over"))

    def late_hours(self, number, now):
        planning.change_opening(by=self.by, site=self.site, hours=NIGHTS)

    def day_hours(self, number, now):
        planning.change_opening(by=self.by, site=self.site, hours=[(time(number % 10), time(20))] * 7)

    def closed(self, number, now):
        first = now.date() + DAY * (number % 4)
        planning.add_closure(
            by=self.by, data=ClosureData(site=self.site, first_day=first, last_day=first + DAY, why="works")
        )

    def open_again(self, number, now):
        if closure := Closure.objects.live().filter(site=self.site).last():
            planning.strike_closure(by=self.by, closure=closure, reason="called off")

    def zone(self, number, now):
        planning.change_site(by=self.by, site=self.site, changes={"time_zone": ZONES[number % 4]})

    def for_good(self, number, now):
        planning.change_site(by=self.by, site=self.site, changes={"closed": not self.site.closed})

    def retire(self, number, now):
        planning.retire_limit(by=self.by, limit=self.limit, effective_from=now, reason="the season is over")

    def hold_again(self, number, now):
        planning.change_limit(by=self.by, limit=self.limit, effective_from=now, reason="the season is over")

    def named(self, number, now):
        planning.add_appliance(by=self.by, limit=self.limit, name=f"Fridge {Appliance.objects.count()}")

    def retired(self, number, now):
        if appliance := self._one(number):
            planning.change_appliance(
                by=self.by,
                appliance=appliance,
                changes={"retired": not appliance.retired},
                reason="sold or bought back",
            )

    def out_of_use(self, number, now):
        if appliance := self._one(number):
            ends = now + timedelta(hours=number - 20) if number % 3 else None
            data = OutOfUseData(why="broken", starts_at=now - timedelta(hours=number % 24), ends_at=ends)
            planning.take_out_of_use(by=self.by, appliance=appliance, data=data)

    def back_in_use(self, number, now):
        if away := OutOfUse.objects.live().filter(appliance__limit=self.limit).last():
            planning.put_back_in_use(by=self.by, out_of_use=away)

    def in_use_after_all(self, number, now):
        if away := OutOfUse.objects.live().filter(appliance__limit=self.limit).last():
            planning.void_out_of_use(by=self.by, out_of_use=away, reason="the wrong one was tapped")

    def _one(self, number) -> Appliance | None:
        some = list(self.limit.appliances.order_by("pk"))
        return some[number % len(some)] if some else None

    def night(self, number, now):
        extend_rounds([self.site.pk], now)


ACTS = [name for name in vars(Play) if name not in ("act", "night") and not name.startswith("_")]
ACTS += ["named", "out_of_use"]  # without which the others of their kind do nothing
acts = st.tuples(st.integers(1, HOURS), st.sampled_from(ACTS), st.integers(0, 127))


@pytest.mark.parametrize("begin", [SPRING, AUTUMN], ids=["clocks go forward", "clocks go back"])
@given(
    script=st.lists(acts, min_size=1, max_size=9).map(sorted),
    first=st.sampled_from(["times", "every"]),
    nights=st.sampled_from([24, 96, HOURS]),
)
@example(script=[(1, "times", 0), (315, "times", 0)], first="times", nights=HOURS)
@FEW
def test_what_is_stored_is_the_fold_of_all_facts(world, begin, script, first, nights):
    with time_machine.travel(begin, tick=False) as clock, undone():
        play, laid_ahead = Play(world), 0
        dark = [(hour, "night", 0) for hour in range(nights, HOURS, nights)]
        for hour, what, number in [(0, "day_hours", 7), (0, first, 20), *sorted([*script, *dark]), (HOURS, "night", 0)]:
            now = begin + timedelta(hours=hour, minutes=1)
            clock.move_to(now)
            play.act(what, number, now)
            laid_ahead = hour if what == "night" else laid_ahead
            # Without a night for longer than rows lie ahead, a change that is refused leaves some lacking until the next.
            if hour % 7 == 0 and timedelta(hours=hour - laid_ahead) <= AHEAD:
                assert list(differing_rounds([play.limit.pk], now)) == []
        assert list(differing_rounds([play.limit.pk], now)) == []
        for of in (None, *play.limit.appliances.all()):
            rows = READINGS.filter(limit=play.limit, appliance=of).order_by("due_at")
            assert all(one.closes_at <= other.opens_at for one, other in zip(rows, rows[1:], strict=False))


# ------------------------------------------------------------------------------------------------------------ three writers


def write_fact(by, limit: Limit, what: str, number: int, at: datetime) -> None:
    """As the actions do, with the moment at which it reached the record."""
    told = {"recorded_by": by, "recorded_at": at}
    day = at.date() + DAY * (number % 3)
    if what == "round":
        times = [f"{number % 24:02}:00", f"{number * 5 % 24:02}:30"]
        Round.objects.create(limit=limit, effective_from=day, times=times, in_force=number % 7 > 0, **told)
    elif what == "hours":
        hours = [["17:00", "02:00"] if number % 2 else ["07:00", "20:00"]] * 7
        Opening.objects.create(site=limit.site, effective_from=day, hours=hours, **told)
    elif what == "closure":
        closure = Closure.objects.create(site=limit.site, first_day=day, last_day=day, why="works", **told)
        if number % 2:
            struck = told | {"recorded_at": at + timedelta(hours=number)}
            ClosureVoid.objects.create(voids=closure, reason="called off", **struck)
    elif what == "appliance":
        appliance = Appliance.objects.create(site=limit.site, limit=limit, name=f"Fridge {number}")
        ApplianceSettings.objects.create(appliance=appliance, name=appliance.name, **told)
        if number % 4 == 0:
            gone = told | {"recorded_at": at + timedelta(hours=number)}
            ApplianceSettings.objects.create(appliance=appliance, name=appliance.name, retired=True, **gone)
        if number % 2:
            ends = at + timedelta(hours=4 + number) if number % 3 else None
            OutOfUse.objects.create(appliance=appliance, why="broken", starts_at=at, ends_at=ends, **told)
    else:
        first = limit.versions.earliest("effective_from")
        names = ["direction", "value", "unit", "value_milli", "usual_action", "source", "origin"]
        given = {name: getattr(first, name) for name in names}
        LimitVersion.objects.create(limit=limit, effective_from=at, in_force=number % 2 == 0, **given, **told)


def derive(limit: Limit, now: datetime, since: datetime) -> None:
    with transaction.atomic():
        derive_rounds([limit.site_id], now, "it was worked out later", since)


def rows_of(limit: Limit, until: datetime) -> list[tuple]:
    """But for the marks of lateness: when it was written, and what was cancelled."""
    order = list(Round.objects.filter(limit=limit).order_by("recorded_at").values_list("pk", flat=True))
    rows = READINGS.filter(limit=limit, cancelled_at__isnull=True, due_at__lte=until)
    rows = rows.order_by("due_at", "appliance__name")
    names = ["due_at", "appliance__name", "opens_at", "grace_at", "closes_at", "because", "day", "round_id"]
    return [(*told, order.index(key)) for *told, key in rows.values_list(*names)]


facts = st.lists(
    st.tuples(
        st.integers(1, 10 * 24),
        st.sampled_from(["round", "hours", "closure", "version", "appliance"]),
        st.integers(0, 60),
    ),
    min_size=1,
    max_size=6,
    unique_by=lambda each: each[0],
).map(sorted)


@given(facts, st.integers(0, 99), st.integers(1, 30))
@FEW
def test_three_writers_of_the_same_facts_leave_the_same_rows(world, facts, seed, late):
    """In order and at once; shuffled, and worked out at the end; in order, and each worked out hours later."""
    happened = [(SPRING, "hours", 0), (SPRING + timedelta(minutes=1), "round", 9)]
    happened += [(SPRING + timedelta(hours=hour), what, number) for hour, what, number in facts]
    end = max(at for at, _, _ in happened) + 5 * DAY
    with time_machine.travel(SPRING, tick=False), undone():
        in_order, shuffled, later = (Play(world).limit for _ in range(3))
        for at, what, number in happened:
            write_fact(world.supervisor, in_order, what, number, at)
            derive(in_order, at, at)
            write_fact(world.supervisor, later, what, number, at)
            derive(later, at + timedelta(hours=late), at)
        for at, what, number in Random(seed).sample(happened, len(happened)):
            write_fact(world.supervisor, shuffled, what, number, at)
        for limit in (in_order, shuffled, later):
            derive(limit, end, SPRING)
        assert rows_of(in_order, end) == rows_of(shuffled, end) == rows_of(later, end)
        assert rows_of(in_order, end) or facts


# ------------------------------------------------------------------------------------------------------ rules, by their names

NOON = datetime(2026, 3, 11, 12, tzinfo=UTC)  # a Wednesday


def on(day: int, hour: int = 8, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


def moments(**chosen) -> list[tuple]:
    return list(READINGS.filter(**chosen).order_by("due_at").values_list("due_at", "grace_at", "closes_at"))


@pytest.fixture
def rounds(clock, world):
    """At eight and at two, from today at noon on."""
    remembered(at_eight_and_at_two, world)
    return world


def at_eight_and_at_two(world) -> None:
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(14)], grace_minutes=60))


def test_a_round_asks_from_the_moment_at_which_it_is_set_and_lies_ahead(rounds):
    row = READINGS.earliest("due_at")
    assert (row.limit, row.round, row.day) == (rounds.limit, rounds.limit.rounds.get(), date(2026, 3, 11))
    assert (row.due_at, row.opens_at, row.grace_at, row.closes_at) == (on(11, 14), on(11, 13), on(11, 15), on(12, 7))
    assert row.recorded_at == NOON
    assert on(19, 8) <= READINGS.latest("due_at").due_at <= on(19, 14), "eight days, and the next one"


def test_an_open_row_keeps_its_due_time_and_grace_and_its_end_follows_never_to_before_now(rounds, clock):
    clock.move_to(on(11, 14, 20))
    set_round(by=rounds.manager, limit=rounds.limit, data=RoundData(times=[time(14, 22)], grace_minutes=15))
    open_row, following = moments()[:2]
    assert open_row == (on(11, 14), on(11, 15), on(11, 14, 20)), "what follows might be taken from seven past on"
    assert following[0] == on(11, 14, 22)


def test_a_day_that_is_closed_leaves_more_time_for_the_reading_before_it(rounds, clock):
    clock.move_to(on(11, 14, 5))
    planning.add_closure(
        by=rounds.supervisor,
        data=ClosureData(site=rounds.site, first_day=date(2026, 3, 12), last_day=date(2026, 3, 12), why="works"),
    )
    assert moments()[0] == (on(11, 14), on(11, 15), on(12, 14))
    assert moments()[1][0] == on(13, 8)


def test_a_closure_lifts_no_reading_that_has_fallen_due(rounds, clock):
    clock.move_to(on(12, 9))
    planning.add_closure(
        by=rounds.supervisor,
        data=ClosureData(site=rounds.site, first_day=date(2026, 3, 12), last_day=date(2026, 3, 12), why="works"),
    )
    assert [due for due, *_ in moments()][:3] == [on(11, 14), on(12, 8), on(13, 8)]
    assert not READINGS.filter(cancelled_at__isnull=False).exists()


def test_the_form_of_a_closure_offers_one_excuse_for_all_that_is_open_of_its_days(rounds, clock, as_person):
    making.event(rounds.probe, rounds.cook, "dropped", on(11, 10))
    clock.move_to(on(11, 14, 5))
    given = {"scope": "site", "first_day": "2026-03-11", "last_day": "2026-03-12", "why": "power cut"}
    page = as_person(rounds.manager).get(reverse("closure_add", args=[rounds.site.pk])).content.decode()
    assert "Excuse what is open of these days" in page
    as_person(rounds.manager).post(reverse("closure_add", args=[rounds.site.pk]), given | {"excuse_open": "on"})
    now = on(11, 14, 5)
    asked = Reminder.objects.filter(due_at__gte=on(11, 0), due_at__lte=now, cancelled_at=None)
    rows = with_status(asked, now)
    assert {row.status for row in rows} == {"excused"} and {bool(row.limit_id) for row in rows} == {True, False}
    assert set(Excuse.objects.values_list("reason", "recorded_by")) == {("power cut", rounds.manager.pk)}
    told = section(record_of(rounds.site), "Planned and done")
    assert "excused" in told and "power cut" in told


def test_without_it_what_is_open_stays_open_and_what_was_open_before_its_days_is_not_excused(rounds, clock):
    clock.move_to(on(12, 9))
    by, closed = rounds.manager, {"site": rounds.site, "why": "works"}
    planning.add_closure(by=by, data=ClosureData(first_day=date(2026, 3, 12), last_day=date(2026, 3, 12), **closed))
    assert statuses(limit__isnull=False, due_at=on(12)) == ["overdue"]
    planning.add_closure(
        by=by,
        data=ClosureData(first_day=date(2026, 3, 13), last_day=date(2026, 3, 14), **closed),
        excuse_open=True,
    )
    assert not Excuse.objects.exists()


def test_a_time_of_a_day_that_was_asked_for_is_not_asked_for_again_where_the_clock_is_changed(rounds, clock):
    clock.move_to(on(12, 9))
    site = Site.objects.get(pk=rounds.site.pk)
    planning.change_site(by=rounds.supervisor, site=site, changes={"time_zone": "America/New_York"})
    dues = [due for due, *_ in moments(day=date(2026, 3, 12))]
    assert dues == [on(12, 8), on(12, 18)], "eight was; at two it is six in the evening here"


def test_a_time_that_is_past_by_the_new_clock_keeps_its_old_moment(rounds, clock):
    clock.move_to(on(12, 7, 30))
    site = Site.objects.get(pk=rounds.site.pk)
    planning.change_site(by=rounds.supervisor, site=site, changes={"time_zone": "Pacific/Auckland"})
    dues = [due for due, *_ in moments(day=date(2026, 3, 12))]
    assert dues == [on(12, 8), on(12, 14)], "in Auckland it is evening already"


def test_the_row_says_which_of_the_rounds_asks(rounds, clock):
    clock.move_to(on(12, 9))
    later = set_round(by=rounds.manager, limit=rounds.limit, data=RoundData(times=[time(15)]))
    assert set(READINGS.filter(due_at__gt=on(12, 9)).values_list("round", flat=True)) == {later.pk}
    assert READINGS.get(due_at=on(12)).round_id != later.pk


def test_however_far_the_next_one_is_there(rounds):
    planning.add_closure(
        by=rounds.supervisor,
        data=ClosureData(site=rounds.site, first_day=date(2026, 3, 11), last_day=date(2026, 6, 7), why="works"),
    )
    assert [due for due, *_ in moments()] == [datetime(2026, 6, 8, 7, tzinfo=UTC)], "eight in summer"


def test_one_that_is_written_late_is_told_when_its_grace_is_over_counted_from_then(rounds):
    READINGS.filter(due_at=on(11, 14)).update(
        recorded_at=on(11, 14, 40), late_at=late_at(on(11, 14), on(11, 15), on(11, 14, 40))
    )
    assert [len(untaken(on(11, 15, minute)).messages) for minute in (0, 39, 40)] == [0, 0, 1]


def test_rows_of_before_rows_lay_ahead_stand_and_only_their_end_follows(rounds, clock):
    READINGS.exclude(due_at=on(11, 14)).delete()
    READINGS.update(recorded_at=None, because="as it was once written", closes_at=on(12, 6))
    clock.move_to(on(11, 15))
    derive(rounds.limit, on(11, 15), on(11, 15))
    first, following = READINGS.order_by("due_at")[:2]
    assert (first.because, first.closes_at, first.recorded_at) == (
        "as it was once written",
        on(12, 7) - timedelta(hours=1),
        None,
    )
    assert following.due_at == on(12) and following.opens_at >= first.closes_at


# ------------------------------------------------------------------------------------------------------------- night by night


def test_a_night_only_appends_and_again_it_writes_nothing(rounds, clock):
    before = list(READINGS.order_by("due_at").values())
    clock.move_to(on(13, 3))
    extend_rounds([rounds.site.pk, rounds.other_site.pk], on(13, 3))
    after = list(READINGS.order_by("due_at").values())
    assert after[: len(before)] == before and after[-1]["due_at"] >= on(13, 3) + AHEAD
    with CaptureQueriesContext(connection) as queries:
        extend_rounds([rounds.site.pk], on(13, 3))
    assert not [q for q in queries if "plans_reminder" in q["sql"] and not q["sql"].startswith("SELECT")]
    assert list(READINGS.order_by("due_at").values()) == after


def test_sites_are_taken_together_by_their_limits(rounds, monkeypatch):
    other = make_limit(rounds.other_site, by=rounds.manager)
    set_round(by=rounds.supervisor, limit=other, data=RoundData(times=[time(8)]))
    both = [rounds.site.pk, rounds.other_site.pk]
    assert list(round_rows._batches(both)) == [both]
    monkeypatch.setattr(round_rows, "TOGETHER", 1)
    assert list(round_rows._batches(both)) == [[pk] for pk in both]


def test_the_queries_do_not_grow_with_limits_or_history(rounds, clock):
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            derive(rounds.limit, datetime.now(UTC), datetime.now(UTC))
        return len(captured)

    few = queries()
    for number in range(3):
        limit = make_limit(rounds.site, by=rounds.manager, code=f"more-{number}")
        set_round(by=rounds.manager, limit=limit, data=RoundData(times=[time(9)]))
    clock.move_to(on(25))
    planning.extend_horizon(datetime.now(UTC))
    assert queries() == few


def test_one_batch_that_fails_stops_no_other_and_then_nothing_is_told(rounds, monkeypatch):
    reached = []

    def extend(site_ids, now):
        if site_ids == [rounds.site.pk]:
            raise ArithmeticError("a plan that cannot be worked out")
        reached.extend(site_ids)

    monkeypatch.setattr(planning, "SITES", 1)
    monkeypatch.setattr(planning, "extend_rounds", extend)
    assert tasks.extend_horizon() is False and rounds.other_site.pk in reached
    monkeypatch.setattr(planning, "extend_rounds", lambda site_ids, now: None)
    assert tasks.extend_horizon()
