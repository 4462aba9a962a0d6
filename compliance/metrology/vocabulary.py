"""The words that checks, spans and assessments are told in."""

from enum import StrEnum


class Verdict(StrEnum):
    """What one check says of a probe."""

    IN_TOLERANCE = "in_tolerance"
    OUT_OF_TOLERANCE = "out_of_tolerance"
    INCONCLUSIVE = "inconclusive"


class CheckKind(StrEnum):
    """What a probe was held against."""

    ZERO = "zero"
    BOILING = "boiling"
    CERTIFICATE = "certificate"


class Stage(StrEnum):
    """Before or after an adjustment."""

    AS_FOUND = "as_found"
    AS_LEFT = "as_left"


class EventKind(StrEnum):
    """What happens to a probe besides its checks."""

    ADJUSTED = "adjusted"
    REPAIRED = "repaired"
    DROPPED = "dropped"
    DOUBTED = "doubted"
    NEW_BATTERY = "new_battery"
    WITHDRAWN = "withdrawn"
    GONE = "gone"
    RETURNED = "returned"


# These end what can be shown about the readings before them; what is gone can never be checked again.
ALTERATIONS = (EventKind.ADJUSTED, EventKind.REPAIRED, EventKind.GONE)
# These take a probe out of use; the other kinds only make a check due.
OUT_OF_USE = (EventKind.WITHDRAWN, EventKind.GONE)
MAKES_CHECK_DUE = tuple(kind for kind in EventKind if kind not in OUT_OF_USE)


class Standing(StrEnum):
    """What a reading is worth, from the checks on either side of it."""

    PROVEN = "proven"
    PENDING = "pending"
    QUARANTINED = "quarantined"
    UNPROVEN = "unproven"


class Sensor(StrEnum):
    """Kinds of sensor, with the accuracy class where a standard has one."""

    THERMISTOR = "thermistor"
    PT100_A = "pt100_a"
    PT100_B = "pt100_b"
    THERMOCOUPLE_K_1 = "thermocouple_k_1"
    THERMOCOUPLE_K_2 = "thermocouple_k_2"
    THERMOCOUPLE_T_1 = "thermocouple_t_1"
    THERMOCOUPLE_T_2 = "thermocouple_t_2"
    LIQUID_IN_GLASS = "liquid_in_glass"
    BIMETAL = "bimetal"
    UNKNOWN = "unknown"


class Medium(StrEnum):
    """What surrounds the stem during a check."""

    PACKED_ICE = "packed_ice"
    ICE_WATER = "ice_water"
    BOILING_WATER = "boiling_water"
    STEAM = "steam"


class Direction(StrEnum):
    """Which side of a critical limit is safe."""

    AT_MOST = "at_most"
    AT_LEAST = "at_least"


class Outcome(StrEnum):
    """What can be said of a limit once the error of the probe is allowed for."""

    HELD = "held"
    BROKEN = "broken"
    UNDECIDED = "undecided"
