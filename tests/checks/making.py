"""Checks and events with the least said; the figures are chosen so that the verdict is never near an edge."""

import uuid
from datetime import UTC, datetime, timedelta

from compliance.checks import actions
from compliance.checks.kinds.boiling import BoilingData
from compliance.checks.kinds.certificate import CertificateData
from compliance.checks.kinds.zero import ZeroData
from compliance.metrology.air_pressure import PressureLevel, PressureSource, Surroundings
from compliance.metrology.bath import BathKind, BathPoint, Preparation
from compliance.metrology.boiling import BoilingKind, BoilingPoint, BoilingPreparation

START = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
GOOD_BATH = Preparation(kind=BathKind.PACKED_CRUSHED, points=frozenset(BathPoint))
NO_BATH = Preparation(kind=BathKind.UNSTIRRED, points=frozenset())

ROLLING = BoilingPreparation(kind=BoilingKind.ROLLING, points=frozenset(BoilingPoint))
QUIET = BoilingPreparation(kind=BoilingKind.QUIET, points=frozenset())
# Water boils at 98.27 °C under 953 hPa: IAPWS R7-97(2012) eq. (31), computed.
UPLAND = Surroundings(source=PressureSource.STATION, pressure=95_300.0, altitude=520.0, level=PressureLevel.HERE)


def day(number: float) -> datetime:
    return START + timedelta(days=number)


def settled_at(text: str, unit: str = "C") -> list[tuple[int, str, str]]:
    """A fall that stands still at `text`."""
    first = "8.0" if unit == "C" else "46.4"
    return [(5_000, first, unit), *((ms, text, unit) for ms in (30_000, 40_000, 50_000, 60_000, 70_000))]


def zero(probe, by, at, value="0.1", *, stage="as_found", bath=GOOD_BATH, **changes):
    fields = {
        "key": uuid.uuid4(),
        "site": probe.site,
        "stage": stage,
        "checked_at": at,
        "preparation": bath,
        "readings": settled_at(value),
        **changes,
    }
    return actions.record(by=by, probe=probe, data=ZeroData(**fields))


def correct_zero(check, by, value="0.4", reason="Typed wrongly.", **changes):
    fields = {
        "key": uuid.uuid4(),
        "site": check.site,
        "stage": check.stage,
        "checked_at": check.checked_at,
        "preparation": GOOD_BATH,
        "readings": settled_at(value),
        **changes,
    }
    return actions.correct(by=by, check=check, reason=reason, data=ZeroData(**fields))


def risen_to(text: str, unit: str = "C") -> list[tuple[int, str, str]]:
    """A rise that stands still at `text`."""
    first = "81.0" if unit == "C" else "178.0"
    return [(5_000, first, unit), *((ms, text, unit) for ms in (30_000, 40_000, 50_000, 60_000, 70_000))]


def boiling(probe, by, at, value="98.4", *, stage="as_found", pan=ROLLING, air=UPLAND, **changes):
    fields = {
        "key": uuid.uuid4(),
        "site": probe.site,
        "stage": stage,
        "checked_at": at,
        "preparation": pan,
        "surroundings": air,
        "readings": risen_to(value),
        **changes,
    }
    return actions.record(by=by, probe=probe, data=BoilingData(**fields))


def good(probe, by, at, **changes):
    return zero(probe, by, at, "0.1", **changes)


def bad(probe, by, at, **changes):
    return zero(probe, by, at, "2.4", **changes)


def dead(probe, by, at, no_figure="sign", **changes):
    """A failed check of a probe that shows no number."""
    return zero(probe, by, at, **{"readings": [], "no_figure": no_figure, **changes})


def unclear(probe, by, at, **changes):
    return zero(probe, by, at, bath=NO_BATH, **changes)


def event(probe, by, kind, at, note=""):
    return actions.record_event(by=by, probe=probe, kind=kind, at=at, note=note)


def certificate(probe, by, at, error_milli=100, expanded_milli=50, **changes):
    fields = {
        "key": uuid.uuid4(),
        "site": probe.site,
        "stage": "as_found",
        "checked_at": at,
        "laboratory": "Fen Measurement",
        "certificate_number": "F-77",
        "reference_milli": 0,
        "error_milli": error_milli,
        "expanded_milli": expanded_milli,
        **changes,
    }
    return actions.record(by=by, probe=probe, data=CertificateData(**fields))


def standings(probe) -> list[str]:
    return list(probe.spans.order_by("ends_at").values_list("standing", flat=True))
