"""One way only to write a value down. Numbers: RFC 8785, appendix B; the order of keys: its section 3.2.3."""

import json
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.audit.canonical import canonical
from shared.units import Unit

NUMBERS = {
    -0.0: "0",
    1e-7: "1e-7",
    0.000001: "0.000001",
    1.5e-10: "1.5e-10",
    333333333.3333332: "333333333.3333332",
    295147905179352830000.0: "295147905179352830000",
    9007199254740991.0: "9007199254740991",
    4.50: "4.5",
}


@pytest.mark.parametrize(("value", "text"), NUMBERS.items())
def test_a_number_is_written_as_the_standard_does(value, text):
    assert canonical(value) == text


def test_keys_stand_in_the_order_of_the_standard():
    keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    told = canonical(dict.fromkeys(keys, 1))
    assert list(json.loads(told)) == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


def test_moments_and_decimals_have_one_form_each():
    noon = datetime(2026, 3, 11, 12, tzinfo=UTC)
    assert (
        canonical(noon) == canonical(noon.astimezone(timezone(timedelta(hours=5)))) == '"2026-03-11T12:00:00.000000Z"'
    )
    assert canonical(Decimal("4.50")) == canonical(Decimal("4.5")) == '"4.5"'
    assert canonical(Unit.CELSIUS) == '"C"'


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
        max_leaves=12,
    )
)
def test_it_is_json_of_the_same_value(value):
    assert json.loads(canonical(value)) == value


def test_what_has_no_form_is_refused():
    with pytest.raises(TypeError, match="object"):
        canonical(object())
