"""What is no password: blanks, one's own name and e-mail, characters that nobody types."""

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from sites.models import Person

MARA = Person(name="Mara Holt", initials="MH", email="kitchen.north3@example.test")
BLANKS = "".join([" ", "\u00a0", "\u2003", "\u200b", "\u3000", "\u2060"])


@given(st.text(BLANKS, min_size=10, max_size=40))
def test_blanks_are_no_password(password):
    with pytest.raises(ValidationError, match="four different"):
        validate_password(password, MARA)


@given(st.text("ab ", min_size=10, max_size=40))
def test_two_letters_over_and_over_are_no_password(password):
    with pytest.raises(ValidationError):
        validate_password(password, MARA)


@pytest.mark.parametrize(
    "password",
    [MARA.email, MARA.email.upper(), "kitchen.north3", "Kitchen.North3!", "kitchennorth3", "Mara Holt 1", "maraholt99"],
)
def test_ones_own_name_or_email_is_no_password(password):
    with pytest.raises(ValidationError, match="your own name or e-mail"):
        validate_password(password, MARA)


@given(st.integers(0, 31), st.integers(0, 16))
def test_a_character_that_nobody_types_is_no_part_of_a_password(code, place):
    word = "brisk-orchard-52"
    with pytest.raises(ValidationError, match="cannot be typed"):
        validate_password(word[:place] + chr(code) + word[place:], MARA)


@pytest.mark.parametrize(
    "password",
    ["brisk-orchard-52", "drei alte Kühe", "большая лодка 7", "青い鳥と赤い花と白い雲", "🍎🥕🧅🥬🍎🥕🧅🥬🍎🥕"],
)
def test_words_that_do_not_belong_together_are_one(password):
    validate_password(password, MARA)
