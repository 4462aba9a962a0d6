"""Warmth along a stem, against the equation of the fin solved numerically and against common practice."""

from math import nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_bvp

from compliance.metrology.conduction import FILMS, ROOM, SENSING_LENGTH, STEEL, STILL_AIR, stem_error
from compliance.metrology.vocabulary import Medium

ICE, BOILING = Medium.PACKED_ICE, Medium.BOILING_WATER
depths, diameters = st.floats(0, 1000), st.floats(0.1, 50)


@pytest.mark.parametrize(("depth", "diameter"), [(15, 3.0), (50, 8.0)])
@pytest.mark.parametrize(("medium", "reference"), [(ICE, 0.0), (BOILING, 100.0)])
def test_it_solves_the_equation_of_the_fin(depth, diameter, medium, reference):
    """θ'' = 4h/(kD)·θ along the whole stem, half a metre of it in air, as a boundary value problem (scipy).

    What is in air and what is in the bath are solved beside each other, for the film jumps where they meet.
    """
    top, bottom = 0.5, depth / 1000
    air, bath = (4 * film / (STEEL * diameter / 1000) for film in (STILL_AIR, FILMS[medium]))

    def slopes(x, y):
        in_air, in_bath = y[:2], y[2:]
        return np.vstack(
            (
                top * in_air[1],
                top * air * (in_air[0] - ROOM),
                bottom * in_bath[1],
                bottom * bath * (in_bath[0] - reference),
            )
        )

    def ends(first, last):
        return np.array([first[0] - ROOM, last[0] - first[2], last[1] - first[3], last[3]])

    x = np.linspace(0, 1, 200)
    start = np.vstack([np.full_like(x, value) for value in (ROOM, 0, reference, 0)])
    solved = solve_bvp(slopes, ends, x, start, tol=1e-5, max_nodes=100_000)
    assert solved.success
    tip = np.linspace(1 - min(SENSING_LENGTH / depth, 1), 1, 500)
    felt = float(np.mean(solved.sol(tip)[2])) - reference
    assert stem_error(depth, diameter, medium, reference) == pytest.approx(felt, rel=0.02, abs=2e-4)


def test_50_mm_in_wet_packed_ice_is_enough_for_a_food_probe_but_not_for_a_thick_stem():
    """Common practice, no source; 0.01 °C is what a good bath is worth."""
    assert stem_error(50, 3.0, ICE, 0.0) < 0.01
    assert stem_error(50, 8.0, ICE, 0.0) > 0.05
    assert stem_error(80, 8.0, ICE, 0.0) < 0.01


def test_out_of_the_bath_it_feels_the_room():
    assert stem_error(0, 3.0, ICE, 0.0) == ROOM
    assert stem_error(0, 3.0, ICE, 0.0, surroundings=10) == 10
    assert stem_error(0.001, 3.0, ICE, 0.0) == pytest.approx(ROOM, rel=0.01)


@given(depths, depths, diameters, st.sampled_from(Medium))
def test_deeper_is_never_worse(one, other, diameter, medium):
    shallow, deep = (stem_error(d, diameter, medium, 0.0) for d in sorted((one, other)))
    assert 0 <= deep <= shallow + 1e-9


@given(depths, diameters, diameters)
def test_thicker_is_never_better(depth, one, other):
    thin, thick = (stem_error(depth, d, ICE, 0.0) for d in sorted((one, other)))
    assert thin <= thick + 1e-9


@given(depths, diameters, st.floats(-50, 60))
def test_it_goes_by_the_difference_of_room_and_bath(depth, diameter, room):
    assert stem_error(depth, diameter, ICE, 0.0, room) == pytest.approx(
        stem_error(depth, diameter, ICE, 0.0, 25.0) * room / 25, abs=1e-12
    )


def test_a_dial_thermometer_feels_over_the_length_of_its_coil():
    """Half of a coil of 60 mm outside feels the room: at least half its difference (judgement)."""
    assert stem_error(30, 4.0, ICE, 0.0, sensing=60) > 12.5
    assert stem_error(60, 4.0, ICE, 0.0, sensing=60) < 1.0
    assert stem_error(90, 4.0, ICE, 0.0, sensing=60) < 0.05


def test_boiling_water_is_felt_too_cold_and_a_better_film_helps():
    assert stem_error(20, 3.0, BOILING, 100.0) < 0
    assert abs(stem_error(20, 3.0, Medium.STEAM, 100.0)) < abs(stem_error(20, 3.0, BOILING, 100.0))
    assert stem_error(20, 3.0, Medium.ICE_WATER, 0.0) > stem_error(20, 3.0, ICE, 0.0)


def test_a_stem_that_nobody_measured_is_a_usual_one():
    assert stem_error(30, None, ICE, 0.0) == stem_error(30, 4.0, ICE, 0.0)


@pytest.mark.parametrize(
    ("given_", "words"),
    [
        ((-1, 3.0, ICE, 0.0), "depth"),
        ((1001, 3.0, ICE, 0.0), "depth"),
        ((nan, 3.0, ICE, 0.0), "depth"),
        ((50, 0.0, ICE, 0.0), "diameter"),
        ((50, 51, ICE, 0.0), "diameter"),
        ((50, nan, ICE, 0.0), "diameter"),
        ((50, 3.0, ICE, 151), "bath"),
        ((50, 3.0, ICE, -51), "bath"),
        ((50, 3.0, ICE, 0.0, 61), "room"),
        ((50, 3.0, ICE, 0.0, -51), "room"),
        ((50, 3.0, ICE, 0.0, 20, 0.9), "sensor"),
        ((50, 3.0, ICE, 0.0, 20, 201), "sensor"),
    ],
)
def test_figures_that_cannot_be_are_refused(given_, words):
    with pytest.raises(ValueError, match=words):
        stem_error(*given_)
