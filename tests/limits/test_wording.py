"""Times and figures as people read and type them."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.limits.models import Direction, Rule
from compliance.limits.wording import demand
from shared.time_text import LONGEST, duration, parse_duration


@pytest.mark.parametrize(
    "text, seconds",
    [
        ("15", 15),
        ("15 s", 15),
        ("15sec", 15),
        ("3 min", 180),
        ("3m", 180),
        ("1 h 30 min", 5400),
        ("2 hours", 7200),
        ("112 MIN", 6720),
        ("1 min 25 s", 85),
    ],
)
def test_a_time_is_understood(text, seconds):
    assert parse_duration(text) == seconds


@pytest.mark.parametrize("text", ["soon", "3 weeks", "1 2", "-5", "0", "49 h", "3 min or so", "1:30"])
def test_a_time_that_is_not_one_says_what_to_type(text):
    with pytest.raises(ValueError, match="3 min|48 hours"):
        parse_duration(text)


@given(st.integers(1, LONGEST))
def test_a_time_that_is_shown_is_understood_as_the_same(seconds):
    assert parse_duration(duration(seconds)) == seconds


def test_a_demand_in_words():
    rule = Rule(direction=Direction.AT_LEAST, value=Decimal("165.00"), unit="F", hold_s=15, within_s=7200)
    assert demand(rule) == "at least 165 °F for 15 s within 2 h"
    assert demand(Rule(direction=Direction.AT_MOST, value=Decimal("-18"), unit="C")) == "at most −18 °C"
