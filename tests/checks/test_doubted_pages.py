"""A good check never says that a probe may be used while its other end is in doubt."""

import pytest
from django.urls import reverse

from compliance.checks.budget import fine, lines_of, totals_of
from compliance.checks.check_page import told
from compliance.checks.models import Check
from compliance.checks.queries import not_cleared

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


def test_the_list_of_checks_says_which_good_ones_did_not_clear_the_probe(probe, cook, as_person):
    boiling(probe, cook, day(0), "101.9")
    good(probe, cook, day(1))
    listed = as_person(cook).get(reverse("probe_detail", args=[probe.pk])).content.decode()
    assert listed.count("did not clear the probe") == 1
    boiling(probe, cook, day(2))
    good(probe, cook, day(3))
    listed = as_person(cook).get(reverse("probe_detail", args=[probe.pk])).content.decode()
    assert listed.count("did not clear the probe") == 1  # cured since; what the earlier one was worth stays


def test_an_earlier_good_check_speaks_of_its_own_day_only(probe, cook):
    first = good(probe, cook, day(0))
    bad(probe, cook, day(2))
    assert page_of(first)["headline"] == "In tolerance when it was checked."


def test_a_failure_at_boiling_afterwards_is_no_reproach_to_the_check_before(probe, cook):
    first = good(probe, cook, day(0))
    boiling(probe, cook, day(2), "101.9")
    assert not_cleared([first]) == {}


def test_the_budget_of_a_check_is_told_in_the_unit_of_its_site(probe, cook):
    check = good(probe, cook, day(0))
    combined = check.budget["combined"]
    assert totals_of(check)[0] == ("Combined standard u", f"{combined:.4f} °C")
    check.site.unit = "F"
    assert totals_of(check)[0] == ("Combined standard u", f"{1.8 * combined:.4f} °F")
    assert lines_of(certificate(probe, cook, day(1))) == [] == totals_of(certificate(probe, cook, day(2)))


@pytest.mark.parametrize(
    ("width", "shown"), [(0.0, "0.0000"), (0.00004, "<0.0001"), (0.00005, "0.0001"), (0.25, "0.2500")]
)
def test_a_width_that_is_too_small_to_show_is_not_shown_as_nothing(width, shown):
    assert fine(width, "C") == shown
