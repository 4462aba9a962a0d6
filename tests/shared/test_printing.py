"""Printed records read back with an independent reader (pypdf)."""

import io
import re
import zlib
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from pypdf import PdfReader
from reportlab.graphics.shapes import Drawing

from shared.printing.flow import Writer
from shared.printing.fonts import BOLD, REGULAR
from shared.printing.page import Imprint, Masthead
from shared.printing.runs import goes_rightwards, set_runs
from shared.printing.table import Column, Row, Table
from shared.printing.text import measure
from shared.time_text import zoned_moment
from tests.printed_text import text_on, words_of

ZONE = ZoneInfo("Europe/London")
MASTHEAD = Masthead(
    business="Meadow & Quill",
    site="Larkspur <kitchen>",
    title="Temperature record",
    period="June 2025",
)
IMPRINT = Imprint(printed_by="Odile Marrant", printed_at=datetime(2025, 7, 1, 8, 5, tzinfo=UTC), zone=ZONE)
COLUMNS = [Column("Number"), Column("Food", 2), Column("Reading", align="right")]


def printed(write, **options) -> PdfReader:
    out = io.BytesIO()
    with Writer(out, masthead=MASTHEAD, imprint=IMPRINT, invariant=True, **options) as writer:
        write(writer)
    return PdfReader(io.BytesIO(out.getvalue()))


@pytest.mark.parametrize("count", [0, 1, 60, 250])
def test_every_page_says_which_it_is_and_how_many_there_are(count):
    reader = printed(lambda w: w.table(COLUMNS, ((f"r{n}", "soup", "70.0 °C") for n in range(count))))
    total = len(reader.pages)
    for number, page in enumerate(reader.pages, start=1):
        assert re.findall(r"Page (\d+) of (\d+)", text_on(page)) == [(str(number), str(total))]
    assert (total > 1) == (count >= 60)


def test_a_table_without_rows_says_so_and_counts_none():
    counted = []
    reader = printed(lambda w: counted.append(w.table(COLUMNS, iter(()))))
    assert counted == [0]
    assert "None recorded." in words_of(reader)


def test_each_of_800_rows_appears_once_and_in_order():
    rows = (Row((f"row{n:05d}", "a" * (n % 60), "70.0 °C"), strong=n % 7 == 0, void=n % 5 == 0) for n in range(800))
    found = re.findall(r"row(\d{5})", words_of(printed(lambda w: w.table(COLUMNS, rows, caption="All"))))
    assert found == [f"{n:05d}" for n in range(800)]


def test_the_head_of_a_table_is_repeated_on_each_of_its_pages():
    reader = printed(lambda w: w.table(COLUMNS, ((n, "soup", "70") for n in range(200)), caption="All readings"))
    assert all("Reading" in text_on(page) for page in reader.pages)
    assert all("All readings (continued)" in text_on(page) for page in list(reader.pages)[1:])


def test_rows_are_taken_one_at_a_time_while_pages_are_finished():
    pages_then = []

    def write(writer):
        def rows():
            for number in range(200):
                pages_then.append(writer._pages.number)
                yield (number, "soup", "70")

        writer.table(COLUMNS, rows())

    reader = printed(write)
    assert pages_then == sorted(pages_then)
    assert set(pages_then) == set(range(1, len(reader.pages) + 1))


def test_what_is_on_a_finished_page_is_in_the_file_and_not_kept():
    out, kept = io.BytesIO(), []
    with Writer(out, masthead=MASTHEAD, imprint=IMPRINT) as writer:
        writer.table(COLUMNS, ((number, "soup", "70") for number in range(200)))
        document = writer._pages.canvas._doc
        kept.extend((page.stream, document.idToObject[page.Contents.name]) for page in document.Pages.pages)
        begun = out.getvalue()
    assert len(kept) > 2 and set(kept) == {(None, None)}
    streams = [zlib.decompress(each.split(b"endstream")[0]) for each in begun.split(b"stream\n")[1::2]]
    assert len(streams) == len(kept) and all(b"soup" in each for each in streams)


def test_equal_cells_are_set_once_a_document():
    cells = []

    def write(writer):
        for _ in range(3):
            writer.table(COLUMNS, [(1, "soup", "70")])
        cells.extend(cell for column in writer._pages.cells.values() for cell in column)

    printed(write)
    assert cells == ["1", "soup", "70"]


def test_cells_that_were_set_are_forgotten():
    seen = []

    def write(writer):
        painter = Table(writer._pages, COLUMNS)
        painter.draw((f"unique{n}", f"food {n}", str(n)) for n in range(2500))
        seen.extend(len(column) for column in painter._regular.seen)

    printed(write)
    assert max(seen) <= 2000


def test_a_row_higher_than_a_page_goes_on_over_the_pages():
    long = " ".join(f"word{n}" for n in range(3000))
    text = words_of(
        printed(lambda w: w.table(COLUMNS, [("before", "x", "1"), ("tall", long, "2"), ("after", "y", "3")]))
    )
    assert re.findall(r"word(\d+)", text) == [str(n) for n in range(3000)]
    assert text.index("before") < text.index("tall") < text.index("after")


def test_a_row_with_a_cell_too_few_is_refused_by_number():
    with pytest.raises(ValueError, match="Row 2 has 2 cells for 3 columns"):
        printed(lambda w: w.table(COLUMNS, [(1, 2, 3), (1, 2)]))


# ISO 216 A4 is 210 x 297 mm; ANSI/ASME Y14.1 Letter is 8.5 x 11 in; 72 points an inch.
@pytest.mark.parametrize(("size", "width", "height"), [("A4", 210 / 25.4 * 72, 297 / 25.4 * 72), ("Letter", 612, 792)])
def test_paper_sizes(size, width, height):
    box = printed(lambda w: w.paragraph("x"), page_size=size).pages[0].mediabox
    assert float(box.width) == pytest.approx(width, abs=0.01)
    assert float(box.height) == pytest.approx(height, abs=0.01)


def test_an_unknown_paper_size_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match="A4, Letter"):
        printed(lambda w: None, page_size="A5")


def test_masthead_footer_and_metadata():
    reader = printed(lambda w: w.paragraph("x"), language="en-GB")
    text = words_of(reader)
    assert "Larkspur <kitchen>" in text and "Meadow & Quill" in text
    assert "Printed by Odile Marrant, 1 Jul 2025 09:05 BST" in text
    assert reader.metadata.title == "Temperature record: Larkspur <kitchen>, June 2025"
    assert reader.root_object["/Lang"] == "en-GB"


def test_a_printing_time_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="zone"):
        zoned_moment(datetime(2025, 7, 1), ZONE)


def test_headings_make_an_outline_and_never_stand_alone_at_the_foot():
    def write(writer):
        for section in range(30):
            writer.heading(f"Section {section}", 2 if section % 3 else 1)
            writer.paragraph(f"first words of {section}. " + "and more of them " * 30)

    reader = printed(write)
    assert len([e for e in reader.outline if not isinstance(e, list)]) == 10
    pages = [text_on(page) for page in reader.pages]
    for section in range(30):
        page = next(text for text in pages if f"Section {section}\n" in text)
        assert f"first words of {section}." in page


def test_signature_shows_name_time_and_meaning_in_the_zone_of_the_site():
    text = words_of(printed(lambda w: w.signature("Odile Marrant", datetime(2025, 1, 2, 3, 4, tzinfo=UTC), "Made by")))
    assert "Made by" in text and "2 Jan 2025 03:04 GMT" in text


def test_what_is_kept_together_is_on_one_page():
    def write(writer):
        for number in range(12):
            with writer.together():
                writer.heading(f"Block {number}")
                writer.facts([(f"label{number}.{k}", "value") for k in range(12)])

    reader = printed(write)
    assert len(reader.pages) > 2
    for number in range(12):
        holding = [p for p in reader.pages if re.search(rf"Block {number}\b|label{number}\.", text_on(p))]
        assert len(holding) == 1


def test_a_table_inside_what_is_kept_together_is_refused():
    def write(writer):
        with writer.together():
            writer.table(COLUMNS, [])

    with pytest.raises(ValueError, match="outside together"):
        printed(write)


def test_the_same_record_gives_the_same_bytes():
    def once() -> bytes:
        out = io.BytesIO()
        with Writer(out, masthead=MASTHEAD, imprint=IMPRINT, invariant=True) as writer:
            writer.table(COLUMNS, [(1, "soup", "70 °C")])
        return out.getvalue()

    assert once() == once()


def test_void_rows_are_struck_through_and_still_read():
    def operators(void: bool) -> tuple[bytes, str]:
        reader = printed(lambda w: w.table(COLUMNS, [Row(("old", "soup", "70"), void=void)]))
        return reader.pages[0].get_contents().get_data(), words_of(reader)

    void, text = operators(True)
    assert "old soup 70" in text
    assert void.count(b" l S Q") == operators(False)[0].count(b" l S Q") + 3


def test_cells_do_not_reach_into_the_next_column():
    spans: dict[float, list[tuple[float, float]]] = {}

    def write(writer):
        columns = [Column(f"c{n}", align=("left", "right", "center")[n % 3]) for n in range(8)]
        painter = Table(writer._pages, columns, markers=True)
        for index in range(8):
            for text in ("W" * 40, "short", "1 234.5 °C and more of it", "x"):
                cell = painter._set(painter._regular, index, text)
                spans.setdefault(index, []).extend((x, x + used) for _, _, x, used, _ in cell)
        spans["page"] = (writer._pages.left, writer._pages.right)

    printed(write)
    left, right = spans.pop("page")
    for index in range(7):
        assert max(end for _, end in spans[index]) <= min(start for start, _ in spans[index + 1]) + 0.01
    assert min(start for start, _ in spans[0]) >= left
    assert max(end for _, end in spans[7]) <= right + 0.01


def test_equal_values_that_look_different_are_each_shown_as_they_are():
    text = words_of(printed(lambda w: w.table(COLUMNS, [(1, True, 1.0), (1.0, 1, None), (True, 1.0, 0)])))
    assert "1 True 1.0 1.0 1 — True 1.0 0" in text


def test_a_title_too_long_for_its_place_says_that_it_was_cut():
    columns = [Column("a long title of a column " * 20)] * 2
    text = words_of(printed(lambda w: w.table(columns, [(1, 2)], caption="c" * 400)))
    assert text.count("…") == 3


def test_a_number_leads_to_the_row_that_bears_it_and_one_that_stands_nowhere_leads_nowhere():
    stood = {}

    def write(writer):
        def rows():
            for number in range(1, 200):
                stood[number] = writer._pages.number, writer._pages.y
                yield (f"R{number}", "soup", "70")

        writer.table([Column("Number", named=True), *COLUMNS[1:]], rows())
        writer.paragraph("See R150, and R999 that is not there.")

    reader = printed(write)
    (link,) = (each.get_object() for page in reader.pages for each in page.get("/Annots", ()))
    page = 1 + [page.indirect_reference.idnum for page in reader.pages].index(link["/Dest"][0].idnum)
    assert (page, float(link["/Dest"][3]) - 10) == (stood[150][0], pytest.approx(stood[150][1], abs=1))


def test_figures_stand_with_their_points_under_each_other():
    points = []

    def write(writer):
        table = Table(writer._pages, [Column("Figure", align="decimal", points=80), Column("Food")])
        for figure in ("4.6 °C", "\N{MINUS SIGN}18.2 °C", "104.0 °C", "±0.07 °C"):
            ((_, _, left, _, _),) = table._set(table._regular, 0, figure)
            points.append(left + table._regular.pen.width(figure.split(".")[0]))

    printed(write)
    assert points == [pytest.approx(points[0])] * 4


def test_a_list_without_a_row_leaves_no_table_but_a_sentence_for_the_end():
    kept = []

    def write(writer):
        assert not writer.listing(COLUMNS, iter(()), heading="Repairs", empty="Nothing was repaired.")
        assert writer.listing(COLUMNS, [(1, "soup", "70")], heading="Foods", empty="Nothing was cooked.")
        kept.extend(writer.nothing)

    text = words_of(printed(write))
    assert "Repairs" not in text and "Foods" in text and kept == ["Nothing was repaired."]


def test_a_part_has_its_own_head_numbers_and_links_and_the_cover_tells_its_page():
    def write(writer):
        writer.table([Column("Site"), Column("Page", page=True)], [("North", "N"), ("South", "S")])
        for site in ("North", "South"):
            writer.part(replace(MASTHEAD, site=site), IMPRINT, name=site[0], title=site)
            writer.heading("Readings")
            writer.paragraph("See R7.")
            writer._pages.break_page()
            writer.table([Column("Number", named=True), *COLUMNS[1:]], [("R7", "soup", "70")])

    reader = printed(write)
    pages = [page.indirect_reference.idnum for page in reader.pages]
    led = [
        (number, pages.index(link.get_object()["/Dest"][0].idnum) + 1)
        for number, page in enumerate(reader.pages, 1)
        for link in page.get("/Annots", ())
    ]
    assert led == [(1, 2), (1, 4), (2, 3), (4, 5)]
    texts = [text_on(page) for page in reader.pages]
    assert re.findall(r"p\. (\d)", texts[0]) == ["2", "4"]
    assert ["North" in text for text in texts] == [True, True, True, False, False]
    assert all(f"Page {number} of 5" in text for number, text in enumerate(texts, 1))
    north, below, south, _ = reader.outline
    assert (north.title, south.title, below[0].title) == ("North", "South", "Readings")


def test_every_face_in_the_document_is_embedded():
    def write(writer):
        writer.table(COLUMNS, [Row((1, "soup", "70 °C"), strong=True)])
        writer.drawing(Drawing(200, 20))

    fonts = {font.get_object()["/BaseFont"]: font.get_object() for font in _fonts(printed(write))}
    assert len(fonts) == 2 and all("/FontFile2" in font["/FontDescriptor"].get_object() for font in fonts.values())


def _fonts(reader: PdfReader):
    for page in reader.pages:
        yield from page["/Resources"]["/Font"].values()


def test_labels_and_values_run_on_within_the_margins_and_lose_nothing():
    pairs = [("Sensor", "thermistor, see C7"), ("Where it was", "Alder\nBirch " + "x" * 300), ("Empty", None)] * 4
    lines = set_runs(pairs[:2], 8, 200)
    assert all(run.x + measure(run.text, BOLD if run.bold else REGULAR, 8) <= 200.01 for line in lines for run in line)
    text = words_of(printed(lambda w: w.run_on(pairs))).replace(" ", "")
    assert text.count("Sensorthermistor,seeC7WhereitwasAlder;Birch" + "x" * 300 + "Empty—") == 4
    assert not goes_rightwards([("Sensor", "תרק")])  # set word by word it would stand in the wrong order


@pytest.mark.parametrize("count", [1, 5, 13, 700])
def test_small_print_stands_in_two_columns_and_is_complete(count):
    def write(writer):
        writer.table(COLUMNS, ((number, "soup", "70") for number in range(40)))  # which leaves little room below
        writer.heading("How to read")
        writer.small_print([("Words", [(f"label{n:03d}", f"word{n:03d}") for n in range(count)])])

    reader = printed(write)
    assert re.findall(r"label(\d+) word(\d+)", words_of(reader)) == [(f"{n:03d}",) * 2 for n in range(count)]
    assert len(reader.pages) <= 2 + count // 100
