"""The text of a printed check against what is stored, for every kind of check; who may print it, and on which paper."""

import io
import re
from functools import partial
from math import sqrt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from compliance.checks import actions
from compliance.checks.access import get_check
from compliance.checks.kinds import kind_of
from compliance.checks.models import Check
from compliance.metrology.bath import BathKind, BathPoint, Preparation
from compliance.metrology.conformity import told_risk
from compliance.records.check_record import write_check
from shared.units import difference_from_milli, number, show
from sites.models import Business, Site
from tests.checks.making import bad, boiling, certificate, correct_zero, dead, event, good, unclear, zero
from tests.printed_text import words_of, words_on
from tests.records.making import at, section_of
from tests.remembered import remembered

NBSP = "\N{NO-BREAK SPACE}"
HEADINGS = (
    "What this check says",
    "What was checked, where, when and by whom",
    "What it was held against",
    "What the display showed",
    "From the reading to the verdict",
    "Uncertainty budget",
    "Where the figures come from",
    "Signatures",
    "What comes first",
)
KINDS = {
    "zero": lambda probe, by: good(probe, by, at(3)),
    "failed": lambda probe, by: bad(probe, by, at(3)),
    "unclear": lambda probe, by: unclear(probe, by, at(3)),
    "unsettled": lambda probe, by: zero(probe, by, at(3), readings=[(5000, "8.0", "C"), (20_000, "2.0", "C")]),
    "no figure": lambda probe, by: dead(probe, by, at(3), readings=[(5000, "8.0", "C")]),
    "boiling": lambda probe, by: boiling(probe, by, at(3)),
    "certificate": lambda probe, by: certificate(probe, by, at(3)),
}


@pytest.fixture
def now(clock):
    clock.move_to(at(10, 12))


def pdf_of(check, reader) -> PdfReader:
    out = io.BytesIO()
    write_check(out, get_check(reader, check.pk), printed_by=reader.name, now=timezone.now())
    return PdfReader(io.BytesIO(out.getvalue()))


def print_of(check, reader) -> str:
    return words_of(pdf_of(check, reader)).replace(NBSP, " ")


def part(text: str, heading: str) -> str:
    """What stands between a heading and the next one that this record has."""
    rest = text.split(f" {heading} ", 1)[1]
    return min((rest.split(f" {other} ", 1)[0] for other in HEADINGS if other != heading), key=len)


def made_and_printed(kind, world) -> tuple[Check, str]:
    check = KINDS[kind](world.probe, world.manager)
    return check, print_of(check, world.reader)


MADE = {kind: partial(made_and_printed, kind) for kind in KINDS}


@pytest.fixture(params=KINDS)
def made(request, now, world) -> tuple[Check, str]:
    """A check of each kind, and the text of its print."""
    return remembered(MADE[request.param], world)


@pytest.fixture
def check(made) -> Check:
    return made[0]


@pytest.fixture
def text(made) -> str:
    return made[1]


def test_the_verdict_comes_first_and_in_words(check, text):
    assert text.index("What this check says") < text.index("What was checked, where")
    said = part(text, "What this check says")
    assert f"Verdict {check.get_verdict_display().capitalize()}" in said
    assert all(" ".join(line.split()) in said for line in check.why[1:])


def test_what_where_when_and_by_whom(check, text):
    about = part(text, "What was checked, where, when and by whom")
    for words in ("Probe P1", "thermistor", "Alder School", "Checked 3 Mar 2026 09:00 GMT", "By Mara Holt", "As found"):
        assert words in about
    late = "" if check.kind == "certificate" else "late, "
    assert f"Entered {late}10 Mar 2026 12:00 GMT, by Mara Holt" in about


def test_every_timed_reading_stands_there_as_it_was_typed(check, text):
    stored = [(t.typed, t.value_milli) for t in check.timed_readings.all()]
    if not stored:
        assert "What the display showed" not in text
        return
    rows = re.findall(
        r"\d+ \d+:\d\d (\S+) °C (\S+ °C) (settled|not yet settled)", part(text, "What the display showed")
    )
    assert [(typed, shown) for typed, shown, _ in rows] == [(typed, show(milli, "C", 2)) for typed, milli in stored]
    counted = sum(word == "settled" for *_, word in rows)
    assert counted == (check.budget["settling"]["count"] if check.reading_milli is not None else 0)


def test_the_figures_are_those_that_are_stored(check, text):
    result = part(text, "From the reading to the verdict")
    if check.error_milli is not None:
        assert (
            f"Error of the probe {number(difference_from_milli(check.error_milli, 'C'), 2, signed=True)} °C" in result
        )
        assert f"Reading {show(check.reading_milli, 'C', 2)}" in result
    assert f"Reference {show(check.reference_milli, 'C', 2)}" in result
    assert "Tolerance ±1.00 °C" in result and "guard band w = U" in result
    risk = check.budget.get("conformity", {}).get("risk")
    provided = kind_of(check).provided
    wrong = "it claims nothing" if check.verdict == "inconclusive" else "cannot be told"
    wrong = wrong if risk is None or check.verdict == "inconclusive" else f"{told_risk(risk)}, {provided}"
    assert f"Chance this is wrong {wrong}".replace(NBSP, " ") in result


LINE = re.compile(r"(<0\.0001|±\d\.\d{4}) (normal|rectangular) (<0\.0001|\d\.\d{4}) ")


def test_the_whole_budget_is_there_and_adds_up(check, text):
    """JCGM 100:2008, eq. (10): the combined uncertainty is the root of the sum of squares; 4.3.7: u = a/√3 of a rectangle."""
    text, parts = part(text, "Uncertainty budget"), check.budget.get("components", [])
    lines = LINE.findall(text)
    assert [shape for _, shape, _ in lines] == [p["distribution"] for p in parts]
    assert all(p["name"].capitalize() in text and p["why"] in text for p in parts)
    if not parts:
        assert "There is none" in text or "laboratory states" in text
        return
    standards = [0.0 if "<" in u else float(u) for *_, u in lines]
    combined = float(re.search(r"Combined standard u (\d\.\d{4})", text)[1])
    assert combined == pytest.approx(sqrt(sum(u * u for u in standards)), abs=2e-4)
    for value, shape, standard in lines:
        if "<" not in value + standard:
            width = float(value.lstrip("±"))
            assert float(standard) == pytest.approx(width / sqrt(3) if shape == "rectangular" else width, abs=1.01e-4)
    factor = float(re.search(r"Coverage factor k (\d\.\d\d)", text)[1])
    assert float(re.search(r"U = k · u ±(\d\.\d{4})", text)[1]) == pytest.approx(factor * combined, rel=0.01)


def test_a_reading_that_was_probably_mistyped_stands_there_with_its_question(now, probe, cook, reader, as_person):
    typed = [(5, "8.0"), (30, "0.1"), (40, "0.1"), (50, "1.0"), *((at_s, "0.1") for at_s in (60, 70, 80, 90))]
    check = zero(probe, cook, at(3), readings=[(1000 * at_s, text, "C") for at_s, text in typed])
    asked = "Reading 4 shows 1 at 50 s; was 0.1 meant?"
    text = part(print_of(check, reader), "What the display showed")
    assert f"4 0:50 1.0 °C 1.00 °C not yet settled Probably mistyped: {asked} 5 1:00" in text
    assert asked in as_person(reader).get(reverse("check_detail", args=[check.pk])).content.decode()


def test_each_point_of_the_preparation_is_met_not_done_or_not_confirmed(now, probe, cook, reader):
    points = frozenset(BathPoint) - {BathPoint.DRAINED}
    bath = Preparation(
        kind=BathKind.PACKED_CRUSHED, points=points - {BathPoint.PACKED}, left=frozenset({BathPoint.DRAINED})
    )
    against = part(print_of(good(probe, cook, at(3), bath=bath), reader), "What it was held against")
    assert "Free water was drained not done" in against and "The ice was crushed fine met" in against
    assert "The ice was pressed against the stem not confirmed" in against
    assert against.count(" not met") == 0 and against.count(" met") == len(points) - 1


def test_a_bath_that_was_not_made_properly_is_given_no_figure_of_worth(now, probe, cook, reader):
    text = print_of(unclear(probe, cook, at(3)), reader)
    assert "which stands for no known temperature" in text and "Chance it is in tolerance cannot be told" in text
    assert "it vouches for nothing" in part(text, "Uncertainty budget")


def test_a_boiling_check_says_where_its_reference_is_from(now, probe, cook, reader):
    check = boiling(probe, cook, at(3), immersion_mm=60.0)
    text = print_of(check, reader)
    against = part(text, "What it was held against")
    # At 95 300 Pa water boils at 98.2657 °C (the library iapws).
    assert "Water at a rolling boil, 98.27 ±" in against
    assert (
        "Pressure 953 hPa, from a barometer here; of this place, as somebody said; altitude" in against
        and "60 mm" in against
    )
    assert "IAPWS R7-97(2012)" in text


def test_a_certificate_names_its_laboratory(now, probe, manager, reader):
    text = print_of(certificate(probe, manager, at(3)), reader)
    assert "Laboratory Fen Measurement" in text and "Certificate F-77" in text


def test_as_found_and_as_left_stand_beside_each_other(now, probe, cook, reader):
    found = bad(probe, cook, at(3))
    altered = event(probe, cook, "adjusted", at(3, 10))
    left = good(probe, cook, at(3, 11), stage="as_left")
    assert f"Before: C{found.pk}, 3 Mar 2026 09:00, as found, out of tolerance, error +2.40 °C" in print_of(
        left, reader
    )
    text = print_of(found, reader)
    assert (
        f"E{altered.pk}, 3 Mar 2026 10:00: adjusted" in text and f"After: C{left.pk}, 3 Mar 2026 11:00, as left" in text
    )
    assert f"case C{found.pk}" in text


def test_a_void_check_says_so_before_anything_else(now, world, probe, cook, reader):
    check = good(probe, cook, at(3))
    actions.void_check(by=world.supervisor, check=check, reason="Wrong probe")
    text = print_of(check, reader)
    assert text.index("this check no longer counts") < text.index("What this check says")
    assert "By Sol Venn, 10 Mar 2026 12:00: Wrong probe. Nothing stands in its place." in text
    assert "What follows Nothing: it was struck out." in text and "may be used" not in text


def test_a_corrected_check_and_its_correction_name_each_other(now, world, probe, cook, reader):
    old = zero(probe, cook, at(3), note="first")
    new = correct_zero(old, world.supervisor, "0.2", "Stem was wet")
    assert f"In its place: C{new.pk}." in print_of(old, reader)
    assert f"It stands in place of C{old.pk}" in print_of(new, reader)


def test_a_good_zero_check_never_clears_on_paper_what_failed_at_boiling(now, site, probe, cook, reader):
    failed = boiling(probe, cook, at(3), "101.9")
    check = good(probe, cook, at(4))
    said = part(print_of(check, reader), "What this check says")
    assert f"it did not clear the probe: C{failed.pk}, away from zero, had failed" in said and "may be used" not in said
    listed = section_of(site, "Probes and their checks")
    assert f"It did not clear the probe: C{failed.pk}, away from zero, had failed and was not made good." in listed
    boiling(probe, cook, at(5))
    later = good(probe, cook, at(6))
    assert "In tolerance: the probe passed this check." in print_of(later, reader)
    assert "did not clear" in print_of(check, reader)  # what it was worth on its day does not change


def test_nothing_on_paper_says_that_a_probe_may_be_used(text):
    assert "may be used." not in text.replace("Whether it may be used,", "")


def test_in_fahrenheit_every_width_is_one_point_eight_times_as_wide(now, probe, cook, reader):
    check = good(probe, cook, at(3))
    celsius = LINE.findall(part(print_of(check, reader), "Uncertainty budget"))
    Site.objects.update(unit="F")
    text = print_of(check, reader)
    fahrenheit = LINE.findall(part(text, "Uncertainty budget"))
    widths = [[float(value.lstrip("±")) for value, *_ in lines if "<" not in value] for lines in (celsius, fahrenheit)]
    assert widths[1] == pytest.approx([1.8 * width for width in widths[0]], abs=2e-4)
    assert "Reference 32.00 °F" in text and "Value, °F" in text


def test_it_is_signed_by_name_and_meaning(check, text):
    signed = part(text, "Signatures")
    assert "Mara Holt" in signed and "Reviewed" in signed and "Name and signature" in signed
    assert ("Entered" if check.kind == "certificate" else "I made this check as it is described here") in signed


@pytest.mark.parametrize(("paper", "width"), [("A4", 595), ("Letter", 612)])
def test_the_paper_is_that_of_the_site(now, probe, cook, reader, paper, width):
    check = good(probe, cook, at(3))
    Site.objects.update(paper=paper)
    pages = pdf_of(check, reader).pages
    assert {round(page.mediabox.width) for page in pages} == {width}
    for number_, page in enumerate(pages, start=1):
        text = words_on(page)
        assert f"Page {number_} of {len(pages)}" in text and "Larkfield Kitchens" in text


def test_a_reader_prints_and_a_stranger_finds_nothing(now, world, as_person, probe, cook):
    check = good(probe, cook, at(3))
    url = reverse("check_print", args=[check.pk])
    assert url == f"/checks/{check.pk}/print/"
    answer = as_person(world.reader).get(url)
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.headers["Content-Disposition"] == f'inline; filename="check-c{check.pk}-p1.pdf"'
    assert b"".join(answer.streaming_content).startswith(b"%PDF")
    assert as_person(world.stranger).get(url).status_code == 404
    assert as_person(world.reader).post(url).status_code == 405
    page = as_person(world.reader).get(reverse("check_detail", args=[check.pk])).content.decode()
    assert f'href="{url}"' in page


def test_printing_writes_nothing_and_costs_the_same_for_any_number_of_readings(now, probe, cook, reader):
    counts = []
    for count in (10, 60):
        check = zero(probe, cook, at(3), readings=[(30_000 + 5000 * n, "0.1", "C") for n in range(count)])
        with CaptureQueriesContext(connection) as queries:
            pdf_of(check, reader)
        assert not [q for q in queries if q["sql"].lstrip()[:6].upper() in ("INSERT", "UPDATE", "DELETE")]
        counts.append(len(queries))
        actions.void_check(by=cook, check=check, reason="Again")
    assert counts[0] == counts[1]


def test_what_people_typed_is_text_and_nothing_else(now, probe, cook, reader):
    Business.objects.update(name="<b>Fen</b> ) Tj ET")
    check = good(probe, cook, at(3), note="<script>alert(1)</script> %%EOF")
    text = print_of(check, reader)
    assert "<script>alert(1)</script> %%EOF" in text and "<b>Fen</b> ) Tj ET" in text
