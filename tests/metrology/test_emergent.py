"""The column outside, against published examples; the layout of a kitchen's scale is judgement."""

from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.emergent import Liquid, emergent_correction, judge_emergent


@pytest.mark.parametrize(("liquid", "published"), [(Liquid.MERCURY, 0.75), (Liquid.PETROLEUM, 4.09)])
def test_a_column_of_ninety_degrees_as_published(liquid, published):
    """Reads 90, immersed to mark 0, stem at 40 °C: +0.75 °C mercury, +4.09 °C petroleum (seen, rounded there).

    Mercury with k = 0.00016 gives 0.72; the published figure went on with the corrected bulb temperature and rounding.
    """
    assert emergent_correction(90, 90, 40, liquid) == pytest.approx(published, abs=0.035)


def test_alcohol_expands_most():
    """1/1000 per °C (seen): 90 degrees at 50 °C less are 4.5 °C."""
    assert emergent_correction(90, 90, 40, Liquid.ALCOHOL) == pytest.approx(4.5)


@given(st.floats(0, 200), st.floats(-100, 400), st.floats(-50, 150), st.sampled_from(Liquid))
def test_a_warm_column_over_a_cold_bath_reads_too_high(degrees, bulb, stem, liquid):
    found = emergent_correction(degrees, bulb, stem, liquid)
    assert found * (bulb - stem) >= 0
    assert emergent_correction(2 * degrees, bulb, stem, liquid) == pytest.approx(2 * found)


@given(st.floats(-20, 110), st.floats(0, 1000), st.floats(0, 1000))
def test_deeper_is_never_worse(bulb, one, other):
    shallow, deep = (judge_emergent(bulb, depth) for depth in sorted((one, other)))
    assert abs(deep.correction) <= abs(shallow.correction) + 1e-12
    assert deep.half_width <= shallow.half_width + 1e-12


@given(st.floats(-20, 110), st.floats(0, 1000))
def test_a_correction_from_the_usual_layout_is_known_no_better_than_by_its_size(bulb, depth):
    found = judge_emergent(bulb, depth)
    assert found.half_width >= abs(found.correction)


def test_in_ice_the_zero_mark_lies_45_mm_up_by_the_usual_layout():
    assert judge_emergent(0.0, 45).correction == 0
    assert judge_emergent(0.0, 35).correction == pytest.approx(-0.25)


def test_a_correction_is_as_uncertain_as_its_layout_its_room_and_its_liquid():
    """By hand: 0.25 for the layout, 0.001·10 degrees·10 °C for the room, a tenth of 0.25 for k."""
    assert judge_emergent(0.0, 35).half_width == pytest.approx(0.25 + 0.1 + 0.025)


def test_the_bulb_itself_is_no_column():
    assert judge_emergent(0.0, 0) == judge_emergent(0.0, 25) != judge_emergent(0.0, 26)


def test_a_depth_that_was_only_confirmed_leaves_a_few_degrees_to_read():
    found = judge_emergent(0.0, None)
    assert found.correction == 0
    assert found.half_width == pytest.approx(0.001 * 5 * 25 + 0.001 * 5 * 10)


def test_another_liquid_and_another_room():
    assert judge_emergent(0.0, 35, Liquid.MERCURY).correction == pytest.approx(-0.00016 * 10 * 25)
    assert judge_emergent(0.0, 35, stem=15).correction == pytest.approx(-0.15)


@pytest.mark.parametrize(
    ("given_", "words"),
    [((-1, 0, 20), "length of the column"), ((nan, 0, 20), "length of the column"), ((401, 0, 20), "length"),
     ((5, -101, 20), "bulb"), ((5, 401, 20), "bulb"), ((5, 0, 151), "outside"), ((5, 0, -51), "outside")],
)  # fmt: skip
def test_figures_that_cannot_be_are_refused(given_, words):
    with pytest.raises(ValueError, match=words):
        emergent_correction(*given_)


@pytest.mark.parametrize(
    ("bulb", "depth", "words"), [(-21, None, "bath"), (111, 5, "bath"), (0, -1, "depth"), (0, nan, "depth")]
)
def test_a_bath_or_a_depth_that_cannot_be_is_refused(bulb, depth, words):
    with pytest.raises(ValueError, match=words):
        judge_emergent(bulb, depth)
