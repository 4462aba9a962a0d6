"""A reading without the time that its limit asks for is taken, and somebody is told to look at it."""

import pytest
from django.urls import reverse

from compliance.limits.models import Direction
from compliance.readings.importing import import_file
from tests.readings.files import csv_file, row
from tests.records.making import at, section_of, take
from tests.world import make_limit

pytestmark = pytest.mark.usefixtures("clock")


def test_a_hold_time_that_was_not_recorded_is_marked_on_pages_and_paper_and_counted(world, as_person):
    cook = make_limit(world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="70", hold_s=120)
    reading = take(world, "71", at(10), limit=cook)
    take(world, "72", at(10, 10), limit=cook, hold_s=130)
    client = as_person(world.reader)
    assert client.get(reverse("reading_list")).content.decode().count("hold time not recorded") == 1
    assert "not recorded" in client.get(reverse("reading_detail", args=[reading.pk])).content.decode()
    assert section_of(world.site, "Readings").count("Hold time not recorded.") == 1
    assert "Time at temperature, or since the start, not recorded: 1." in section_of(world.site, "Summary")


def test_a_limit_with_a_time_is_worth_a_look_where_no_time_is_given(world):
    make_limit(world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="70", hold_s=120)
    rows = [row(limit="cook", value="71", held_s=held, item=f"stew {held}") for held in ("", "120")]
    made = import_file(by=world.manager, file_name="stew.csv", content=csv_file(*rows))
    assert (made.added, made.doubts) == (2, [[2, "the limit asks for 2 min, and no time is given"]])
