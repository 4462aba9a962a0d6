"""A good check never says that a probe may be used while its other end is in doubt."""

import pytest

from compliance.checks.models import Check
from compliance.checks.telling import told

from .making import bad, boiling, certificate, day, good


def page_of(check):
    return told(Check.objects.get(pk=check.pk))


def test_a_good_zero_check_after_a_failed_boiling_check_does_not_clear_the_probe(probe, cook):
    boiling(probe, cook, day(0), "101.9")
    page = page_of(good(probe, cook, day(1)))
    assert page["next"]["heading"] == "Do not use it yet" and "at boiling" in page["next"]["steps"][0]
    assert "do not use it yet" in page["headline"]


def test_once_cured_it_does(probe, cook):
    boiling(probe, cook, day(0), "101.9")
    boiling(probe, cook, day(1), "98.4")
    page = page_of(good(probe, cook, day(2)))
    assert page["next"]["heading"] == "You may use it" and "may be used" in page["headline"]


def test_a_good_boiling_check_after_a_failed_zero_check_says_no_more_than_it_knows(probe, cook):
    bad(probe, cook, day(0))
    page = page_of(boiling(probe, cook, day(1), "98.4"))
    assert page["next"]["heading"] == "It is right at boiling" and "at zero" in " ".join(page["next"]["steps"])


def test_a_certificate_away_from_zero_alone_does_not_clear_a_probe(probe, cook):
    page = page_of(certificate(probe, cook, day(0), reference_milli=60_000))
    assert page["next"]["heading"] == "Do not use it yet" and "do not use it yet" in page["headline"]


@pytest.mark.parametrize("at", [0, 7])
def test_a_good_boiling_check_beside_a_good_zero_check_is_right(probe, cook, at):
    good(probe, cook, day(0))
    assert page_of(boiling(probe, cook, day(at), "98.4"))["next"]["heading"] == "It is right at boiling"
