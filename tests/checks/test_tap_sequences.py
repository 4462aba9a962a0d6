"""Whatever is tapped in whatever order: no number is lost, none fails a probe alone, and “do not use” holds as it should."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from fractions import Fraction

from django.core.exceptions import ValidationError
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.checks import drafts, unfinished
from compliance.checks.kinds.zero import ICE
from compliance.checks.models import Check, CheckDraft
from tests.conftest import NOON
from tests.undone import undone

QUARTER = timedelta(minutes=15)
TEXTS = ("0.0", "0.1", "0.9", "1.0", "1.1", "-1.0", "-1.1", "4.0", "9.0", "23", "32", "33.7", "33.9", "-17.8")
taps = st.one_of(
    st.tuples(st.just("type"), st.sampled_from(TEXTS)),
    st.tuples(st.just("take_back"), st.integers(0, 5)),
    st.tuples(st.just("unit"), st.sampled_from(["C", "F", None])),
    st.tuples(st.just("wait"), st.sampled_from([1, 10, 95, 840, 900])),
    st.tuples(st.sampled_from(["take_out", "insert", "point", "sweep"]), st.none()),
)
ends = st.sampled_from(["finish", "give_up", "leave"])


@dataclass
class Number:
    text: str
    at: datetime
    unit: str
    said: bool = False
    live: bool = True
    elapsed: int = 0

    @property
    def outside(self) -> bool:
        value = Fraction(self.text)
        return abs(value if self.unit == "C" else (value - 32) * 5 / 9) > 1


@dataclass
class Told:
    """What the taps say, written down anew and in the plainest way: the oracle."""

    now: datetime = NOON
    tapped: datetime = NOON
    unit: str = ""
    inserted: datetime | None = None
    numbers: list[Number] = field(default_factory=list)

    @property
    def live(self) -> list[Number]:
        return [number for number in self.numbers if number.live]

    @property
    def outside_since(self) -> datetime | None:
        return min((number.at for number in self.numbers if number.outside), default=None)


@settings(max_examples=settings.default.max_examples // 2, suppress_health_check=list(HealthCheck))
@given(sequence=st.lists(taps, max_size=14), end=ends)
def test_no_sequence_of_taps_loses_a_number_or_fails_a_probe_by_one(probe, cook, clock, sequence, end):
    with undone():
        clock.move_to(NOON)
        told = Told()
        drafts.begin(cook, probe, ICE.usual, "as_found", NOON)
        drafts.mark(CheckDraft.objects.get(), ICE.met, "done", NOON)
        for name, value in [("insert", None), *sequence]:
            TAPS[name](told, clock, value)
            if not CheckDraft.objects.exists():
                break
            assert CheckDraft.objects.get().outside_since == told.outside_since
        _end(told, clock, end, probe, cook)


def _type(told, clock, text):
    if told.inserted is None:
        return
    drafts.read(CheckDraft.objects.get(), text, -1, told.now)
    elapsed = round((told.now - told.inserted).total_seconds() * 1000)
    told.numbers.append(Number(text, told.now, told.unit or "C", elapsed=elapsed))
    told.tapped = told.now


def _take_back(told, clock, index):
    elapsed = told.live[index].elapsed if index < len(told.live) else -1
    drafts.take_back(CheckDraft.objects.get(), elapsed)
    for number in told.live:
        number.live = number.elapsed != elapsed
    told.tapped = told.now


def _unit(told, clock, unit):
    drafts.say_unit(CheckDraft.objects.get(), unit)
    told.unit, told.tapped = unit or "", told.now
    for number in told.numbers:
        if unit is None:
            number.unit, number.said = "C", False
        elif not number.said:
            number.unit, number.said = unit, True


def _wait(told, clock, seconds):
    clock.shift(timedelta(seconds=seconds))
    told.now += timedelta(seconds=seconds)


def _take_out(told, clock, _):
    drafts.take_out(CheckDraft.objects.get())
    for number in told.live:
        number.live = False
    told.inserted, told.tapped = None, told.now


def _insert(told, clock, _):
    try:
        drafts.insert(CheckDraft.objects.get(), told.now)
    except ValidationError:  # the ice is to be drained first
        drafts.mark(CheckDraft.objects.get(), [drafts.step_again(CheckDraft.objects.get()).point], "done", told.now)
        drafts.insert(CheckDraft.objects.get(), told.now)
    if told.inserted is None:
        told.inserted = told.tapped = told.now


def _point(told, clock, _):
    drafts.mark(CheckDraft.objects.get(), [ICE.inside[ICE.usual][0].point], "done", told.now)
    told.tapped = told.now


def _sweep(told, clock, _):
    stored = unfinished.store_left(told.now)
    assert bool(stored) == (told.outside_since is not None and told.now - told.tapped >= QUARTER)


TAPS = {
    "type": _type,
    "take_back": _take_back,
    "unit": _unit,
    "wait": _wait,
    "take_out": _take_out,
    "insert": _insert,
    "point": _point,
    "sweep": _sweep,
}


def _end(told, clock, end, probe, cook):
    draft = CheckDraft.objects.first()
    if draft and end == "finish":
        try:
            drafts.finish(draft, cook)
        except ValidationError:  # nothing to record, or the unit is not known: it goes on
            assert CheckDraft.objects.get().outside_since == told.outside_since
            end = "leave"
    if draft and end == "give_up":
        unfinished.give_up(by=cook, probe=probe, key=str(draft.key))
    if draft and end == "leave":
        clock.shift(QUARTER)
        unfinished.store_left(told.now + QUARTER)
    _compare(told, Check.objects.first())


def _compare(told, check):
    if check is None:
        assert told.outside_since is None, "a number beyond the tolerance has vanished"
        return
    counted = [(t.typed, t.unit) for t in check.timed_readings.all()]
    taken_back = [(t["typed"], t["unit"]) for t in (check.typing or {}).get("taken_back", [])]
    assert Counter(counted) == Counter((n.text, n.unit) for n in told.live)
    assert Counter(counted + taken_back) == Counter((n.text, n.unit) for n in told.numbers)
    assert not CheckDraft.objects.exists()
    if check.verdict == "out_of_tolerance":
        assert len(told.live) >= 2
    if "unfinished" in (check.typing or {}):
        assert check.verdict == "inconclusive" and check.checked_at == max(n.at for n in told.numbers)
    if check.verdict == "inconclusive" and told.live and told.live[-1].outside:
        assert check.typing["showed"] and check.probe.state.at_once_because
