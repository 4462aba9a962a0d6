"""What counts as a reason: words that somebody else can make something of, in whatever script."""

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from shared.fields import ReasonField
from shared.reasons import USUAL, as_reason, holds_word

SAYS_NOTHING = [
    "xx",
    "...",
    "ok",
    "n/a",
    "n.v.t.",
    "-",
    "a b c d",
    "1234",
    "!!!!",
    "xxxx",
    "AaAa",
    "12 ab 34",
    "🧊🧊🧊🧊",
    "一",
    "ååå",
    "e\u0301e\u0301e\u0301",
]
SAYS_SOMETHING = [
    "Lent",
    "the oven was off",
    "no: broken",
    "Łódź",
    "gelé",
    "сломан",
    "σπάσει",
    "معطل",
    "שבור",
    "खराब है",
    "ชำรุด",
    "壊れた",
    "故障",
    "고장",
    "C12 thawed",
]


@pytest.mark.parametrize("text", SAYS_NOTHING)
def test_what_holds_no_word_is_no_reason(text):
    with pytest.raises(ValidationError, match="four letters"):
        as_reason(f" {text} ")
    with pytest.raises(ValidationError, match="School holidays"):
        ReasonField(usual="closure").clean(text)


@pytest.mark.parametrize("text", SAYS_SOMETHING)
def test_words_of_any_script_are_a_reason(text):
    assert as_reason(f" {text}\n") == ReasonField().clean(text) == text


@pytest.mark.parametrize("text", [text for offered in USUAL.values() for text in offered])
def test_every_usual_reason_is_one(text):
    assert holds_word(text)


def test_an_empty_one_is_asked_for_where_it_is_needed():
    assert as_reason("  ") == ""
    with pytest.raises(ValidationError) as refused:
        as_reason(" ", "why", ask="Say why.")
    assert refused.value.message_dict == {"why": ["Say why."]}


@given(st.text())
def test_whatever_is_typed_gets_an_answer(text):
    assert holds_word(text) == holds_word(f" {text}.") and holds_word(f"{text} broken")
