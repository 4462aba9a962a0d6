"""A sheet of paper is entered afterwards: each line at its own time, under who read it, with who entered it and when."""

from datetime import UTC, datetime

import pytest
from django.urls import reverse

from compliance.checks.models import Check
from compliance.readings.models import Reading
from compliance.reminders.planning import add_appliance
from tests.checks import making
from tests.records.making import section_of

MORNING = datetime(2026, 3, 9, 8, tzinfo=UTC)


@pytest.fixture(autouse=True)
def later(clock, world):
    """The probe is good; it is a day later."""
    making.good(world.probe, world.cook, datetime(2026, 3, 9, 6, tzinfo=UTC))
    return clock


@pytest.fixture
def sheet(as_person, world):
    return Sheet(as_person(world.manager), world)


class Sheet:
    def __init__(self, client, world):
        self.client, self.url = client, f"{reverse('reading_paper')}?site={world.site.pk}"
        self.world, self.limit, self.probe = world, f"limit-{world.limit.pk}", world.probe.pk
        lines = client.get(self.url).context["sheet"].lines
        self.keys = {f"{line.prefix}-key": line["key"].value() for line in lines}

    def send(self, *lines, **head):
        told = {"day": "2026-03-09", "taken_by": self.world.cook.pk, **head}
        for number, line in enumerate(lines):
            full = {"what": self.limit, "probe": self.probe, "item": "Soup", **line}
            told |= {f"line-{number}-{name}": value for name, value in full.items()}
        return self.client.post(self.url, told | self.keys)


def test_each_line_stands_at_its_own_time_under_who_read_it(sheet, world):
    fridge = add_appliance(by=world.manager, limit=world.limit, name="Milk fridge")
    sheet = Sheet(sheet.client, world)
    answer = sheet.send(
        {"at": "08:00", "typed": "4.1"}, {"at": "1015", "typed": "3,9", "what": f"appliance-{fridge.pk}", "item": ""}
    )
    assert answer.status_code == 302
    soup, milk = Reading.objects.order_by("taken_at")
    assert (soup.taken_at, soup.taken_by, soup.recorded_by) == (MORNING, world.cook, world.manager)
    assert (milk.item, milk.appliance, milk.taken_at.hour, milk.value_milli) == ("Milk fridge", fridge, 10, 3900)


def test_page_and_paper_name_who_read_who_entered_and_when(sheet, world):
    sheet.send({"at": "08:00", "typed": "4.1"})
    page = sheet.client.get(reverse("reading_detail", args=[Reading.objects.get().pk])).content.decode()
    for words in ("Taken by", world.cook.name, "Entered", f"by {world.manager.name}", "Entered late"):
        assert words in page
    listed = sheet.client.get(reverse("reading_list")).content.decode()
    assert "Entered late" in section_of(world.site, "Readings") and "Entered late" in listed


def test_a_line_that_cannot_be_stays_and_the_others_are_saved_once(sheet):
    answer = sheet.send({"at": "08:00", "typed": "4.1"}, {"at": "8 o'clock", "typed": "4.2"}, {"at": "09:00"})
    text = answer.content.decode()
    assert answer.status_code == 422 and Reading.objects.count() == 1
    assert "such as 08:15" in text and "Type what was read." in text and "Saved:" in text
    assert [line.prefix for line in answer.context["sheet"].lines] == ["line-1", "line-2"]
    sheet.send({"at": "08:00", "typed": "4.1"})
    assert Reading.objects.count() == 1


def test_what_is_doubtful_is_looked_at_once_more(sheet):
    hot = {"at": "08:00", "typed": "310"}
    assert "Look at the sheet again" in sheet.send(hot).content.decode() and not Reading.objects.exists()
    sheet.send(hot | {"as_written": "on"})
    assert Reading.objects.count() == 1


def test_a_probe_that_was_not_to_be_used_then_needs_its_reason(sheet, world):
    making.bad(world.probe, world.cook, datetime(2026, 3, 9, 7, tzinfo=UTC))
    line = {"at": "08:00", "typed": "4.1"}
    assert "used_despite" in sheet.send(line).content.decode() and not Reading.objects.exists()
    sheet.send(line | {"used_despite": "No other probe was here."})
    assert Reading.objects.get().used_despite == "No other probe was here."


@pytest.mark.parametrize("head", [{"day": ""}, {"taken_by": ""}, {"day": "2026-03-31"}])
def test_without_a_day_that_was_or_a_reader_nothing_is_saved(sheet, head):
    assert sheet.send({"at": "08:00", "typed": "4.1"}, **head).status_code == 422
    assert not Reading.objects.exists()


def test_somebody_of_another_site_is_no_reader_here(sheet, world):
    assert sheet.send({"at": "08:00", "typed": "4.1"}, taken_by=world.stranger.pk).status_code == 422


def test_a_check_from_paper_cuts_the_timeline_where_it_was_made(as_person, world):
    probe = world.probe
    client, url = as_person(world.manager), reverse("check_paper_zero", args=[probe.pk])
    form = client.get(url).context["form"]
    told = {
        "key": form["key"].value(),
        "checked_at": "2026-03-09T09:00",
        "checked_by": world.cook.pk,
        "stage": "as_found",
    }
    told |= {"kind": "packed_crushed", "points": [value for value, _ in form.fields["points"].choices]}
    answer = client.post(url, told | {"readings": "5 8.0\n30 0.1\n40 0.1\n50 0.1\n60 0.1\n70 0.1"})
    made = Check.objects.latest("pk")
    assert answer.status_code == 302 and (made.checked_by, made.recorded_by) == (world.cook, world.manager)
    assert made.verdict == "in_tolerance" and made.checked_at == datetime(2026, 3, 9, 9, tzinfo=UTC)
    assert making.standings(probe) == ["unproven", "proven", "pending"]
    page = client.get(reverse("check_detail", args=[made.pk])).content.decode()
    assert world.cook.name in page and world.manager.name in page and "Entered late" in page


def test_a_cook_enters_readings_from_paper_and_no_checks(as_person, world):
    client = as_person(world.cook)
    assert client.get(f"{reverse('reading_paper')}?site={world.site.pk}").status_code == 200
    assert client.get(reverse("check_paper_zero", args=[world.probe.pk])).status_code == 403
