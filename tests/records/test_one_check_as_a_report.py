"""A printed check held against what ISO/IEC 17025:2017, 7.8.2.1 and 7.8.6, asks of a report of a calibration."""

import re
from math import ceil

import pytest

from compliance.checks.actions import void_check
from compliance.checks.kinds import USUAL
from compliance.checks.tables import off_by
from compliance.records.formatting import uncertainty
from tests.checks.making import event, good
from tests.printed_text import words_of, words_on
from tests.records.making import at
from tests.records.test_one_check import NBSP, part, pdf_of, print_of


@pytest.fixture(autouse=True)
def now(clock):
    clock.move_to(at(10, 12))


def test_it_ends_with_a_mark_and_relates_to_this_probe_only(probe, cook, reader):
    check = good(probe, cook, at(3))
    last = words_of(pdf_of(check, reader)).split("What comes first")[-1]
    assert "These results relate only to probe P1" in last and f"End of the print of check C{check.pk}." in last


def test_it_names_the_procedure_and_the_version_in_force_when_it_was_entered(probe, cook, reader, monkeypatch):
    monkeypatch.setattr(USUAL, "version", 3)
    check = good(probe, cook, at(3))
    monkeypatch.setattr(USUAL, "version", 4)
    about = part(print_of(check, reader), "What was checked, where, when and by whom")
    assert "Procedure Zero-point check (version 3, in force when this check was first entered), step by step" in about


def test_of_an_older_check_it_says_that_the_version_is_not_recorded(probe, cook, reader, monkeypatch):
    monkeypatch.setattr(USUAL, "version", None)
    about = part(print_of(good(probe, cook, at(3)), reader), "What was checked, where, when and by whom")
    assert "Procedure Zero-point check, step by step, as described below. Its version is not recorded." in about


def test_the_condition_of_the_probe_is_what_happened_to_it_since_the_check_before(probe, cook, reader):
    first = good(probe, cook, at(3))
    assert "Nothing that happened to it is recorded before this check." in print_of(first, reader)
    dropped = event(probe, cook, "dropped", at(4))
    second = good(probe, cook, at(5))
    event(probe, cook, "new_battery", at(6))
    told = f"Condition Recorded since check C{first.pk}: dropped, 4 Mar 2026 09:00 (E{dropped.pk})."
    assert told in print_of(second, reader)


def test_it_says_where_zero_comes_from(probe, cook, reader):
    """H. Preston-Thomas, The International Temperature Scale of 1990, Metrologia 27 (1990): 273.16 K at the triple point."""
    text = part(print_of(good(probe, cook, at(3)), reader), "Where the figures come from")
    assert "melting ice realises it" in text and "the triple point of water is at 273.16 K" in text


def test_a_void_check_is_marked_on_every_page(world, probe, cook, reader):
    check = good(probe, cook, at(3))
    pages = pdf_of(check, reader).pages
    assert len(pages) > 1 and not [page for page in pages if "void" in words_on(page)]
    void_check(by=world.supervisor, check=check, reason="Wrong probe")
    pages = pdf_of(check, reader).pages
    assert all(f"Check C{check.pk} (void), 3 Mar 2026 09:00 GMT" in words_on(page) for page in pages)


def test_the_times_of_the_check_name_their_zone(probe, cook, reader):
    text = print_of(good(probe, cook, at(3)), reader)
    assert "Checked 3 Mar 2026 09:00 GMT" in text and "10 Mar 2026 12:00 GMT, by" in text


def test_the_uncertainty_is_rounded_in_one_way_everywhere(probe, cook, reader):
    """Upwards: JCGM 100:2008, 7.2.6. 61 m°C rounded to the nearest would look surer than they are."""
    check = good(probe, cook, at(3))
    wide = f"±{ceil(check.expanded_milli / 10) / 100:.2f} °C"
    text = print_of(check, reader)
    for words in (r"Error, ± U \(95 %\) \S+ °C ", r"Uncertainty U \(95 %\) ", "given as "):
        assert re.search(words + wide, text), words
    check.expanded_milli = 61
    assert off_by(check, "C").endswith("± 0.07 °C") and uncertainty(61, "C").replace(NBSP, " ") == "±0.07 °C"
