"""Blank forms for a day: what falls due then, each line once, with room to write; one tap from Today."""

import io
from datetime import UTC, datetime, time, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from compliance.plans.actions import set_round
from compliance.plans.calendar import local_day
from compliance.plans.data import RoundData
from compliance.records.blank_forms import SPARE_READINGS, write_blank_forms
from compliance.reminders.planning import add_appliance
from tests.checks import making
from tests.printed_text import words_of

pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, noon UTC


def forms_of(site, days_ahead: int = 0) -> PdfReader:
    out, now = io.BytesIO(), timezone.now()
    day = local_day(now, site.zone) + timedelta(days=days_ahead)
    write_blank_forms(out, site, day, printed_by="Rue Danby", now=now)
    return PdfReader(io.BytesIO(out.getvalue()))


@pytest.fixture
def rounds(world):
    """Of two appliances at two times."""
    for name in ("Dairy fridge", "Walk-in chiller"):
        add_appliance(by=world.manager, limit=world.limit, name=name)
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(13), time(16, 30)]))


def test_each_reading_that_falls_due_has_a_line_with_its_limit(world, rounds):
    text = words_of(forms_of(world.site)).replace("\N{NO-BREAK SPACE}", " ")
    for name in ("Dairy fridge", "Walk-in chiller"):
        for due in ("13:00", "16:30"):
            assert f"{name} (Cold holding) at most 5 °C {due}" in text
    for box in ("Time", "Number, °C", "Initials", "Probe"):
        assert box in text


def test_a_probe_that_is_overdue_has_one_line_that_says_since_when(world, clock):
    """The next after that would fall due today, too."""
    clock.move_to(datetime(2026, 3, 11, 5, tzinfo=UTC))
    making.good(world.probe, world.cook, timezone.now() - timedelta(days=14))
    text = words_of(forms_of(world.site))
    assert text.count("Check probe P1") == 1 and "4 Mar 2026" in text


def test_what_falls_due_on_another_day_is_on_the_form_of_that_day(world, rounds):
    making.good(world.probe, world.cook, timezone.now() - timedelta(hours=1))
    assert "Check probe P1" not in words_of(forms_of(world.site))
    assert "Check probe P1" in words_of(forms_of(world.site, 7))
    assert words_of(forms_of(world.site, 1)).count("Dairy fridge") == 2


def test_there_are_frames_to_write_in_and_spare_lines(world):
    """Five a line, of readings as of checks; two lines of checks are spare."""
    page = forms_of(world.site).pages[0].get_contents().get_data().decode("latin-1")
    lines = SPARE_READINGS * 5 + 2 * 5 + 5 * ("Check probe P1" in words_of(forms_of(world.site)))
    assert page.count(" re") >= lines


def test_it_is_one_tap_from_today_for_a_reader_and_a_stranger_finds_nothing(world, as_person):
    url = reverse("blank_forms", args=[world.site.pk])
    assert f'href="{url}"' in as_person(world.reader).get(reverse("today_site", args=[world.site.pk])).content.decode()
    for day in ("", "2026-03-12", "2020-01-01", "nonsense"):
        answer = as_person(world.reader).get(url, {"day": day})
        name = "blank-alder-school-2026-03-12.pdf" if day == "2026-03-12" else "blank-alder-school-2026-03-11.pdf"
        assert name in answer["Content-Disposition"] and b"".join(answer.streaming_content).startswith(b"%PDF")
    assert as_person(world.stranger).get(url).status_code == 404
