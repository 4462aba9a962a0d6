"""Which entries are asked about: different times, one person, one go. No database."""

from datetime import UTC, datetime, timedelta

import pytest

from compliance.readings.bursts import Burst, bursts

NINE = datetime(2026, 3, 11, 9, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


def entries(*, by=(1,), apart=MINUTE / 4, between=HOUR, number=6) -> list[tuple]:
    return [(by[n % len(by)], NINE + apart * n, NINE - between * (number - n)) for n in range(number)]


def test_readings_of_six_hours_in_two_minutes_are_one():
    assert list(bursts(entries())) == [Burst(1, 6, NINE - 6 * HOUR, NINE - HOUR, NINE, NINE + MINUTE * 1.25)]


@pytest.mark.parametrize(
    "told",
    [
        {"number": 3},
        {"apart": 3 * MINUTE},
        {"between": MINUTE},
        {"between": timedelta(0)},
        {"by": (1, 2)},
    ],
)
def test_few_slow_alike_or_of_several_people_are_none(told):
    assert list(bursts(entries(**told))) == []


def test_two_goes_are_two():
    later = [(by, entered + HOUR, taken) for by, entered, taken in entries()]
    assert [burst.readings for burst in bursts([*entries(), *later])] == [6, 6]
