"""Entered in order, in another order, or each of it late: the same rows, but for the marks of lateness."""

from datetime import timedelta
from random import Random

import pytest
import time_machine
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.checks.instruments import move_probe
from tests.checks import making
from tests.plans.making import check_every
from tests.reminders.play import SPRING, Play
from tests.undone import undone

pytestmark = pytest.mark.django_db
HOURS = 24 * 9
LATE = ("entered by", "was struck out")  # in the words of what was only found later not to be owed
KINDS = ("good", "good", "bad", "unclear", "too_low", "boiled", "dropped", "doubted", "adjusted", "moved", "away")
happened = st.lists(
    st.tuples(st.integers(1, HOURS), st.sampled_from(KINDS)), min_size=1, max_size=6, unique_by=lambda e: e[0]
)


def enter(play: Play, what: str, at) -> None:
    cook, probe = play.world.cook, play.probe
    probe.refresh_from_db()
    if what in ("good", "bad", "unclear"):
        getattr(making, what)(probe, cook, at, site=play.site)
    elif what in ("too_low", "boiled"):
        making.boiling(probe, cook, at, *(["92.0"] if what == "too_low" else []), site=play.site)
    elif what == "moved":
        move_probe(by=play.world.supervisor, probe=probe, site=play.other, starts_at=at, reason="Lent.")
    elif what == "away":
        making.event(probe, cook, "withdrawn", at, "to the laboratory")
        making.event(probe, cook, "returned", at + timedelta(hours=20))
    else:
        making.event(probe, cook, what, at)


@pytest.fixture
def play(world) -> Play:
    with time_machine.travel(SPRING, tick=False):
        play = Play.begin(world, SPRING)
        check_every(play.probe, 1, by=world.manager)
        return play


def rows_of(play: Play, told: list[tuple], clock, *, delay: int, shuffle: int | None = None) -> list[tuple]:
    """What is stored where each of these was entered so many hours after it was so, or all at the end in some order."""
    moves = [each for each in told if each[1] == "moved"]
    told = [each for each in told if each[1] != "moved" or each == moves[0]]
    if shuffle is not None:
        Random(shuffle).shuffle(told)
    with undone():
        for hour, what in told:
            at = SPRING + timedelta(hours=hour)
            clock.move_to(at + timedelta(hours=delay + 20 if shuffle is None else HOURS))
            enter(play, what, at)
        return [row for row in play.rows() if row[4] <= SPRING + timedelta(hours=2 * HOURS)]


def cancelled(row: tuple) -> bool:
    """What was asked for until it was known better stays, cancelled: a mark of lateness."""
    return row[-2] is not None


def found_late(row: tuple) -> bool:
    return any(words in row[-1] for words in LATE)


@given(happened, st.integers(0, 99))
@example([(1, "good"), (198, "away"), (213, "adjusted"), (216, "good")], 0)
@example([(21, "bad"), (45, "good"), (50, "dropped"), (70, "away"), (120, "moved"), (140, "good")], 4)
@settings(suppress_health_check=list(HealthCheck), max_examples=settings.default.max_examples // 10, deadline=None)
def test_whoever_writes_it_down_and_when_the_rows_are_the_same(play, told, seed):
    told = sorted(told)
    with time_machine.travel(SPRING, tick=False) as clock:
        in_order = rows_of(play, told, clock, delay=0)
        late = rows_of(play, told, clock, delay=70)
        shuffled = rows_of(play, told, clock, delay=0, shuffle=seed)
    for otherwise in (late, shuffled):
        assert [row for row in in_order if row not in otherwise and not cancelled(row)] == []
        assert [row for row in otherwise if row not in in_order and not cancelled(row)] == []
        assert {row[:5] for row in in_order if cancelled(row) and not found_late(row)} <= {row[:5] for row in otherwise}
