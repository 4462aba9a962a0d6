"""Settings of the past, worked out from the facts of their changes: beside a second way of saying what held when."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from shared.dated import changes, former_of, known_at, periods, told_at

START = datetime(2026, 1, 1, tzinfo=UTC)
NAMES = ("a", "b")


@dataclass(frozen=True)
class Told:
    recorded_at: datetime
    corrects: bool
    a: str
    b: str


VALUES = st.sampled_from("xyz")
ROWS = st.lists(st.tuples(st.booleans(), VALUES, VALUES, st.integers(1, 5)), min_size=1, max_size=8)


def facts_of(rows) -> list[Told]:
    at = START
    facts = []
    for corrects, a, b, gap in rows:
        at += timedelta(days=gap)
        facts.append(Told(at, corrects and bool(facts), a, b))
    return facts


HISTORIES = ROWS.map(facts_of)


def held(facts, name: str, moment: datetime) -> str:
    """Day by day: each change paints the days from its own on, each correction the days of the value that is there last."""
    days = [getattr(facts[0], name)] * 60
    stretch = 0  # the day on which the value that is there last begins
    for fact in facts[1:]:
        value, day = getattr(fact, name), (fact.recorded_at - START).days
        if value == days[-1]:
            continue
        if not fact.corrects:
            stretch = day
        days[stretch:] = [value] * (60 - stretch)
        while stretch and days[stretch - 1] == value:
            stretch -= 1
    return days[(moment - START).days]


def said(facts, name: str, moment: datetime) -> str:
    told = told_at(former_of(facts, NAMES), moment)
    return told[name] if told else getattr(facts[-1], name)


@given(HISTORIES)
def test_each_moment_has_the_value_that_was_set_or_corrected(facts):
    for day in range(60):
        moment = START + timedelta(days=day, hours=1)
        assert [said(facts, n, moment) for n in NAMES] == [held(facts, n, moment) for n in NAMES]


@given(HISTORIES)
def test_the_last_period_says_what_the_newest_fact_says_and_the_first_holds_since_ever(facts):
    told = periods(facts, NAMES)
    assert told[0].since is None and told[-1].values == {name: getattr(facts[-1], name) for name in NAMES}
    assert [each.since for each in told[1:]] == sorted({each.since for each in told[1:]})


@given(HISTORIES)
def test_without_corrections_what_held_is_what_was_known(facts):
    plain = [Told(fact.recorded_at, False, fact.a, fact.b) for fact in facts]
    for day in range(60):
        moment = START + timedelta(days=day, hours=1)
        known = known_at(plain, moment)
        assert [said(plain, n, moment) for n in NAMES] == [known.a, known.b]


def fact(days: int, a: str, *, corrects: bool = False) -> Told:
    return Told(START + timedelta(days=days), corrects, a, "-")


def test_a_change_holds_from_its_recording_and_a_correction_from_the_start_of_the_value_that_was_wrong():
    facts = [fact(0, "K-1"), fact(10, "K-2"), fact(20, "K-3", corrects=True)]
    assert [(each.old, each.new, each.since) for each in changes(facts, NAMES)] == [
        ("K-1", "K-2", facts[1].recorded_at),
        ("K-2", "K-3", facts[1].recorded_at),
    ]
    assert [said(facts, "a", START + timedelta(days=day)) for day in (9, 10, 15, 20)] == ["K-1", "K-3", "K-3", "K-3"]
    assert changes([fact(0, "K-1"), fact(5, "K-2", corrects=True)], NAMES)[0].since is None


def test_a_clock_that_was_set_back_turns_no_order_round():
    facts = [fact(0, "K-1"), fact(10, "K-2"), fact(4, "K-3")]
    assert said(facts, "a", START + timedelta(days=11)) == "K-3"
    assert said(facts, "a", START + timedelta(days=5)) == "K-1"


def test_the_moment_of_a_change_has_the_new_value():
    facts = [fact(0, "K-1"), fact(10, "K-2")]
    assert [
        said(facts, "a", START + timedelta(days=10) - step) for step in (timedelta(microseconds=1), timedelta())
    ] == [
        "K-1",
        "K-2",
    ]
