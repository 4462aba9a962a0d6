"""A time typed on a night when the clocks are changed is refused in plain words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from django import forms
from django.core.exceptions import ValidationError

from shared.fields import SiteDateTimeField

# Summer time in the Union, Directive 2000/84/EC: it begins on the last Sunday of March and ends on that of October, 01:00 UTC.
FIELD = SiteDateTimeField(zone=ZoneInfo("Europe/Berlin"))


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("2026-03-29T02:30", "There was no 02:30 that day: the clocks were put forward over it."),
        ("2025-10-26T02:30", "showed 02:30 twice. Say which of the two is meant."),
    ],
)
def test_an_hour_that_never_came_or_came_twice_is_told_in_plain_words(typed, words):
    with pytest.raises(ValidationError, match=words) as refused:
        FIELD.clean(typed)
    assert "time zone" not in str(refused.value)


class Form(forms.Form):
    at = SiteDateTimeField()

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["at"].zone = FIELD.zone


@pytest.mark.parametrize(("which", "hour"), [("first", 0), ("second", 1)])
def test_of_an_hour_that_came_twice_it_is_asked_which(which, hour):
    asked = Form({"at": "2025-10-26T02:30"})
    assert not asked.is_valid() and 'name="at_which"' in str(asked) and 'value="2025-10-26T02:30"' in str(asked)
    told = Form({"at": "2025-10-26T02:30", "at_which": which})
    assert told.is_valid() and told.cleaned_data["at"] == datetime(2025, 10, 26, hour, 30, tzinfo=UTC)
    assert f'value="{which}" selected' in str(told)


@pytest.mark.parametrize(("hour", "which"), [(0, "first"), (1, "second")])
def test_a_correction_starts_from_the_one_that_was_recorded(hour, which):
    shown = str(Form(initial={"at": datetime(2025, 10, 26, hour, 30, tzinfo=UTC)}))
    assert 'value="2025-10-26T02:30"' in shown and f'value="{which}" selected' in shown


@pytest.mark.parametrize("typed", ["2026-01-05 09:00", "2026-03-29T02:30", "soon", ""])
def test_of_no_other_time_it_is_asked(typed):
    shown = str(Form({"at": typed}))
    assert "at_which" not in shown and (f'value="{typed}"' in shown or not typed)


@pytest.mark.parametrize(
    ("typed", "hour"), [("2025-10-26T01:59", 23), ("2025-10-26T03:00", 2), ("2026-03-29T03:00", 1)]
)
def test_the_minutes_beside_it_are_taken(typed, hour):
    assert FIELD.clean(typed).astimezone(UTC).hour == hour


def test_what_is_no_time_is_refused_as_before():
    with pytest.raises(ValidationError, match="valid date"):
        FIELD.clean("soon")
    assert FIELD.clean("2026-01-05T09:00").astimezone(UTC) == datetime(2026, 1, 5, 8, tzinfo=UTC)
