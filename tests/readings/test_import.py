"""A file of readings: all good rows in, bad rows named by line, twice adds nothing."""

import pytest

from compliance.readings.importing import FileRefused, import_file, preview
from compliance.readings.models import Deviation, Import, Reading
from shared.audit.models import Entry
from tests.readings.files import HEADER, csv_file, many, row
from tests.world import make_limit, make_probe


def bring(by, content, name="fridges.csv"):
    return import_file(by=by, file_name=name, content=content)


def test_all_good_rows_go_in_and_bad_rows_are_named_by_line(clock, world):
    content = csv_file(row(), row(probe="P9", value="warm"), row(item="soup", value="6.5"), row(item=""))
    made = bring(world.manager, content)
    assert (made.rows, made.added, made.known, made.refused_count) == (4, 2, 0, 2)
    assert [line for line, _ in made.refused] == [3, 5]
    assert "no probe “P9”" in made.refused[0][1] and "“warm” is not a number" in made.refused[0][1]
    assert sorted(Reading.objects.values_list("item", "value_milli")) == [("milk", 4000), ("soup", 6500)]


def test_the_same_file_twice_adds_nothing(clock, world):
    bring(world.manager, many(30))
    again = bring(world.manager, many(30))
    assert (again.added, again.known) == (0, 30)
    assert Reading.objects.count() == 30


def test_breaches_open_deviations_in_words(clock, world):
    made = bring(world.manager, csv_file(row(value="5.0"), row(item="cream", value="5.1")))
    assert made.breaches == 1
    deviation = Deviation.objects.get()
    assert (deviation.reading.item, deviation.why) == ("cream", "5.1 °C is above the limit of at most 5 °C")
    bring(world.manager, csv_file(row(item="cream", value="5.1")))
    assert Deviation.objects.count() == 1
