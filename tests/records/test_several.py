"""Several sites in one document: who may have which, what its first page answers, and that each record stays by itself."""

import gc
import io
import re
import weakref

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from compliance.probes.models import Placement
from compliance.records import several
from compliance.records.asked import RecordRequest
from compliance.records.forms import MOST, RecordForm
from compliance.records.management.commands.print_record import sites_in
from sites.choosing import MENU
from tests.checks import making as checks
from tests.printed_text import words_on
from tests.records import making
from tests.records.making import FIRST, LAST, at, section
from tests.remembered import remembered
from tests.world import make_limit, make_probe, make_site

PERIOD = {"from": "2026-03-01", "to": "2026-03-10"}
DAY = {"from": "2026-03-10", "to": "2026-03-10"}


@pytest.fixture
def both(clock, world):
    """A March at one site, and little at the other, with a probe that came from the first and failed there: the file, and the
    words of its pages."""
    clock.move_to(making.NOW)
    return remembered(written, world)


def written(world) -> tuple[bytes, list[str]]:
    made = making.story(world)
    limit = make_limit(world.other_site, by=world.manager)
    probe = make_probe(world.other_site, "B1", by=world.manager, limits=[limit])
    checks.good(probe, world.cook, at(2))
    Placement.objects.create(probe=made["other"], site=world.other_site, starts_at=at(25), recorded_by=world.manager)
    out = io.BytesIO()
    several.write_records(out, asked(world))
    return out.getvalue(), list(map(words_on, PdfReader(out).pages))


def asked(world) -> RecordRequest:
    sites = (world.site, world.other_site)
    return RecordRequest(sites=sites, first=FIRST, last=LAST, printed_by="Sol Venn", now=timezone.now())


@pytest.fixture
def reader_of(both):
    return PdfReader(io.BytesIO(both[0]))


@pytest.fixture
def pages(both) -> list[str]:
    return both[1]


def parts(reader: PdfReader, pages: list[str]) -> list[str]:
    """The text of the cover, of each record and of the end."""
    begins = [reader.get_destination_page_number(each) for each in reader.outline if not isinstance(each, list)]
    ends = [*begins[1:], len(pages)]
    return [" ".join(pages[first:end]) for first, end in zip(begins, ends, strict=True)]


def test_the_first_page_tells_of_each_site_what_its_record_tells(reader_of, pages):
    cover, first, second, end = parts(reader_of, pages)
    rows = re.findall(r"(Alder School|Birch House|All 2 sites) ((?:\d+ ){8}\d+)", cover)
    told, begin = {name: numbers.split() for name, numbers in rows}, re.findall(r"p\. (\d+)", cover)
    for name, record, page in zip(("Alder School", "Birch House"), (first, second), begin, strict=True):
        planned, done, missed, failed, rounds, rounds_missed, open_ones, undecided, days = told[name]
        summary = section(f"{record} Cautions ", "Summary")
        assert f"Checks planned {planned} check" in summary or planned == "0"
        due = summary.split("Readings planned")[1].split("Readings taken")[0]
        assert f"{rounds} reading" in due or rounds == "0"
        checked = summary.split("Checks planned")[1].split("Checks made")[0]
        for number, words in ((missed, checked), (rounds_missed, due)):
            assert int(number) == sum(map(int, re.findall(r"(\d+)(?: of them)? (?:missed|overdue)", words))), words
        assert f" {failed} failed" in summary
        assert open_ones == (re.findall(r"(\d+) open, nothing recorded", summary) or ["0"])[0]
        assert undecided == (re.findall(r"(\d+) still to decide on", summary) or ["0"])[0]
        waiting = sum(map(int, re.findall(r"(\d+) (?:waiting for review|changed since|not accepted)", summary)))
        assert days == str(waiting)
        begun = pages[int(page) - 1]
        assert name in begun and "Summary" in begun
    total = [int(number) for number in told["All 2 sites"]]
    assert total == [int(a) + int(b) for a, b in zip(told["Alder School"], told["Birch House"], strict=True)]
    assert total[3] and total[6] and total[7] == 0 and "How to read this record" in end


def test_pages_are_numbered_through_and_each_has_the_head_of_its_site(reader_of, pages):
    assert all(f"Page {number} of {len(pages)}" in text for number, text in enumerate(pages, 1))
    titles = [each.title for each in reader_of.outline if not isinstance(each, list)]
    assert titles == ["All sites at a glance", "Alder School", "Birch House", "How to read these records"]
    _, first, second, _ = parts(reader_of, pages)
    assert "Alder School · Larkfield Kitchens" in first and "Alder School · Larkfield" not in second


def test_links_stay_inside_the_record_of_their_site(reader_of):
    begins = [reader_of.get_destination_page_number(each) for each in reader_of.outline if not isinstance(each, list)]
    pages = {page.indirect_reference.idnum: number for number, page in enumerate(reader_of.pages)}

    def part_of(page: int) -> int:
        return max(index for index, first in enumerate(begins) if first <= page)

    led = [
        (part_of(number), part_of(pages[link.get_object()["/Dest"][0].idnum]))
        for number, page in enumerate(reader_of.pages)
        for link in page.get("/Annots", ())
    ]
    assert {(a, b) for a, b in led if a} == {(1, 1), (2, 2)}
    assert {b for a, b in led if a == 0} == {1, 2}  # from the cover to where each begins


def test_the_data_of_each_site_are_attached_under_its_name(reader_of, world):
    names = list(reader_of.attachments)
    for site, slug in ((world.site, "alder-school"), (world.other_site, "birch-house")):
        whole = reader_of.attachments[f"{slug}-{site.pk}-record.json"][0]
        assert f'"site": "{site.name}"'.encode() in whole
    assert names == sorted(names) and len(names) == 2 * len({name.split("-")[-1] for name in names})


def test_one_site_is_done_with_before_the_next_is_read(clock, world, monkeypatch):
    clock.move_to(at(20))
    alive, begun = [], []
    make = RecordRequest.scope

    def watched(self, site):
        gc.collect()
        begun.append(sum(scope() is not None for scope in alive))
        scope = make(self, site)
        alive.append(weakref.ref(scope))
        return scope

    gc.freeze()  # to look through what was there before takes a tenth of a second each time
    monkeypatch.setattr(RecordRequest, "scope", watched)
    request = RecordRequest(sites=[world.site] * 3, first=FIRST, last=FIRST, printed_by="Sol", now=timezone.now())
    several.write_records(io.BytesIO(), request)
    assert len(begun) == 8 and max(begun) <= 2


def test_each_gets_only_sites_that_they_may_read(clock, as_person, world):
    def got(person, **given):
        return as_person(person).get(reverse("record_print"), {**DAY, **given})

    two = got(world.supervisor, site=world.site.pk, also=[world.other_site.pk])
    assert two.headers["Content-Disposition"].endswith('"records-2-sites-2026-03-10-to-2026-03-10.pdf"')
    cover = words_on(PdfReader(io.BytesIO(b"".join(two.streaming_content))).pages[0])
    assert "2 sites: Alder School, Birch House" in cover
    assert chosen(world.supervisor, area=world.area.pk) == [world.site, world.other_site]
    for strange in (world.far_site, world.foreign_site):
        assert got(world.supervisor, site=world.site.pk, also=[strange.pk]).status_code == 400
        assert got(world.supervisor, area=strange.area_id).status_code == 400
    # Who has one site is asked for no other.
    assert chosen(world.reader, site=world.site.pk, also=[world.other_site.pk], area=world.area.pk) == [world.site]


def chosen(person, **given) -> list:
    form = RecordForm({**DAY, **given}, person=person)
    assert form.is_valid(), form.errors
    return form.cleaned_data["sites"]


def test_what_several_sites_ask_for_is_folded_and_stands_on_the_page_once(clock, as_person, world):
    browser = as_person(world.supervisor)

    def folded(page: str, **given) -> tuple[str, str]:
        content = browser.get(reverse(page), given).content.decode()
        before, fold, after = re.split(r"<details|</details>", content[content.index('<form class="form"') :])
        assert not re.findall('name="(?:also|area)"', before + after) and "Several sites in one file" in fold
        return fold[: fold.index(">")], " ".join(sorted(set(re.findall('name="(\\w+)"', fold))))

    assert folded("record_form") == ("", "also area")
    two = {"site": world.site.pk, "also": world.other_site.pk, "from": "2026-03-10", "to": "2026-03-09"}
    assert folded("record_print", **two) == (" open", "also area")  # what was chosen is in sight where it is refused


def test_what_is_too_much_for_a_page_is_refused_in_numbers_and_so_is_a_haccp_page_of_two(clock, as_person, world):
    both = {"site": world.site.pk, "also": world.other_site.pk}
    browser = as_person(world.supervisor)
    long = browser.get(reverse("record_print"), {**both, "from": "2023-01-01", "to": "2026-03-01"})
    assert long.status_code == 400
    assert f"2 sites with 1,156 days each are 2,312 days of records, and at most {MOST:,} go" in long.content.decode()
    for page in ("record_haccp", "record_data"):
        answer = browser.get(reverse(page), {**both, **PERIOD})
        assert answer.status_code == 400 and "are made of one site" in answer.content.decode()


@pytest.mark.usefixtures("clock")
def test_who_has_many_sites_names_the_others_line_by_line(as_person, world):
    for number in range(MENU):
        make_site(world.area, f"Kitchen {number:04d}")
    named = chosen(world.supervisor, site=world.site.pk, also="birch house\n\nKitchen 0003")
    assert [site.name for site in named] == ["Alder School", "Birch House", "Kitchen 0003"]
    refused = as_person(world.supervisor).get(
        reverse("record_print"), {**DAY, "site": world.site.pk, "also": "Cedar School"}
    )
    assert refused.status_code == 400 and "None of your sites is named “Cedar School”." in refused.content.decode()


def test_the_command_prints_several_sites_or_an_area(clock, world, tmp_path):
    file = tmp_path / "records.pdf"
    whose = ["--from=2026-03-10", "--to=2026-03-10", "--by=sol.venn@example.test", f"--out={file}"]
    call_command("print_record", "--site=Birch House", "--site=alder school", *whose, verbosity=0)
    cover = words_on(PdfReader(file).pages[0])
    assert "2 sites: Alder School, Birch House" in cover
    assert set(sites_in(world.supervisor, "north")) == {world.site, world.other_site}
    with pytest.raises(CommandError, match=r"Give one of these, by its number: North \(\d+\)\."):
        call_command("print_record", "--area=South", *whose)
