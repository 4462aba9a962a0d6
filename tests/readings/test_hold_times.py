"""A reading without the time that its limit asks for is taken, and somebody is told to look at it."""

import pytest

from compliance.limits.models import Direction
from compliance.readings.importing import import_file
from tests.readings.files import csv_file, row
from tests.world import make_limit

pytestmark = pytest.mark.usefixtures("clock")


def test_a_limit_with_a_time_is_worth_a_look_where_no_time_is_given(world):
    make_limit(world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="70", hold_s=120)
    rows = [row(limit="cook", value="71", held_s=held, item=f"stew {held}") for held in ("", "120")]
    made = import_file(by=world.manager, file_name="stew.csv", content=csv_file(*rows))
    assert (made.added, made.doubts) == (2, [[2, "the limit asks for 2 min, and no time is given"]])
