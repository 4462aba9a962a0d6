"""How a file may be written, and what is said of one that cannot be read."""

import pytest

from compliance.readings.importing import FileRefused, import_file, preview
from compliance.readings.models import Import, Reading
from tests.readings.files import HEADER, csv_file, row

pytestmark = pytest.mark.usefixtures("clock")


def bring(world, content):
    return import_file(by=world.manager, file_name="a.csv", content=content)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_separators_marks_and_line_ends(world, separator, mark, ending):
    lines = [HEADER, row(item="crème"), "", row(item="soup")]
    content = mark + ending.join(line.replace(",", separator) for line in lines).encode()
    assert bring(world, content).added == 2
    assert Reading.objects.filter(item="crème").exists()


def test_columns_in_any_order_and_optional_ones_left_out(world):
    made = bring(
        world, b"Value, Taken_At ,item,LIMIT,probe,site\n4,2026-01-05T08:00,milk,cold-holding,p1,alder school\n"
    )
    assert made.added == 1 and Reading.objects.get().taken_by == world.manager


def test_nameless_columns_at_the_end_of_a_sheet_must_be_empty(world):
    made = bring(world, csv_file(row() + ",,", row(item="soup"), row(item="pie") + ",,?", header=HEADER + ",,"))
    assert made.added == 2 and made.refused == [
        [4, "has a cell under no column name; name the column or empty the cell"]
    ]


def test_a_decimal_comma_in_a_file_with_semicolons(world):
    bring(world, csv_file(row(value="4§6")).replace(b",", b";").replace("§".encode(), b","))
    assert Reading.objects.get().value_milli == 4600


def test_a_note_of_several_lines_keeps_the_count_of_lines_right(world):
    made = bring(world, csv_file(row(note='"one\ntwo"'), row(item="")))
    assert made.refused[0][0] == 4 and Reading.objects.get().note == "one\ntwo"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf\n \n", "empty"),
        (HEADER.encode() + b"\n", "no rows"),
        (b"site,probe\nx,y\n", "missing: limit, item, value, taken_at"),
        (csv_file(header=HEADER + ",colour"), "nobody reads: colour"),
        (csv_file(header=HEADER + ",note"), "named twice: note"),
        (csv_file(row(item="cr\xe8me")).decode().encode("latin-1"), "Line 2 is not UTF-8"),
        (csv_file(row()).decode().encode("utf-16"), "not UTF-8"),
        (HEADER.encode() + b"\na\0b\n", "not a text file"),
        (csv_file(row(), row(item='"milk')), "quotation mark"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_whole_with_what_to_do(world, content, words):
    for attempt in (lambda: preview(content, world.manager), lambda: bring(world, content)):
        with pytest.raises(FileRefused, match=words):
            attempt()
    assert not Reading.objects.exists() and not Import.objects.exists()
