"""Bounds of what people give: days and moments, numbers in addresses, names, temperatures."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from hypothesis import example, given
from hypothesis import strategies as st

from shared import units
from shared.bounds import EARLIEST, LATEST, in_bounds, key_in, not_printed, number_in, on_one_line, one_line
from shared.fields import DayField, SiteDateTimeField
from shared.printing.text import clean
from shared.time_text import on_clock

ZONES = [ZoneInfo(name) for name in ("Europe/London", "Asia/Tokyo", "America/Los_Angeles", "Pacific/Kiritimati")]


@given(st.dates())
def test_days_from_1990_to_2100_are_taken_and_all_others_refused_in_words(day):
    if EARLIEST <= day <= LATEST:
        in_bounds(day)
        return
    with pytest.raises(
        ValidationError, match="before 1990.*a later day" if day < EARLIEST else "after 2100.*an earlier day"
    ):
        in_bounds(day)


@given(st.dates(min_value=date(1, 1, 1), max_value=EARLIEST - timedelta(days=1)), st.sampled_from(ZONES))
def test_a_form_refuses_a_moment_before_1990_on_any_clock(day, zone):
    with pytest.raises(ValidationError, match="1990|time zone"):
        SiteDateTimeField(zone=zone).clean(f"{day:%Y-%m-%d}T00:00".rjust(16, "0"))


def test_the_first_minute_of_1990_on_the_clock_of_a_site_is_taken():
    at = SiteDateTimeField(zone=ZoneInfo("Asia/Tokyo")).clean("1990-01-01T00:00")
    assert at.astimezone(UTC).year == 1989


@pytest.mark.parametrize("text", ["0001-01-01", "1989-12-31", "2101-01-01", "9999-12-31"])
def test_a_day_beyond_the_bounds_is_an_error_of_its_field(text):
    with pytest.raises(ValidationError, match="Look at the year"):
        DayField().clean(text)


@given(st.datetimes(timezones=st.just(UTC)), st.sampled_from(ZONES))
@example(datetime.min.replace(tzinfo=UTC), ZONES[0])
@example(datetime.max.replace(tzinfo=UTC), ZONES[1])
def test_every_moment_can_be_shown_on_every_clock_and_stays_the_same_moment(at, zone):
    assert on_clock(at, zone) == at


@given(st.one_of(st.none(), st.text(), st.integers().map(str), st.just("9" * 5000), st.just("٣")))
def test_a_number_in_an_address_is_one_that_fits_a_key_or_none(text):
    found = number_in(text)
    assert found is None or (0 <= found < 2**63 and str(found).zfill(len(text)) == text)


@given(st.one_of(st.none(), st.text(), st.uuids().map(str)))
def test_a_key_is_read_whole_or_is_none(text):
    found = key_in(text)
    assert found is None or found.hex in text.lower().replace("-", "")


@pytest.mark.parametrize("sign", ["\n", "\r", "\t", "\0", "\x85", "\x1b", "\u2028", "\u2029", "\ud800"])
def test_a_name_holds_no_line_break_and_no_sign_that_cannot_be_seen(sign):
    with pytest.raises(ValidationError, match="on one line"):
        one_line(f"Mill{sign}School")
    assert on_one_line(f"Mill{sign}School") == "Mill School"


NAMES = [
    "Ångström & Söhne",
    "מטבח",
    "Кухня",
    "مطبخ",
    "Κουζίνα",
    "Kök 3/4 m²",
    "👩‍🍳",
    "non\u00a0breaking",
    "A\u030angstro\u0308m",
]


@pytest.mark.parametrize("name", NAMES)
def test_names_of_many_languages_are_names(name):
    one_line(name)


@pytest.mark.parametrize(
    ("name", "told"), [("鸡肉", "“鸡肉”"), ("रसोई", "“रसई”"), ("ครัว 2", "“ครว”"), ("Wok 厨房", "“厨房”")]
)
def test_a_name_that_paper_cannot_show_is_asked_for_in_latin_letters(name, told):
    with pytest.raises(ValidationError, match=f"{told} cannot be printed on a record. Write it in Latin letters"):
        one_line(name)


def test_print_has_every_letter_of_such_a_name():
    """But for ten of Cyrillic, of languages of Siberia, which stand there by their code."""
    letters = [chr(code) for code in range(0x80, 0x530) if chr(code).isalpha() and not not_printed(chr(code))]
    assert len(letters) > 900 and sum("[U+" in clean(letter) for letter in letters) == 10


@given(st.one_of(st.text(), st.decimals().map(str), st.floats().map(str)), st.sampled_from(units.Unit.values))
@example("1e400", "C")
@example("1e2", "C")
@example("NaN", "F")
@example("0." + "0" * 5000 + "1", "C")
@example("-273.16", "C")
@example("-459.68", "F")
def test_what_is_typed_is_a_temperature_that_there_can_be_or_a_sentence(text, unit):
    try:
        milli = units.read(text, unit)
    except ValueError as refused:
        assert "Type what the display shows" in str(refused)
    else:
        assert -273_150 <= milli <= 1_000_000
        assert len(text.strip()) <= 20 and not set(text.lower()) & set("en_")


@pytest.mark.parametrize(("text", "unit"), [("-273.15", "C"), ("-459.67", "F")])
def test_absolute_zero_itself_can_be_typed(text, unit):
    """−273.15 °C and −459.67 °F: 0 K by definition of the Celsius scale; SI Brochure, 9th edition, 2.3.1."""
    assert units.read(text, unit) == -273_150
