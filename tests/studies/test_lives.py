"""A small run of the study of probe lives. Shares are of readings that share a life, so thresholds leave room for that."""

import pytest

from .lives import ASKED, Result, study
from .oracle import Knowledge
from .probe_lives import Form


@pytest.fixture(scope="module")
def result() -> Result:
    return study(50, 11)


def test_every_form_comes_into_quarantine(result):
    assert [each.form for each in result.forms] == list(Form)
    assert all(each.lives >= 20 and each.readings >= 300 for each in result.forms)


@pytest.mark.parametrize("number", range(len(Form)))
def test_the_truth_lies_in_the_stated_range(result, number):
    assert result.forms[number].assessment.in_range >= 0.94


def test_what_is_called_held_was_held(result):
    assert result.pooled(lambda each: each.assessment.held_wrong) < 0.005


def test_what_is_called_broken_was_broken(result):
    assert result.pooled(lambda each: each.assessment.broken_wrong) < 0.02


@pytest.mark.parametrize("knowledge", Knowledge)
def test_the_oracle_keeps_its_own_promise(result, knowledge):
    """Else its share of undecided readings would be no measure."""
    assert 0.93 <= result.pooled(lambda each: each.oracles[knowledge].in_range) <= 0.985


def test_knowing_more_leaves_less_undecided(result):
    shares = [result.pooled(lambda each, k=k: each.oracles[k].undecided) for k in Knowledge]
    assert shares == sorted(shares, reverse=True)
    assert shares[0] < result.pooled(lambda each: each.assessment.undecided)


def test_who_knows_the_catalogue_and_is_not_told_of_the_fall_decides_hardly_more(result):
    """1.28 to 1.36 with 80 lives, by the seed."""
    assert result.ratio(Knowledge.JUMP) <= ASKED


def test_who_is_told_of_the_fall_decides_more_than_was_asked(result):
    """1.5 is not met: the assessment is told of no fall. 1.67 to 1.76 with 80 lives, by the seed."""
    assert ASKED < result.ratio(Knowledge.FORM) <= 1.9


def test_who_is_told_of_the_fall_decides_more_of_what_fell(result):
    fell = next(each for each in result.forms if each.form is Form.DROP)
    assert fell.oracles[Knowledge.JUMP].undecided > 2 * fell.oracles[Knowledge.FORM].undecided


def test_a_step_at_an_unknown_time_leaves_little_more_undecided_than_it_must(result):
    step = next(each for each in result.forms if each.form is Form.STEP)
    assert step.assessment.undecided <= 1.5 * step.oracles[Knowledge.JUMP].undecided


def test_the_same_seed_gives_the_same_result():
    assert study(2, 5) == study(2, 5)
