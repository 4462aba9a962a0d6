"""Sentences in °C turned into °F: 1.8 °F to the degree Celsius, ice at 32 °F (by definition of the scale)."""

import pytest

from shared.unit_text import in_unit
from shared.units import show_step


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"),
    [
        (
            "It shows +0.3 °C in melting ice, where ±1.0 °C is allowed.",
            "It shows 32.5 °F in melting ice, where ±1.8 °F is allowed.",
        ),
        ("It shows −1.24 °C in melting ice.", "It shows 29.77 °F in melting ice."),
        (
            "It is off by −0.51 °C in boiling water, where ±0.5 °C is allowed.",
            "It is off by −0.918 °F in boiling water, where ±0.9 °F is allowed.",
        ),
        ("The bath stands for 0 °C within 0.01 °C.", "The bath stands for 32 °F within 0.018 °F."),
        ("the bath stands for 0 °C within ±0.05 °C", "the bath stands for 32 °F within ±0.09 °F"),
        (
            "Inconclusive: the bath does not stand for 0 °C, so this check says nothing about the probe.",
            "Inconclusive: the bath does not stand for 32 °F, so this check says nothing about the probe.",
        ),
        (
            "Ice floating in water can be up to 4 °C warm below it.",
            "Ice floating in water can be up to 39 °F warm below it.",
        ),
        (
            "Error +0.20 °C, expanded uncertainty ±0.07 °C (k = 1.71, 95 %).",
            "Error +0.36 °F, expanded uncertainty ±0.126 °F (k = 1.71, 95 %).",
        ),
        ("at most 0.02 °C still to come.", "at most 0.036 °F still to come."),
        ("the display shows steps of 0.1 °C", "the display shows steps of 0.1 °C"),
        ("to make the ice 1.5 °C colder.", "to make the ice 2.7 °F colder."),
        ("It can be 0.2 °C warmer.", "It can be 0.36 °F warmer."),
        (
            "Water boils at 98.3 °C here, under 953 hPa, within 0.40 °C.",
            "Water boils at 208.9 °F here, under 953 hPa, within 0.72 °F.",
        ),
        ("The usual band of 99 to 101 °C does not hold here", "The usual band of 210 to 214 °F does not hold here"),
        ("the way up from room temperature, 80 °C", "the way up from room temperature, 144 °F"),
        (
            "the air between here and sea level, 8 °C about 15 °C",
            "the air between here and sea level, 14.4 °F about 59 °F",
        ),
        ("The probe was not in deep enough.", "The probe was not in deep enough."),
    ],
)
def test_every_figure_is_turned_by_what_it_is(celsius, fahrenheit):
    assert in_unit(celsius, "F") == fahrenheit and in_unit(celsius, "C") == celsius


@pytest.mark.parametrize(
    ("milli", "step"),
    [
        (100, "0.1 °C"),
        (10, "0.01 °C"),
        (1000, "1 °C"),
        (250, "0.25 °C"),
        (56, "0.1 °F"),
        (111, "0.2 °F"),
        (556, "1 °F"),
    ],
)
@pytest.mark.parametrize("unit", ["C", "F"])
def test_the_step_of_a_display_is_its_own_whoever_reads_of_it(milli, step, unit):
    """10 mK are 0.018 °F, and 0.1 °F are 55.6 mK: a display has round steps in the unit that it shows."""
    assert show_step(milli) == step
    assert in_unit(f"it flickers between two steps of {milli / 1000:g} °C", unit).endswith(f"two steps of {step}")


def test_odds_that_were_stored_with_a_space_between_thousands_are_read_with_a_comma():
    assert (
        in_unit("The chance is less than 1 in 10\N{NO-BREAK SPACE}000.", "C") == "The chance is less than 1 in 10,000."
    )
