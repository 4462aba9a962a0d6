"""States are told by a word and a shape; the words are those of the pictures."""

import pytest

from compliance.metrology import vocabulary
from shared.badges import BADGES, SHAPES, badge, shape
from shared.charts.patterns import STANDINGS, VERDICTS


@pytest.mark.parametrize("kind", BADGES)
def test_within_a_kind_each_state_has_a_word_and_a_shape_of_its_own(kind):
    looks = BADGES[kind].values()
    assert len({look.word for look in looks}) == len(looks)
    assert len({(look.shape, look.tone) for look in looks}) == len(looks)


@pytest.mark.parametrize("kind", ["standing", "verdict", "outcome", "case"])
def test_what_decides_on_food_never_shares_a_shape(kind):
    looks = BADGES[kind].values()
    assert len({look.shape for look in looks}) == len(looks)


def test_words_are_those_of_the_pictures():
    assert {v: b.word.lower() for v, b in BADGES["standing"].items()} == {v: s.word for v, s in STANDINGS.items()}
    assert {v: b.word.lower() for v, b in BADGES["verdict"].items()} == VERDICTS


@pytest.mark.parametrize("kind", ["standing", "verdict", "outcome", "stage"])
def test_every_state_of_the_measurement_has_a_badge(kind):
    assert {str(member) for member in getattr(vocabulary, kind.capitalize())} == set(BADGES[kind])


def test_a_badge_shows_its_word_outside_the_drawing():
    drawn = badge("standing", "quarantined")
    assert drawn.endswith("</svg>Quarantined</span>")
    assert 'aria-hidden="true"' in drawn


def test_an_unknown_state_says_which_are_known():
    with pytest.raises(LookupError, match="in_tolerance/out_of_tolerance/inconclusive"):
        badge("verdict", "<b>fine</b>")


def test_shapes_of_badges_exist():
    assert {look.shape for looks in BADGES.values() for look in looks.values()} <= set(SHAPES)
    with pytest.raises(KeyError):
        shape("heart")
