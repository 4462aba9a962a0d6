"""A case in plain words: what each list of readings means and what to do with it; how it was found, for whoever asks."""

from dataclasses import dataclass

from compliance.checks.queries import brackets_of, sensor_of
from compliance.limits.equivalence import trades_time
from compliance.limits.models import LimitVersion
from compliance.metrology.allowances import ALLOWANCES
from compliance.metrology.vocabulary import Outcome, Sensor
from compliance.probes.models import Sensor as SensorName
from shared.units import show_spread

from .cases import Case
from .queries import errors_in_words

MEANS = {
    Outcome.BROKEN: "Within all that its two checks allow for the probe, the limit was not met. Do not serve this food. Cook it "
    "on where your plan allows that, or discard it; where it was eaten, assess the risk.",
    Outcome.UNDECIDED: "The probe may have been wrong by so much that the limit was met or not: nobody can tell. Hold this food. "
    "Measure it again with a probe in tolerance; where that is no longer possible and nothing else shows that it is safe, "
    "discard it. A second check of the probe may tell more: see below how the ranges come about.",
    Outcome.HELD: "Within all that its two checks allow for the probe, the limit was met. The reading may be let stand: "
    "somebody still has to say so, and to look whether anything else spoke against the food.",
}
AT_ONCE = {
    Outcome.BROKEN: "Do not serve this food.",
    Outcome.UNDECIDED: "Hold this food: nobody can tell.",
    Outcome.HELD: "Look whether anything else spoke against the food.",
}
DECIDED = "What was decided, by whom and why. A decision can be made again; the earlier one stays readable."
PLATINUM, COUPLE, BETA = "IEC 60751", "IEC 60584-1", "the thermistor’s beta equation"
# Where the allowance of a sensor is from, and how its faults change with the temperature; the other allowances are judgement.
SOURCES = {
    Sensor.PT100_A: PLATINUM,
    Sensor.PT100_B: PLATINUM,
    Sensor.THERMOCOUPLE_K_1: COUPLE,
    Sensor.THERMOCOUPLE_K_2: COUPLE,
    Sensor.THERMOCOUPLE_T_1: COUPLE,
    Sensor.THERMOCOUPLE_T_2: COUPLE,
}
GROWN = {Sensor.THERMISTOR: BETA, Sensor.UNKNOWN: f"{BETA}, {COUPLE}"} | SOURCES

_COUPLE_FAULTS = (
    "a reference that sags reads too low in ice and too high in hot food, "
    "a crushed cable too high in ice and too low in hot food"
)
_PLATINUM_FAULTS = (
    "an aged sensor, a resistance in its leads or a leak by moisture makes more of an error the hotter it is"
)
_THERMISTOR_FAULTS = (
    "a corroded plug reads too low, by far more the hotter it is; moisture reads too high, by more the colder it is"
)
FAULT_WORDS = {
    Sensor.THERMISTOR: _THERMISTOR_FAULTS,
    Sensor.PT100_A: _PLATINUM_FAULTS,
    Sensor.PT100_B: _PLATINUM_FAULTS,
    Sensor.THERMOCOUPLE_K_1: _COUPLE_FAULTS,
    Sensor.THERMOCOUPLE_K_2: _COUPLE_FAULTS,
    Sensor.THERMOCOUPLE_T_1: _COUPLE_FAULTS,
    Sensor.THERMOCOUPLE_T_2: _COUPLE_FAULTS,
    Sensor.UNKNOWN: f"{_THERMISTOR_FAULTS}; {_COUPLE_FAULTS}. Record the kind of sensor: each kind has fewer faults than all",
}
SECOND_CHECK = (
    "What cannot be told may be told by a second check near the temperature of the limit, at the same sitting as the failed "
    "one and before the probe is adjusted: at boiling for hot food. It makes this range narrower. For chilled food no check is "
    "nearer than the one at zero."
)


@dataclass(frozen=True, slots=True)
class Part:
    """One question about how the ranges come about, with its answers."""

    heading: str
    lines: list[str]


def meaning(shown: str) -> str:
    """What the readings of a list have in common, and what to do now."""
    return MEANS.get(shown, DECIDED)


def at_once(shown: str) -> str:
    """What to do or to look at before anything is decided, in few words."""
    return AT_ONCE.get(shown, "Tick below what was decided wrongly. What was decided before stays readable.")


def how_found(case: Case, unit: str) -> list[Part]:
    """Only what this case rests on: a site without times in its limits is not told of times."""
    brackets = brackets_of(case.spans)
    bounded = [b for b in brackets if b.start and b.end]
    parts = [Part("From the checks before and after", errors_in_words(case, unit))]
    if bounded:
        two = any(len(side) > 1 for b in bounded for side in (b.start, b.end))
        parts.append(Part("Away from the temperature of a check", _away(sensor_of(case.spans[-1]), unit, two)))
    times = _times(list(LimitVersion.objects.filter(limit__site__in=case.sites)))
    if times:
        parts.append(Part("Where a limit has a time", times))
    return [*parts, Part("From range to outcome", [RANGE, RANGE_SOURCE])]


RANGE = (
    "“Could have been” is the reading less the largest and the least error that the checks allow at 95 %: the true temperature "
    "lay in it in about 95 of 100 cases or more. The rounding of the reading itself, half a step of its display, and its scatter "
    "are in it. That is what its two checks allow. The limit held if it held over "
    "the whole range, and was broken if it was broken over the whole range; otherwise it cannot be told. “Likely” lies between "
    "the errors found, by the time since each; it decides nothing."
)
RANGE_SOURCE = (
    "Errors with their expanded uncertainty, what no check sees and the rounding of a reading, as the root of the sum of "
    "squares: JCGM 100:2008, 5.1.2. Reaching back to the last good check: 9 CFR 417.3(b) and the training for HACCP plans. The "
    "worst case between two checks: judgement."
)
HOLDS = (
    "A longer time may stand for a lower temperature, and a shorter time asks for a higher one, where the time that the food was "
    "held was recorded: UK Food Standards Agency, equivalents of 70 °C for 2 minutes; ACMSF 2007; Food Code 2022, 3-401.11. "
    "The slowest and the fastest published trade are both reckoned with; what held by such a trade is called equivalent. Where "
    "no time was recorded, it cannot be told."
)
STEPS = (
    "Cooling and reheating: the limit held only if the temperature was surely reached within its time, and was broken only if it "
    "was surely not reached when the time was over. Where nobody recorded the time since the start, it cannot be told."
)


def _away(sensor: Sensor, unit: str, two: bool) -> list[str]:
    allowance, grown = show_spread(ALLOWANCES[sensor], unit), GROWN.get(sensor)
    kind, source = SensorName(sensor.value).label, SOURCES.get(sensor, "judgement")
    lines = [
        f"This sensor ({kind}) may go its own way by up to {allowance} at 75 °C away from the check, and by less nearer to it. "
        f"Source: {source}."
    ]
    if grown:
        lines.append(
            f"What was found at the check may be larger or smaller there, or of the other sign, as its faults make it. "
            f"Source: {grown}. Such faults are: {FAULT_WORDS[sensor]}."
        )
    if two:
        lines.append(
            "A check at another temperature belongs to it: between the two the error lies along a straight line but for a "
            "small bend, so the range is narrower there. The bend: the thermistor’s beta equation, IEC 60751 and IEC 60584-1."
        )
    else:
        lines.append(SECOND_CHECK)
    return lines


def _times(versions: list[LimitVersion]) -> list[str]:
    lines = [HOLDS] if any(map(trades_time, versions)) else []
    return [*lines, STEPS] if any(version.within_s is not None for version in versions) else lines
