"""Labels for probes: where they lie, what is on them, who may print them; and the QR codes, read back by another program."""

import io
from itertools import islice, pairwise
from types import SimpleNamespace

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from reportlab.lib.pagesizes import A4, LETTER

from compliance.records.labels import EDGE, lay_out, write_labels
from shared.printing.grid import GRIDS, MM, PAPERS, USUAL, Box
from shared.printing.sheet import fit
from shared.printing.text import measure, visual
from sites.models import Paper
from tests.nasty import CATALOGUE
from tests.printed_text import words_on
from tests.records import painted
from tests.world import PASSWORD, make_probe

NASTY = [text for text in CATALOGUE.values() if isinstance(text, str) and len(text) < 30_000]
LONG = "The refectory kitchen of the lower school at the old mill, second floor"
grids = pytest.mark.parametrize("key", GRIDS)


@pytest.fixture(autouse=True)
def reached(settings):
    settings.ADDRESS = "https://kitchen.example"


def overlap(one: Box, other: Box) -> bool:
    apart = one.right <= other.left or other.right <= one.left or one.top <= other.bottom or other.top <= one.bottom
    return not apart


def inside(inner: Box, outer: Box) -> bool:
    slack = 1e-6
    return (
        inner.left >= outer.left - slack
        and inner.right <= outer.right + slack
        and inner.bottom >= outer.bottom - slack
        and inner.top <= outer.top + slack
    )


# The first label's place follows from the paper and the sizes: ISO 216 A4, 210 x 297 mm; ANSI/ASME Y14.1 Letter, 8.5 x 11 in.
@grids
def test_no_two_labels_of_a_sheet_overlap_and_none_leaves_the_page(key):
    grid = GRIDS[key]
    boxes = [grid.box(number + 1) for number in range(grid.count)]
    slack = [each.within(1e-6) for each in boxes]
    page = Box(0, 0, *PAPERS[grid.paper])
    assert all(inside(box, page) for box in boxes)
    assert not any(overlap(one, other) for n, one in enumerate(slack) for other in slack[n + 1 :])
    assert boxes[0].left == pytest.approx(page.width - boxes[-1].right)
    assert boxes[-1].bottom == pytest.approx(page.height - boxes[0].top)


@grids
def test_from_any_first_label_on_every_place_is_used_once_in_the_order_of_reading(key):
    grid = GRIDS[key]
    for first in range(1, grid.count + 1):
        taken = list(islice(grid.boxes(first), 2 * grid.count))
        assert taken[0] == (0, grid.box(first))
        assert len({(sheet, box.left, box.bottom) for sheet, box in taken}) == len(taken)
        order = [(sheet, -round(box.top, 3), box.left) for sheet, box in taken]
        assert all(one < other for one, other in pairwise(order))
        assert {sheet for sheet, _ in taken} <= {0, 1, 2}


def test_papers_are_those_that_records_are_printed_on():
    assert {name: pytest.approx(size) for name, size in PAPERS.items()} == {"A4": A4, "Letter": LETTER}
    assert set(USUAL) == set(Paper.values) and {key: GRIDS[USUAL[key]].paper for key in USUAL} == {k: k for k in USUAL}


def check_layout(key: str, code: str, name: str) -> None:
    box = GRIDS[key].box(1)
    made = lay_out(box, code, name)
    room = box.within(EDGE)
    words = Box(made.left, made.top - made.code.height - made.name.height, max(made.code.width, made.name.width), 0)
    words = Box(words.left, words.bottom, words.width, made.top - words.bottom)
    assert inside(made.qr, room) and inside(words, room)
    assert not overlap(made.qr, words)
    for fitted in (made.code, made.name):
        assert all(measure(line, fitted.font, fitted.size) <= fitted.width + 1e-6 for line in fitted.lines)


@grids
@pytest.mark.parametrize("name", [LONG, "W" * 120, *NASTY[:12], *NASTY[-8:]])
def test_text_keeps_inside_its_label_and_off_the_code_to_scan(key, name):
    check_layout(key, name[:20] or "P1", name or "A")


@hypothesis_settings(max_examples=60)
@given(key=st.sampled_from(sorted(GRIDS)), code=st.text(min_size=1, max_size=20), name=st.text(max_size=120))
def test_whatever_is_typed_keeps_inside_its_label(key, code, name):
    check_layout(key, code, name)


@grids
@pytest.mark.parametrize("code", ["P1", "K-07", "KITCHEN-NORTH-PROBE7", "W" * 20, "Blue handle, fridge "])
def test_a_code_is_never_cut(key, code):
    made = lay_out(GRIDS[key].box(1), code, LONG)
    assert "".join("".join(made.code.lines).split()) == "".join(code.split())


def test_a_word_is_made_smaller_before_it_is_broken():
    assert len(fit("MMMM", "DejaVuSansCondensed-Bold", (20, 10, 5), 50, 100).lines) == 1


def labels(site, probes, key, first=1):
    out = io.BytesIO()
    write_labels(out, site, probes, GRIDS[key], first)
    return painted.read(out.getvalue()).pages


@grids
def test_each_code_opens_the_page_of_its_probe_and_stands_on_its_own_label(key, site):
    grid, count = GRIDS[key], 7
    probes = [SimpleNamespace(pk=10**n, code=f"P{n}") for n in range(count)]
    first = grid.count - 2  # so that the first sheet takes three
    pages = labels(site, probes, key, first)
    assert len(pages) == 2
    found = [(sheet, text, box) for sheet, page in enumerate(pages) for text, box in painted.codes(page)]
    wanted = dict(zip((f"https://kitchen.example/probes/{p.pk}/" for p in probes), grid.boxes(first), strict=False))
    assert sorted(text for _, text, _ in found) == sorted(wanted)
    for sheet, text, box in found:
        on, label = wanted[text]
        white = 3.8 * box.width / 29  # four modules, less what a scanner is off by; version 3 has 29
        assert sheet == on and inside(box.within(-white), label)


def test_a_code_is_upright_and_not_mirrored(site):
    """ISO/IEC 18004: finder patterns, seven modules wide, at three corners; none at the lower right."""
    boxes = list(painted.black_rectangles(labels(site, [SimpleNamespace(pk=7, code="P1")], "a4-21")[0]))
    left, right = min(box.left for box in boxes), max(box.right for box in boxes)
    bottom, top = min(box.bottom for box in boxes), max(box.top for box in boxes)
    wide = 7 * boxes[0].height

    def finder(x: float, y: float) -> bool:
        return any(
            box.left == pytest.approx(x) and box.bottom == pytest.approx(y) for box in boxes if box.width > 0.9 * wide
        )

    corners = [finder(x, y) for y in (top - boxes[0].height, bottom) for x in (left, right - wide)]
    assert corners == [True, True, True, False]


@pytest.mark.parametrize("length", [1, 40, 90, 150])
def test_addresses_of_any_length_can_be_read_back(length, site, settings):
    settings.ADDRESS = "https://" + ("kitchen" * 30)[:length] + ".example"
    ((text, box),) = painted.codes(labels(site, [SimpleNamespace(pk=7, code="P1")], "a4-65")[0])
    assert text == f"{settings.ADDRESS}/probes/7/"


def test_modules_are_large_enough_to_print_and_scan(site, settings):
    """A third of a millimetre is four dots of a printer of 300 dots an inch."""
    settings.ADDRESS = "https://" + "k" * 50 + ".example"
    page = labels(site, [SimpleNamespace(pk=123_456, code="P1")], "a4-65")[0]
    assert min(box.height for box in painted.black_rectangles(page)) >= MM / 3


def test_every_label_says_its_code_and_the_site_as_text(site):
    site.name = "Fen & <b>Quill</b> ) Tj ET"
    text = " ".join(labels(site, [SimpleNamespace(pk=1, code="K-07")], "letter-10")[0].extract_text().split())
    assert "K-07" in text and "Fen & <b>Quill</b> ) Tj ET" in text


def test_letters_that_join_to_something_wider_are_squeezed(site):
    """Two joined Arabic letters may be wider than they were apart."""
    wide = "آهآ" * 8
    site.name = wide
    pages = labels(site, [SimpleNamespace(pk=1, code=wide[:20])], "a4-65")
    stretched = [float(n[0]) for n, operator in _operations(pages[0]) if operator == b"Tz"]
    assert min(stretched) < 100
    made = lay_out(GRIDS["a4-65"].box(1), wide[:20], wide)
    line = made.code.lines[0]
    assert measure(visual(line), made.code.font, made.code.size) * min(stretched) / 100 <= made.code.width + 0.1


def _operations(page):
    return painted.ContentStream(page.get_contents(), page.pdf).operations


def printed(client, site, **asked):
    answer = client.get(reverse("probe_labels_print", args=[site.pk]), {"grid": "a4-21", "first": 1, **asked})
    return answer.status_code, b"".join(answer) if answer.streaming else answer.content.decode()


def test_a_manager_prints_some_or_all_in_use(world, as_person):
    make_probe(world.site, "P2", by=world.manager)
    third = make_probe(world.site, "P3", by=world.manager)
    make_probe(world.site, "P4", by=world.manager, withdrawn=True)
    client = as_person(world.manager)
    for asked, codes in (({}, ["P1", "P2", "P3"]), ({"probe": [third.pk]}, ["P3"])):
        status, written = printed(client, world.site, **asked)
        assert status == 200
        text = words_on(painted.read(written).pages[0])
        assert [code for code in ("P1", "P2", "P3", "P4") if code in text] == codes


def test_what_cannot_be_is_said_and_nothing_is_printed(world, as_person):
    client = as_person(world.manager)
    for wrong in ({"first": 22}, {"first": 0}, {"first": "x"}, {"grid": "a5-1"}, {"probe": 10**9}):
        status, page = printed(client, world.site, **wrong)
        assert status == 400 and "error-summary" in page
    assert "has 21 labels" in printed(client, world.site, first=22)[1]


def test_managers_see_the_buttons_and_others_meet_the_door(world, as_person):
    detail, form = reverse("probe_detail", args=[world.probe.pk]), reverse("probe_labels", args=[world.site.pk])
    for name in ("manager", "cook", "reader"):
        client = as_person(getattr(world, name))
        pages = [client.get(page).content.decode() for page in (reverse("probe_list"), detail)]
        assert ["labels/" in page for page in pages] == [name == "manager"] * 2
        expected = 200 if name == "manager" else 403
        assert {client.get(form).status_code, printed(client, world.site)[0]} == {expected}
    assert as_person(world.stranger).get(form).status_code == 404
    assert printed(as_person(world.stranger), world.site)[0] == 404


def test_the_one_site_of_a_manager_is_not_asked_for(world, as_person):
    chooser, form = reverse("probe_labels_site"), reverse("probe_labels", args=[world.site.pk])
    assert as_person(world.manager).get(chooser).headers["Location"] == form
    assert as_person(world.reader).get(chooser).status_code == 403
    assert "For the probes of which site?" in as_person(world.supervisor).get(chooser).content.decode()
    assert as_person(world.supervisor).get(chooser, {"site": world.site.pk}).headers["Location"] == form


def test_an_address_that_only_this_machine_opens_is_warned_of(world, as_person, settings):
    form = reverse("probe_labels", args=[world.site.pk])
    assert "NOUGHTBOOK_ADDRESS" not in as_person(world.manager).get(form).content.decode()
    settings.ADDRESS = "http://127.0.0.1:8000"
    assert "NOUGHTBOOK_ADDRESS" in as_person(world.manager).get(form).content.decode()


def test_who_scans_without_being_signed_in_signs_in_and_lands_on_the_probe(world, client):
    page = reverse("probe_detail", args=[world.probe.pk])
    asked = client.get(page).headers["Location"]
    shown = client.get(asked).content.decode()
    assert f'name="next" value="{page}"' in shown
    answer = client.post(asked, {"username": world.cook.email, "password": PASSWORD, "next": page})
    assert answer.headers["Location"] == page
    shown = client.get(page).content.decode()
    check = reverse("zero_check", args=[world.probe.pk])
    assert 0 < shown.index("Check first") < shown.index(f'href="{check}"') < shown.index("Timeline")
