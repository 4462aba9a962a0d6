"""A case is signed only while what each decision rested on still holds; the truth is told by plain Python, reading by reading."""

import contextlib
import uuid
from copy import deepcopy
from dataclasses import dataclass, field

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.checks import actions as checks
from compliance.checks.models import Check, CheckVoid, Span
from compliance.probes import actions as probes
from compliance.quarantine import actions
from compliance.quarantine.assessing import Selection, bounds_of
from compliance.quarantine.cases import CaseState, Doubts, load_case, summaries, unsigned
from compliance.quarantine.models import Decision, Fate
from compliance.quarantine.outcomes import OutcomeInput, outcome_of
from compliance.readings import actions as readings
from compliance.readings.models import Reading, ReadingVoid
from tests.checks.making import bad, boiling, correct_zero, day, event, good
from tests.quarantine import making
from tests.readings.helpers import correct
from tests.world import make_probe, make_reading

GRAVITY = ["held", "undecided", "broken"]
WORDS = {"why": "As said.", "risk": "Hardly any.", "told": "The supervisor.", "evidence": "The data logger."}


@dataclass
class Kitchen:
    """P1 was good on day 0 and failed on day 9; P2 measured the soup again on day 10 and is good so far."""

    world: object
    signed: dict = field(default_factory=dict)

    def __post_init__(self):
        world = self.world
        self.probe = make_probe(world.site, uuid.uuid4().hex[:8], by=world.manager, limits=[world.limit])
        self.other = make_probe(world.site, uuid.uuid4().hex[:8], by=world.manager, limits=[world.limit])
        self.behind = good(self.probe, world.cook, day(0))
        self.doubted = [self.take(self.probe, text, day(n)) for n, text in enumerate(("4.0", "3.5", "5.4", "9.0"), 1)]
        self.ahead = bad(self.probe, world.cook, day(9))
        self.vouches = good(self.other, world.cook, day(8))
        self.again = self.take(self.other, "3.9", day(10))

    def take(self, probe, typed, at) -> Reading:
        return make_reading(probe, self.world.limit, typed, at, by=self.world.cook)

    def anchors(self) -> list[str]:
        spans = Span.objects.filter(probe=self.probe).exclude(anchor="").order_by("ends_at")
        return list(dict.fromkeys(spans.values_list("anchor", flat=True)))

    def decide(self, fate, readings=None):
        for anchor in self.anchors():
            case = load_case(anchor)
            ids = tuple(reading.pk for reading in readings) if readings else None
            which = Selection((self.world.site.pk,), ids=ids, undecided=True)
            if case.undecided:
                making.decide(
                    by=self.world.manager, case=case, selection=which, fate=fate, good_reading=self.again, **WORDS
                )

    def sign(self):
        for anchor in self.anchors():
            case = load_case(anchor)
            if case.readings and case.state == CaseState.TO_SIGN:
                actions.sign(by=self.world.supervisor, anchor=anchor)
                self.signed[anchor] = {last_decision(r).pk for r in self.live(anchor)}

    def live(self, anchor) -> list[Reading]:
        """The readings of a case, found one by one."""
        spans = list(Span.objects.filter(anchor=anchor))
        every = Reading.objects.filter(probe=self.probe).select_related("limit_version")
        return [r for r in every if not is_void(r) and any(s.starts_at < r.taken_at <= s.ends_at for s in spans)]

    def holds(self, decision: Decision | None) -> bool:
        if decision is None:
            return False
        if decision.fate == Fate.DISCARDED:
            return True
        if decision.fate == Fate.MEASURED_AGAIN and not self.is_good(decision.good_reading):
            return False
        return GRAVITY.index(self.outcome(decision.reading)) <= GRAVITY.index(decision.outcome)

    def outcome(self, reading) -> str:
        spans = list(Span.objects.filter(probe=self.probe).select_related("probe", "behind", "ahead"))
        (span,) = [s for s in spans if s.starts_at < reading.taken_at <= s.ends_at]
        return str(outcome_of(reading.limit_version, OutcomeInput(reading.value_milli), bounds_of([span])[0]))

    def is_good(self, reading) -> bool:
        """By the checks of its probe at zero, of which none is inconclusive here, and none as left."""
        made = [
            c
            for c in Check.objects.filter(probe=reading.probe).order_by("checked_at")
            if not CheckVoid.objects.filter(voids=c)
        ]
        before = [c.verdict for c in made if c.checked_at < reading.taken_at][-1:]
        after = [c.verdict for c in made if c.checked_at >= reading.taken_at][:1]
        return not is_void(reading) and before == ["in_tolerance"] and after in ([], ["in_tolerance"])

    def state(self, anchor) -> tuple[str, int]:
        live = self.live(anchor)
        decisions = [last_decision(reading) for reading in live]
        undecided = sum(not self.holds(decision) for decision in decisions)
        agreed = {d.pk for d in decisions if d} <= self.signed.get(anchor, set()) and anchor in self.signed
        return ("open" if undecided else "signed" if agreed else "to_sign"), undecided


def is_void(reading) -> bool:
    return ReadingVoid.objects.filter(voids=reading).exists()


def last_decision(reading) -> Decision | None:
    return Decision.objects.filter(reading=reading).order_by("pk").last()


# What can happen to what a decision rests on, each through its action.
def correct_check(kitchen, name, value):
    check, by = getattr(kitchen, name), kitchen.world.supervisor
    setattr(kitchen, name, correct_zero(check, by, value))


def strike_check(kitchen, name):
    checks.void_check(by=kitchen.world.supervisor, check=getattr(kitchen, name), reason="No ice was left.")


def correct_reading(kitchen, reading, typed):
    return correct(
        by=kitchen.world.cook,
        reading=reading,
        reason="Typed wrongly.",
        key=uuid.uuid4(),
        probe=reading.probe,
        site=reading.site,
        limit=kitchen.world.limit,
        item=reading.item,
        typed=typed,
        unit="C",
        taken_at=reading.taken_at,
    )


def strike_reading(kitchen, reading):
    readings.void(by=kitchen.world.cook, reading=reading, reason="Wrong fridge.")


def change_sensor(kitchen):
    changes = {"sensor": "unknown"}
    probes.amend(by=kitchen.world.manager, probe=kitchen.probe, changes=changes)


HAPPENINGS = {
    "the good check is corrected to a larger error": lambda k: correct_check(k, "behind", "0.7"),
    "the good check is corrected to no error": lambda k: correct_check(k, "behind", "0.0"),
    "the good check is struck out": lambda k: strike_check(k, "behind"),
    "the failed check is corrected to reading low": lambda k: correct_check(k, "ahead", "-1.9"),
    "the failed check is corrected to a larger error": lambda k: correct_check(k, "ahead", "3.4"),
    "the failed check is struck out": lambda k: strike_check(k, "ahead"),
    "a good check is entered late": lambda k: good(k.probe, k.world.cook, day(2.5)),
    "a failed check is entered late": lambda k: bad(k.probe, k.world.cook, day(2.5)),
    "a check at boiling is entered late": lambda k: boiling(k.probe, k.world.cook, day(0.1), "99.1"),
    "an adjustment is entered late": lambda k: event(k.probe, k.world.cook, "adjusted", day(0.05)),
    "a reading is entered late": lambda k: k.take(k.probe, "4.1", day(5)),
    "a doubted reading is struck out": lambda k: strike_reading(k, k.doubted.pop()),
    "a doubted reading is corrected": lambda k: k.doubted.append(correct_reading(k, k.doubted.pop(), "4.4")),
    "the other probe fails": lambda k: bad(k.other, k.world.cook, day(11)),
    "the other probe is good again": lambda k: good(k.other, k.world.cook, day(12)),
    "the check of the other probe is struck out": lambda k: strike_check(k, "vouches"),
    "the reading measured again is struck out": lambda k: strike_reading(k, k.again),
    "the reading measured again is corrected": lambda k: correct_reading(k, k.again, "3.8"),
    "an old check elsewhere is struck out": lambda k: checks.void_check(
        by=k.world.supervisor, check=good(k.other, k.world.cook, day(7)), reason="Entered twice."
    ),
    "the kind of sensor is changed": change_sensor,
    "what is left is discarded": lambda k: k.decide(Fate.DISCARDED),
    "it is signed": lambda k: k.sign(),
}
ONCE = [name for name in HAPPENINGS if name not in ("what is left is discarded", "it is signed")]
FATES = st.sampled_from([Fate.MEASURED_AGAIN, Fate.DISCARDED, Fate.EATEN, Fate.RELEASED, Fate.REWORKED])


@pytest.fixture
def kitchen(world) -> Kitchen:
    return Kitchen(world)


@settings(max_examples=2, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    fates=st.lists(FATES, min_size=2, max_size=2),
    happens=st.permutations(ONCE).map(lambda names: names[:3]),
    closes=st.booleans(),
)
@example([Fate.MEASURED_AGAIN] * 2, ["the other probe fails", "the other probe is good again"], False)
@example([Fate.EATEN] * 2, ["a check at boiling is entered late", "an adjustment is entered late"], False)
@example([Fate.EATEN] * 2, ["the kind of sensor is changed", "the good check is struck out"], True)
def test_a_case_is_signed_exactly_while_the_ground_of_every_decision_holds(kitchen, fates, happens, closes):
    kitchen = deepcopy(kitchen)
    with transaction.atomic():
        stands, *others = kitchen.doubted
        kitchen.decide(Fate.STANDS, [stands])
        kitchen.decide(fates[0], others[:2])
        kitchen.decide(fates[1], others[2:])
        kitchen.sign()
        compare(kitchen)
        for name in happens:
            for step in [name, "what is left is discarded", "it is signed"] if closes else [name]:
                happen(kitchen, step)
        transaction.set_rollback(True)


def happen(kitchen, name):
    """What can no longer be done, such as striking out the same check twice, is refused and changes nothing."""
    with contextlib.suppress(ValidationError):
        HAPPENINGS[name](kitchen)
    compare(kitchen)


def compare(kitchen):
    expected = {anchor: kitchen.state(anchor) for anchor in kitchen.anchors() if kitchen.live(anchor)}
    cases = {anchor: load_case(anchor) for anchor in expected}
    assert {a: (case.state, case.undecided) for a, case in cases.items()} == expected
    listed = [line for line in summaries([kitchen.world.site.pk]) if line.probe_id == kitchen.probe.pk]
    assert {line.anchor: (line.state, line.undecided) for line in listed} == expected
    assert unsigned(Doubts([kitchen.world.site.pk])) >= sum(state != "signed" for state, _ in expected.values())
