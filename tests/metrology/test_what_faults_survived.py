"""Held after deliberate faults had gone unseen: what a fault in these lines would change for somebody."""

import pytest

from compliance.metrology.air_pressure import PressureSource, Surroundings
from compliance.metrology.boiling import (
    BoilingKind,
    BoilingPoint,
    BoilingPreparation,
    verify_boiling,
)
from compliance.metrology.drift import ErrorPoint, trend
from compliance.metrology.intervals import advise
from compliance.metrology.reliability import Trial
from compliance.metrology.sensor_faults import growth
from compliance.metrology.settling import TimedValue
from compliance.metrology.verification import Instrument
from compliance.metrology.vocabulary import Sensor, Verdict

STEAM = BoilingPreparation(kind=BoilingKind.STEAM, points=frozenset(BoilingPoint))
HERE = Surroundings(source=PressureSource.STATION, pressure=101_325, altitude=0)


def steady(value: float, until: int) -> list[TimedValue]:
    return [TimedValue(elapsed=float(t), value=value) for t in range(5, until, 5)]


def way_up(time_constant: float) -> float:
    """The line of the budget for what may still be to come on the long way up, °C."""
    probe = Instrument(sensor=Sensor.THERMISTOR, resolution=0.1, tolerance=1.0, time_constant=time_constant)
    found = verify_boiling(steady(100.0, 80), STEAM, HERE, probe)
    return next(part.value for part in found.budget.components if part.name == "way up")


def test_a_probe_known_to_be_slow_leaves_more_of_the_way_up_open():
    assert way_up(20.0) > 2 * way_up(3.0) > 0


def test_a_probe_known_to_be_slow_has_to_stand_longer_in_steam():
    """A display that stands for 40 s says much of a probe of 3 s, and nothing of one of 60 s."""
    quick, slow = (
        Instrument(sensor=Sensor.THERMISTOR, resolution=0.1, tolerance=1.0, time_constant=tau) for tau in (3.0, 60.0)
    )
    readings = steady(100.0, 45)
    assert verify_boiling(readings, STEAM, HERE, quick).error is not None
    assert verify_boiling(readings, STEAM, HERE, slow).verdict is Verdict.INCONCLUSIVE


@pytest.mark.parametrize(("checked", "there"), [(0, 200_000), (0, -60_000), (100_000, 200_000)])
def test_an_aged_platinum_sensor_grows_as_its_polynomial_has_it(checked, there):
    """R/R′ of IEC 60751: R = 1 + A·t + B·t², R′ = A + 2·B·t, A 3.9083e-3 and B -5.775e-7 (coefficients from memory)."""

    def aged(t: float) -> float:
        return (1 + 3.9083e-3 * t - 5.775e-7 * t * t) / (3.9083e-3 - 2 * 5.775e-7 * t)

    expected = aged(there / 1000) / aged(checked / 1000)
    ratios = [float(part[0] / part[1]) for part in growth(Sensor.PT100_A, checked, there)]
    assert min(abs(ratio - expected) for ratio in ratios) < 0.003 * expected


@pytest.mark.parametrize(("given", "told"), [(40, "40 checks"), (25, "25 checks")])
def test_what_advice_rests_on_is_counted(given, told):
    assert told in " ".join(advise(None, [Trial(interval=7, failures=1, checks=given)], tolerance=1.0).why)


def test_more_scatter_than_stated_leaves_no_uncertainty_unseen():
    """Errors that scatter as widely as stated, or wider, have shown all of it: the true error is known the better for it."""
    quiet, loud = (
        trend(
            [ErrorPoint(at=7.0 * n, error=size * (-1) ** n, standard=0.05, after_adjustment=False) for n in range(20)]
        )
        for size in (0.0, 0.1)
    )
    stated = 1.96 * 0.05
    unseen = [history.predict(history.last, measured=False) for history in (quiet, loud)]
    quiet_width, loud_width = ((found.high - found.low) / 2 for found in unseen)
    assert quiet_width == pytest.approx(stated, rel=0.05)
    assert loud_width < stated
