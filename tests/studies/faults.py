"""Each fault of the catalogue alone: does the stated range hold the truth, and is a limit called held that was broken?"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from compliance.metrology.assessment import Bracket, ErrorBounds, bounds, classify, true_range
from compliance.metrology.display_resolution import reading_half_width
from compliance.metrology.error_bounds import ErrorAt
from compliance.metrology.uncertainty import combine, digit, normal, rectangular
from compliance.metrology.vocabulary import Direction, Outcome

from .fault_lives import CATALOGUE, Array, Case, Fault, sign_of, size_for
from .probe_lives import SETTLING, STEAM, STEM
from .quarantines import CONTROLS, milli, moment
from .report import publish, table

STEPS = (0.1, 0.5, 0.556, 1.0)  # °C, the third is 1 °F
READINGS = 8
FULL, SEED = 200, 20_261_205
BATH, BOILED = 0.05, 0.3  # half-widths, °C
BASE = 0.15  # °C: how far a probe may be off from the beginning, the same everywhere

# The same study of the assessment as it was before: 100 probes, in ice alone, the four display steps together. Truth in range,
# held but broken, undecided. It knew offsets, ageing and cold junctions, and nothing of the rounding of a reading.
BEFORE = {
    "thermistor: electronics": (0.980, 0.0000, 0.345),
    "thermistor: aged": (0.981, 0.0007, 0.314),
    "thermistor: corroded plug": (0.601, 0.0044, 0.231),
    "thermistor: moisture": (0.872, 0.0000, 0.384),
    "platinum: electronics": (0.989, 0.0000, 0.282),
    "platinum: aged": (0.979, 0.0000, 0.292),
    "platinum: lead": (0.979, 0.0000, 0.309),
    "platinum: leak": (0.912, 0.0000, 0.310),
    "type K: electronics": (0.976, 0.0000, 0.281),
    "type K: cold junction": (0.975, 0.0000, 0.265),
    "type K: gain": (0.655, 0.0152, 0.269),
    "type K: crushed cable": (0.653, 0.0000, 0.307),
    "type T: cold junction": (0.981, 0.0004, 0.277),
    "type T: gain": (0.636, 0.0121, 0.253),
    "type T: crushed cable": (0.660, 0.0000, 0.326),
    "not known: gain, type K": (0.671, 0.0123, 0.300),
    "not known: corroded plug": (0.591, 0.0049, 0.214),
    "not known: moisture": (0.906, 0.0000, 0.395),
    "bimetal: slipped pointer": (0.980, 0.0000, 0.281),
}


@dataclass(frozen=True)
class Shares:
    """Of the readings between a good and a failed check (0 to 1). `held_wrong` is of all, `decidable` what the oracle decides."""

    in_range: float
    held_wrong: float
    broken_wrong: float
    undecided: float
    decidable: float


@dataclass(frozen=True)
class Probes:
    """Rows: a probe, whose fault was of the size `sizes[:, 0]` at the good check and `sizes[:, 1]` at the failed one."""

    fault: Fault
    case: Case
    step: float
    base: Array
    room: Array
    sizes: Array
    found: Array
    boiled: Array
    expanded: tuple[float, float]  # in ice, in steam

    def shows(self, at: Array, size: Array, room: Array) -> Array:
        return self.fault.shows(self.case, at, size, room) + self.base

    def only(self, chosen: Array) -> "Probes":
        parts = {name: getattr(self, name)[chosen] for name in ("base", "room", "sizes", "found", "boiled")}
        return replace(self, case=Case(self.case.kind[chosen]), **parts)


def _expanded(bath: float, step: float) -> float:
    parts = [rectangular("bath", bath, ""), digit("display", step, ""), rectangular("settling", SETTLING, "")]
    return combine([*parts, normal("stem", STEM, ""), normal("scatter", 0.18 * step, "")]).expanded


def _found(errors: Array, bath: float, step: float, rng: np.random.Generator) -> Array:
    shown = errors + rng.uniform(-bath, bath, errors.shape) + rng.normal(0, STEM + 0.1 * step, errors.shape)
    return np.asarray(np.round((shown + rng.uniform(-SETTLING, SETTLING, errors.shape)) / step) * step)


def simulate(fault: Fault, step: float, size: int, rng: np.random.Generator) -> Probes:
    """Probes that passed a check and failed the next, by a fault that grew from nothing or little."""
    case = Case(rng.integers(0, 3, size))
    tolerance = np.where((rng.random(size) < 0.5) & (step < 0.5), 0.5, 1.0)
    sign = np.where(rng.random(size) < 0.5, 1, -1) if not sign_of(fault, case) else sign_of(fault, case)
    last = sign * tolerance * rng.uniform(1.0, 3.0, size)
    first = sign * tolerance * rng.uniform(0, 0.5, size) * (rng.random(size) < 0.5)
    base, room = rng.uniform(-BASE, BASE, size), rng.uniform(16, 29, size)
    sizes = np.stack([size_for(fault, case, error, room) for error in (first, last)], 1)
    made = Probes(fault, case, step, base, room, sizes, sizes, sizes, (_expanded(BATH, step), _expanded(BOILED, step)))
    ice, steam = (
        np.stack([made.shows(np.full(size, at), sizes[:, end], room) - at for end in (0, 1)], 1) for at in (0.0, STEAM)
    )
    made = replace(made, found=_found(ice, BATH, step, rng), boiled=_found(steam, BOILED, step, rng))
    passed, failed = (np.abs(made.found[:, end]) <= tolerance + 1e-9 for end in (0, 1))
    return made.only(passed & ~failed)


def study(fault: Fault, step: float, size: int, seed: int, *, boils: bool = False) -> Shares:
    """`size` probes of which those count that passed, then failed; where `boils`, checked in steam at the same sittings too."""
    rng = np.random.default_rng([seed, CATALOGUE.index(fault), STEPS.index(step)])
    probes = simulate(fault, step, size, rng)
    known = [_bounds(probes, number, boils) for number in range(len(probes.room))]
    rows = np.concatenate([_round(probes, known, rng) for _ in range(READINGS)])
    return Shares(*(float(share) for share in rows.mean(0)))


def _round(probes: Probes, known: list[ErrorBounds], rng: np.random.Generator) -> Array:
    """One reading by each probe, at any time between: the fault came at once, or bit by bit."""
    count = len(probes.room)
    controls = rng.choice(len(CONTROLS), count, p=[c.share for c in CONTROLS])
    truth = rng.normal([CONTROLS[c].mean for c in controls], [CONTROLS[c].deviation for c in controls])
    gone = rng.uniform(0, 1, count)
    gone = np.where(rng.random(count) < 0.5, gone, np.round(gone))
    size = probes.sizes[:, 0] + (probes.sizes[:, 1] - probes.sizes[:, 0]) * gone
    room = probes.room + np.clip(rng.normal(0, 2, count), -5, 5)
    shown = probes.shows(truth, size, room) + rng.normal(0, 0.15 * probes.step, count)
    shown = np.round(shown / probes.step) * probes.step
    limits = np.array([CONTROLS[c].limit for c in controls])
    told = _oracle(probes, limits, [CONTROLS[c].direction for c in controls], shown)
    return np.array(list(_judged(known, controls, truth, shown, told)))


def _judged(
    known: list[ErrorBounds], controls: Array, truth: Array, shown: Array, told: Array
) -> Iterator[list[float]]:
    for error, number, true, value, decided in zip(known, controls, truth, shown, told, strict=True):
        control, milli_shown = CONTROLS[number], milli(value)
        span = true_range(milli_shown, error)
        inside = span is None or span[0] <= milli(true) <= span[1]
        outcome = classify(milli_shown, milli(control.limit), control.direction, error)
        kept = true <= control.limit if control.direction is Direction.AT_MOST else true >= control.limit
        wrong_held, wrong_broken = outcome is Outcome.HELD and not kept, outcome is Outcome.BROKEN and kept
        yield [inside, wrong_held, wrong_broken, outcome is Outcome.UNDECIDED, decided]


def _bounds(probes: Probes, number: int, boils: bool) -> ErrorBounds:
    sides = []
    for end in (0, 1):
        points = [(0.0, probes.found, probes.expanded[0]), (STEAM, probes.boiled, probes.expanded[1])][: 1 + boils]
        sides.append(
            tuple(
                ErrorAt(
                    at=moment(float(end)),
                    temperature=milli(at),
                    error=milli(found[number, end]),
                    expanded=milli(expanded),
                )
                for at, found, expanded in points
            )
        )
    return bounds(Bracket(start=sides[0], end=sides[1], sensor=probes.fault.sensor, resolution=milli(probes.step)))


def _oracle(probes: Probes, limits: Array, directions: list[Direction], shown: Array) -> Array:
    """Who knows the fault and the room finds its size from the two checks in ice, and decides over all sizes between."""
    width, own = probes.expanded[0], reading_half_width(milli(probes.step)) / 1000
    errors = []
    for found in (probes.found[:, 0], probes.found[:, 1]):
        for by in (-width, width):
            size = size_for(probes.fault, probes.case, found + by, probes.room)
            errors.append(probes.fault.shows(probes.case, limits, size, probes.room) - limits)
    low, high = np.min(errors, 0) - own, np.max(errors, 0) + own
    return np.asarray((shown < limits + low) | (shown > limits + high))


def main() -> None:
    found = {
        (fault, step): tuple(study(fault, step, FULL, SEED, boils=boils) for boils in (False, True))
        for fault in CATALOGUE
        for step in STEPS
    }
    rows = [_row(fault, step, *both) for (fault, step), both in found.items()]
    then = [[name, *(f"{share:.1%}" for share in shares)] for name, shares in BEFORE.items()]
    heads = ("fault", "truth in range", "held, but broken", "undecided")
    alone, both = ([each[boils] for each in found.values()] for boils in (0, 1))
    publish("faults", "\n\n".join((SETTING, table(HEADS, rows), _reached(alone, both), table(heads, then))))


HEADS = (
    "fault",
    "step °C",
    "truth in range",
    "held, but broken",
    "broken, but held",
    "undecided",
    "oracle: undecided",
    "with steam: truth in range",
    "held, but broken",
    "undecided",
)


def _row(fault: Fault, step: float, alone: Shares, both: Shares) -> list[str]:
    return [
        fault.name,
        f"{step:g}",
        f"{alone.in_range:.1%}",
        f"{alone.held_wrong:.2%}",
        f"{alone.broken_wrong:.2%}",
        f"{alone.undecided:.1%}",
        f"{1 - alone.decidable:.1%}",
        f"{both.in_range:.1%}",
        f"{both.held_wrong:.2%}",
        f"{both.undecided:.1%}",
    ]


SETTING = f"""{FULL} probes with each fault and each display step, those counted that passed a check in ice (±{BATH} °C) and
failed the next by up to three times their tolerance of 0.5 or 1 °C; {READINGS} readings of each between, of food as above. The
fault came at once or bit by bit; besides, a probe is off by up to {BASE} °C from the beginning. Each probe is a circuit: ohms by
Steinhart-Hart or IEC 60751, microvolts by IEC 60584-1, an instrument in a room of 16 to 29 °C, by 2 °C (standard deviation)
warmer or colder at the reading. Shares are of all readings. Asked for every fault: truth in range at least 95 %, held though
broken below 0.5 %. The oracle knows the fault, its equation and the room, and finds the size of the fault from both checks.
*With steam*: checked at boiling (±{BOILED} °C) at both sittings too."""


def _reached(alone: list[Shares], both: list[Shares]) -> str:
    low, wrong = (
        pick(getattr(each, name) for each in (*alone, *both)) for pick, name in ((min, "in_range"), (max, "held_wrong"))
    )
    undecided, steam = (np.mean([each.undecided for each in shares]) for shares in (alone, both))
    oracle, before = 1 - np.mean([each.decidable for each in alone]), np.mean([shares[2] for shares in BEFORE.values()])
    return f"""Least share in range: **{low:.1%}**. Largest share held though broken: **{wrong:.2%}**. Undecided, all together:
**{undecided:.1%}**, with steam {steam:.1%}; the oracle {oracle:.1%}. Before the catalogue it was {before:.1%}, and wrong:"""
