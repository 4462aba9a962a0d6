"""Readings that were probably mistyped are asked about; honest ones, and their noise, are not."""

from dataclasses import replace
from random import Random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from compliance.metrology.mistyped import find_mistyped, suggests_converted, suggests_other_unit
from compliance.metrology.timed import TimedValue

from .sheaths import lagging, tailed, thin, typed

chances = st.integers(0, 2**32).map(Random)
makes = st.sampled_from([thin, lagging, tailed])


def readings(*values: float, fahrenheit: bool = False) -> list[TimedValue]:
    return [TimedValue(elapsed=6.0 * n, value=v, fahrenheit=fahrenheit) for n, v in enumerate(values, start=1)]


def found(*values: float, resolution: float = 0.1) -> list[tuple[int, float, float]]:
    return [(s.number, s.shown, s.meant) for s in find_mistyped(readings(*values), resolution)]


def test_a_wrong_sign_is_found_and_what_was_meant():
    assert found(0.4, 0.4, -0.4, 0.4, 0.4) == [(3, -0.4, 0.4)]
    assert found(9.0, 4.0, -1.4, 0.6, 0.4) == [(3, -1.4, 1.4)]


def test_a_decimal_point_moved_either_way_is_found():
    assert found(9.1, 4.4, 23, 1.2, 0.8) == [(3, 23, 2.3)]
    assert found(22.0, 1.3, 8.1, 4.4, 2.3) == [(2, 1.3, 13.0)]


def test_the_first_and_the_last_reading_may_be_slips_too():
    assert found(-14.8, 4.0, 1.3, 0.6, 0.3) == [(1, -14.8, 14.8)]
    assert found(14.8, 4.0, 1.3, 0.6, 3) == [(5, 3, 0.3)]
    assert found(0.4, 0.4, 0.4, 0.4, -0.4) == [(5, -0.4, 0.4)]


def test_two_slips_are_told_in_the_order_of_time():
    assert found(9.1, 44, 2.3, 1.2, -0.8, 0.5, 0.4) == [(2, 44, 4.4), (5, -0.8, 0.8)]


def test_a_series_that_needs_more_than_three_changes_is_no_slip():
    assert found(5, -5, 5, -5, 5, -5, 5, -5, 5, -5, 5) == []


def test_what_no_slip_explains_is_not_asked_about():
    assert found(9.1, 4.4, 17.7, 1.2, 0.8) == []


def test_a_flicker_about_zero_is_no_wrong_sign():
    assert found(0.4, 0.1, -0.1, 0.1, -0.1, 0.1, 0.0) == []
    assert found(4, 1, 0, -1, 0, 1, resolution=1.0) == []


def test_a_probe_from_the_freezer_is_no_wrong_sign():
    assert found(-18.2, -7.1, -2.7, -0.9, -0.3) == []


def test_three_readings_are_too_few_to_tell():
    assert found(0.4, -0.4, 0.4) == []


def test_a_display_of_whole_degrees_shows_no_tenths():
    """40 for 4 may be; 0.4 cannot have been meant."""
    assert found(20, 9, 40, 2, 1, resolution=1.0) == [(3, 40, 4)]
    assert found(3.0, 1.0, 0.4, 4.0, 0.4, 0.4) == [(4, 4, 0.4)]
    assert found(3, 1, 0, 4, 0, 0, resolution=1.0) == []


def test_fahrenheit_is_asked_about_as_it_was_typed():
    """315 °F for 31.5 °F: 157.222 °C for -0.278 °C."""
    series = readings(2.0, 0.0, 157.222, -0.278, -0.278, fahrenheit=True)
    (slip,) = find_mistyped(series, 0.056)
    assert (slip.number, slip.shown, slip.meant) == (3, 315, 31.5)
    assert slip.sentence == "Reading 3 shows 315 at 18 s; was 31.5 meant?"


def test_a_minus_is_written_as_one():
    (slip,) = find_mistyped(readings(-0.4, -0.4, 0.4, -0.4), 0.1)
    assert slip.sentence == "Reading 3 shows 0.4 at 18 s; was \N{MINUS SIGN}0.4 meant?"


@given(makes, st.floats(-1.5, 1.5), st.sampled_from([0.1, 1.0]), chances)
def test_honest_readings_are_never_asked_about(make, end, resolution, chance):
    assert find_mistyped(typed(make(chance, end), resolution, chance), resolution) == ()


@given(makes, st.floats(0.6, 1.5), chances, st.sampled_from([-1.0, 10.0]), st.integers(1, 30))
def test_a_slip_among_honest_readings_is_found_and_nothing_else(make, end, chance, factor, place):
    series = typed(make(chance, end), 0.1, chance)
    place = min(place, len(series) - 2)
    value = round(series[place].value * factor, 3)
    low, high = sorted((series[place - 1].value, series[place + 1].value))
    assume(value < low - 0.5 or value > high + 0.5)
    assume(-100 <= value <= 400)
    slips = find_mistyped([*series[:place], replace(series[place], value=value), *series[place + 1 :]], 0.1)
    assert [(s.number, s.meant) for s in slips] == [(place + 1, pytest.approx(series[place].value))]


def test_readings_are_refused_like_everywhere():
    with pytest.raises(ValueError, match="decimal"):
        find_mistyped(readings(401), 0.1)
    with pytest.raises(ValueError, match="step of the display"):
        find_mistyped(readings(1), 0)


ICE, BOILING = 0.0, 100.0


@pytest.mark.parametrize(
    ("shown", "fahrenheit", "reference", "suggested"),
    [
        (32.0, False, ICE, True),
        (33.8, False, ICE, True),
        (27.0, False, ICE, True),
        (4.0, False, ICE, False),
        (21.0, False, ICE, False),
        (60.0, False, ICE, False),
        (0.3, True, ICE, True),
        (-1.0, True, ICE, True),
        (32.0, True, ICE, False),
        (46.0, True, ICE, False),
        (212.0, False, BOILING, True),
        (100.0, False, BOILING, False),
        (98.3, True, 98.27, True),
        (212.0, True, BOILING, False),
    ],
)
def test_a_number_that_makes_sense_in_the_other_unit_only_is_asked_about(shown, fahrenheit, reference, suggested):
    """32 °F is 0 °C and 212 °F is 100 °C, exactly; how near is near is judgement."""
    assert suggests_other_unit(shown, fahrenheit, reference) is suggested


def test_a_fall_on_from_a_number_whose_unit_is_known_is_not_asked_about():
    assert suggests_other_unit(29.0, False, ICE, before=32.0) is False
    assert suggests_other_unit(0.2, True, ICE, before=0.0) is True


@given(st.floats(-5, 5), st.booleans())
def test_no_number_near_the_reference_is_asked_about(off, fahrenheit):
    shown = off * 1.8 + 32 if fahrenheit else off
    assert suggests_other_unit(shown, fahrenheit, ICE) is False


@given(st.floats(-3, 3), st.booleans(), st.sampled_from([ICE, 95.0, BOILING]))
def test_a_good_probe_typed_in_the_wrong_unit_is_always_asked_about(off, fahrenheit, reference):
    real = reference + off * 0.99
    assert suggests_other_unit(real if fahrenheit else real * 1.8 + 32, fahrenheit, reference) is True


@pytest.mark.parametrize(("shown", "reference"), [(1001.0, 0.0), (float("nan"), 0.0), (32.0, 500.0)])
def test_a_number_or_reference_that_cannot_be_is_refused(shown, reference):
    with pytest.raises(ValueError, match="as it was typed"):
        suggests_other_unit(shown, False, reference)


@pytest.mark.parametrize(
    ("shown", "fahrenheit", "reference", "suggested"),
    [
        (-17.8, False, ICE, True),
        (-16.2, False, ICE, True),
        (-15.9, False, ICE, False),
        (-19.5, False, ICE, False),
        (-17.8, True, ICE, False),
        (36.8, False, 98.3, False),
        (0.1, False, ICE, False),
    ],
)
def test_zero_turned_from_fahrenheit_is_told_apart(shown, fahrenheit, reference, suggested):
    """0 °F are −17.8 °C, by definition of the scales; what else is near enough is judgement."""
    assert suggests_converted(shown, fahrenheit, reference) is suggested
