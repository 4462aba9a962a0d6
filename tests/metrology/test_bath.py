"""What each way of making an ice bath is worth. Half-widths are common practice or judgement, no published source."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.bath import (
    CRITICAL,
    MISSING,
    UNCONFIRMED,
    WANTED,
    BathKind,
    BathPoint,
    BathWidths,
    Preparation,
    judge_bath,
)
from compliance.metrology.uncertainty import combine

ALL = frozenset(BathPoint)
PACKED, STIRRED = BathKind.PACKED_CRUSHED, BathKind.STIRRED_CUBES
kinds = st.sampled_from(BathKind)
points = st.frozensets(st.sampled_from(BathPoint))


def bath(kind=PACKED, points=ALL, widths=None, left=frozenset()):
    return judge_bath(Preparation(kind=kind, points=points, left=left), widths)


def test_a_bath_made_point_by_point_is_worth_a_hundredth():
    """±0.01 °C: common practice, no source; u is a/√3, JCGM 100:2008, 4.3.7."""
    made = bath()
    assert made.usable
    assert (made.temperature, made.within, made.missing) == (0.0, 0.01, ())
    assert combine(made.components).combined == pytest.approx(0.01 / sqrt(3))


@pytest.mark.parametrize("point", sorted(ALL - set(CRITICAL[PACKED]) - {BathPoint.FELL}))
def test_one_point_left_out_widens_it_and_is_told(point):
    """Judgement: without draining or packing no better than stirred cubes, as free water may reach the tip."""
    made = bath(points=ALL - {point}, left=frozenset({point}))
    assert made.usable
    assert made.within == (0.2 if point in (BathPoint.DRAINED, BathPoint.PACKED) else 0.05)
    assert made.missing == (point,)
    assert MISSING[point] in made.why


@pytest.mark.parametrize("point", sorted(ALL))
def test_a_point_that_nobody_spoke_of_counts_as_one_left_out_and_is_told_as_not_confirmed(point):
    said, unsaid = (bath(points=ALL - {point}, left=left) for left in (frozenset({point}), frozenset()))
    assert (unsaid.usable, unsaid.within, unsaid.missing) == (said.usable, said.within, said.missing)
    assert UNCONFIRMED[point] in unsaid.why and MISSING[point] not in unsaid.why
    assert UNCONFIRMED[point].startswith("Not confirmed: that ")


COMBINATIONS = {  # drained, packed, deep: half-width in °C, None for inconclusive; judgement
    (True, True, True): 0.01,
    (False, True, True): 0.2,
    (True, False, True): 0.2,
    (False, False, True): None,
    (True, True, False): None,
    (False, True, False): None,
    (True, False, False): None,
    (False, False, False): None,
}


@pytest.mark.parametrize("said", [True, False], ids=["said not done", "not confirmed"])
@pytest.mark.parametrize("met", COMBINATIONS, ids=lambda met: "drained {}, packed {}, deep {}".format(*met))
def test_every_combination_of_drained_packed_and_deep(met, said):
    points = (BathPoint.DRAINED, BathPoint.PACKED, BathPoint.IMMERSED)
    without = frozenset(point for point, is_met in zip(points, met, strict=True) if not is_met)
    made = bath(points=ALL - without, left=without if said else frozenset())
    assert (made.within if made.usable else None) == COMBINATIONS[met]
    assert set(made.missing) == without


def test_ticking_only_what_is_required_is_no_check():
    """Neither drained nor packed, the tip may stand in water that is up to 4 °C warm (densest at 3.98 °C, computed)."""
    required = {BathPoint.POTABLE, BathPoint.WETTED, BathPoint.IMMERSED}
    made = bath(points=frozenset({*required, BathPoint.FELL, BathPoint.WAITED}))
    assert not made.usable and made.why[0] == "The bath does not stand for 0 °C."
    assert UNCONFIRMED[BathPoint.DRAINED] in made.why and UNCONFIRMED[BathPoint.PACKED] in made.why


@pytest.mark.parametrize("other", sorted({BathPoint.CRUSHED, BathPoint.STEM_CLEANED, BathPoint.WELL_FORMED}))
@pytest.mark.parametrize("water", [BathPoint.DRAINED, BathPoint.PACKED])
def test_a_lesser_point_beside_free_water_changes_nothing(water, other):
    assert bath(points=ALL - {water, other}).within == bath(points=ALL - {water}).within == 0.2


@pytest.mark.parametrize(("kind", "point"), [(kind, point) for kind in CRITICAL for point in CRITICAL[kind]])
def test_without_a_critical_point_it_is_no_ice_point(kind, point):
    made = bath(kind, ALL - {point}, left=frozenset({point}))
    assert not made.usable
    assert made.why[0] == "The bath does not stand for 0 °C."
    assert MISSING[point] in made.why


def test_cubes_stirred_in_water_are_worth_two_tenths():
    made = bath(STIRRED, frozenset(WANTED[STIRRED]))
    assert (made.usable, made.within) == (True, 0.2)


@pytest.mark.parametrize(("kind", "word"), [(BathKind.UNSTIRRED, "stirs"), (BathKind.UNCONFIRMED, "confirmed")])
def test_an_unstirred_or_unknown_bath_is_no_check_however_carefully_it_was_made(kind, word):
    made = bath(kind)
    assert not made.usable
    assert word in " ".join(made.why)


def test_every_point_that_can_be_missing_has_words():
    assert set(MISSING) == set(UNCONFIRMED) == ALL
    assert all(sentence.endswith(".") for sentence in (*MISSING.values(), *UNCONFIRMED.values()))


def test_a_business_may_use_widths_of_its_own():
    widths = BathWidths(complete=0.02, incomplete=0.1, stirred=0.5)
    assert bath(widths=widths).within == 0.02
    assert bath(points=ALL - {BathPoint.CRUSHED}, widths=widths).within == 0.1
    assert bath(points=ALL - {BathPoint.DRAINED}, widths=widths).within == 0.5
    assert bath(STIRRED, widths=widths).within == 0.5


def test_the_words_give_a_width_of_thousandths_in_full():
    """0.002 °C is what ASTM E563 names as attainable (from memory)."""
    assert "within 0.002 °C" in bath(widths=BathWidths(complete=0.002)).why[0]


@pytest.mark.parametrize(
    "given", [{"complete": 0.0}, {"complete": 0.1}, {"stirred": 0.01}, {"incomplete": float("nan")}]
)
def test_widths_that_do_not_grow_are_refused(given):
    with pytest.raises(ValueError, match="half-widths above 0 °C that grow"):
        BathWidths(**given)


@given(kinds, points, points)
def test_doing_more_never_makes_a_bath_worse(kind, done, more):
    less, full = bath(kind, done), bath(kind, done | more)
    assert full.usable >= less.usable
    assert full.within <= less.within
