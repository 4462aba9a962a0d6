"""A time typed on a night when the clocks are changed is refused in plain words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from shared.fields import SiteDateTimeField

# Summer time in the Union, Directive 2000/84/EC: it begins on the last Sunday of March and ends on that of October, 01:00 UTC.
FIELD = SiteDateTimeField(zone=ZoneInfo("Europe/Berlin"))


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("2026-03-29T02:30", "There was no 02:30 that day: the clocks were put forward over it."),
        (
            "2025-10-26T02:30",
            "showed 02:30 twice, so nobody could tell which of the two is meant. Type the nearest time",
        ),
    ],
)
def test_an_hour_that_never_came_or_came_twice_is_told_in_plain_words(typed, words):
    with pytest.raises(ValidationError, match=words) as refused:
        FIELD.clean(typed)
    assert "time zone" not in str(refused.value)


@pytest.mark.parametrize(
    ("typed", "hour"), [("2025-10-26T01:59", 23), ("2025-10-26T03:00", 2), ("2026-03-29T03:00", 1)]
)
def test_the_minutes_beside_it_are_taken(typed, hour):
    assert FIELD.clean(typed).astimezone(UTC).hour == hour


def test_what_is_no_time_is_refused_as_before():
    with pytest.raises(ValidationError, match="valid date"):
        FIELD.clean("soon")
    assert FIELD.clean("2026-01-05T09:00").astimezone(UTC) == datetime(2026, 1, 5, 8, tzinfo=UTC)
