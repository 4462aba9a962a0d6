"""Whatever the mixture of good and bad rows: exactly the good ones go in, and once."""

import csv
import io
from datetime import timedelta

from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.readings.importing import import_file, preview
from compliance.readings.importing.cells import guarded, unguarded
from compliance.readings.models import Deviation, Reading
from tests.readings.files import HEADER, START

LOOSE = settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

printable = st.text(st.characters(blacklist_categories=("C", "Z")), min_size=1, max_size=12)
good = st.fixed_dictionaries(
    {
        "item": printable.filter(lambda text: unguarded(text) == text),
        "tenths": st.integers(-400, 900),
        "minute": st.integers(0, 40),
    }
)
SPOILED = (
    ("probe", "P77"),
    ("value", "hot"),
    ("taken_at", "yesterday"),
    ("item", " "),
    ("limit", "none"),
    ("site", "Moon"),
    ("unit", "K"),
    ("held_s", "1.5"),
    ("since_start_s", "2 h"),
    ("taken_by", "x@example.test"),
    ("taken_at", "2031-01-01T00:00Z"),
)
spoil = st.sampled_from([None, None, None, *SPOILED])
OF_MINUTE = {"item": "milk", "tenths": 40, "minute": 0}


def cells(told, spoiled) -> dict:
    row = {
        "site": "Alder School",
        "probe": "P1",
        "limit": "cold-holding",
        "item": told["item"],
        "value": f"{told['tenths'] / 10}",
        "unit": "C",
        "taken_at": (START + timedelta(minutes=told["minute"])).isoformat(),
        "held_s": "",
        "since_start_s": "",
        "note": "",
        "taken_by": "",
    }
    return row | ({spoiled[0]: spoiled[1]} if spoiled else {})


def written(rows, separator) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, HEADER.split(","), delimiter=separator)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


@LOOSE
@example([(OF_MINUTE | {"minute": n}, spoiled) for n, spoiled in enumerate([*SPOILED, None])], ";")
@example(
    [(OF_MINUTE, None), (OF_MINUTE, None), (OF_MINUTE | {"tenths": 51}, None), (OF_MINUTE | {"tenths": 50}, None)], ","
)
@given(st.lists(st.tuples(good, spoil), min_size=1, max_size=15), st.sampled_from(",;\t"))
def test_exactly_the_good_rows_go_in_and_twice_adds_nothing(world, clock, rows, separator):
    expected = {
        (t["item"], t["tenths"] * 100, START + timedelta(minutes=t["minute"])) for t, spoiled in rows if not spoiled
    }
    content = written([cells(*row) for row in rows], separator)
    with transaction.atomic():
        found = preview(content, world.manager)
        made = import_file(by=world.manager, file_name="a.csv", content=content)
        stored = set(Reading.objects.values_list("item", "value_milli", "taken_at"))
        assert stored == expected and Reading.objects.count() == made.added == found.good == len(expected)
        assert made.refused_count == len(rows) - len(expected) == len(found.bad)
        assert Deviation.objects.count() == sum(milli > 5000 for _, milli, _ in expected)
        again = import_file(by=world.manager, file_name="b.csv", content=content)
        assert (again.added, again.known, Reading.objects.count()) == (0, len(expected), len(expected))
        transaction.set_rollback(True)


@given(st.text(st.sampled_from("'=+-@\t\rab "), max_size=8))
def test_a_guard_against_formulas_is_taken_away_exactly(text):
    assert unguarded(guarded(text)) == text
    assert guarded(text)[:1] not in tuple("=+-@\t\r")
