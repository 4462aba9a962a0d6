"""Where nothing was made, read or due, or the book had not begun, the record says that, and not that all was well."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from compliance.checks.actions import void_check
from compliance.checks.instruments import register_probe
from compliance.records.sections import cases, deviations, failures, title
from sites.models import SiteSettings
from tests.checks import making
from tests.world import make_reading

from .making import record_of, scope_of, section, section_of, sections_of

pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, noon UTC
FIRST, LAST = date(2026, 3, 1), date(2026, 3, 10)
CHECKS = "Checks that did not pass, in full"
WELL = (
    "Every check",
    "Each of the",
    "passed.",
    "No reading of the period",
    "Nothing was left open",
    "No probe of this site",
)


def hours_ago(hours: float):
    return timezone.now() - timedelta(hours=hours)


@pytest.fixture
def kept(world):
    """The book is kept since long ago."""
    begun = timezone.now() - timedelta(days=400)
    SiteSettings.objects.create(site=world.site, area=world.area, name=world.site.name, recorded_at=begun)
    return world


def test_of_a_period_without_a_check_and_a_reading_nothing_is_praised(kept):
    text = record_of(kept.site, FIRST, LAST)
    assert "No check was made in this period" in section(text, CHECKS)
    assert "No reading was taken in this period." in section(text, "Deviations and what was done")
    assert "No reading was taken in this period." in section(text, "Cases of quarantine and decisions")
    assert "It is not recorded that a probe" in section(text, "What no entry was made of")
    assert not [words for words in WELL[:5] if words in text] and "book" not in text.split("Summary")[0]


def test_checks_that_were_made_are_counted_where_each_passed(kept):
    making.good(kept.probe, kept.cook, hours_ago(60))
    assert "The one check made in the period passed." in section_of(kept.site, CHECKS, FIRST, LAST)
    second = making.good(kept.probe, kept.cook, hours_ago(50))
    make_reading(kept.probe, kept.limit, "3.5", hours_ago(49), by=kept.cook)
    text = sections_of(scope_of(kept.site, FIRST, LAST), failures, deviations, cases)
    assert "Each of the 2 checks made in the period passed." in text
    assert "No reading of the period failed to meet its limit." in text and "No reading of the period is or was" in text
    void_check(by=kept.supervisor, check=second, reason="Another probe.")
    assert "The one check made in the period passed." in section_of(kept.site, CHECKS, FIRST, LAST)


def test_a_check_that_is_void_is_none(kept):
    void_check(by=kept.supervisor, check=making.good(kept.probe, kept.cook, hours_ago(60)), reason="Another probe.")
    assert "No check was made in this period" in section_of(kept.site, CHECKS, FIRST, LAST)


@pytest.mark.parametrize("first", [date(2026, 2, 1), date(2026, 3, 1)])
def test_a_period_before_the_book_says_since_when_it_is_kept_and_that_it_says_nothing_of_before(world, first):
    """The stock site and probe came into the book today."""
    text = record_of(world.site, first, LAST)
    title = text.split(" Summary ")[0]
    assert (
        "The book of this site is kept since 11 Mar 2026. Of the days before, this record holds only what was" in title
    )
    assert "that does not mean that all was well" in title
    for heading in (
        CHECKS,
        "Deviations and what was done",
        "Planned and done",
        "What no entry was made of",
        "Cases of quarantine and decisions",
        "Probes and their checks",
    ):
        assert "kept since 11 Mar 2026, so this says nothing of the days before" in section(text, heading), heading


def test_a_period_partly_before_the_book_says_so_and_one_after_it_does_not(kept):
    since = timezone.now() - timedelta(days=400)
    day = since.date()
    before = scope_of(kept.site, day - timedelta(days=1), day + timedelta(days=2))
    assert f"kept since {day.day} Feb 2025" in sections_of(before, title)
    assert "kept since" not in record_of(kept.site, day, day + timedelta(days=2))


def test_a_probe_that_came_later_is_not_told_of_before(kept):
    probe = register_probe(by=kept.manager, site=kept.site, code="P7")
    text = record_of(kept.site, FIRST, LAST)
    assert probe.code not in text
