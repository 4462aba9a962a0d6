"""Everything that the printed record shows as a row is in the record as data, with who entered it and when."""

import io
import json
import re
from contextlib import ExitStack
from hashlib import sha256
from unittest.mock import patch

import pytest
import time_machine
from jsonschema import Draft202012Validator
from pypdf import PdfReader

from compliance.probes.actions import move as move_probe
from compliance.readings.actions import void as void_reading
from compliance.readings.importing import import_file
from compliance.records.record import AT_THE_END, OF_A_SITE, write_record
from compliance.records.twin.schema import schema_of
from compliance.records.twin.writing import TABLES
from compliance.reviews.actions import ReviewData, sign_review
from shared.audit.trail import registry
from shared.printing.table import Row, Table
from sites.actions import amend_site
from tests.audit.samples import SAMPLES
from tests.readings.files import csv_file, row
from tests.records.making import NOW, at, scope_of, story, take
from tests.remembered import remembered
from tests.world import make_probe

# Of each section of the print the tables that hold its rows.
TABLES_OF = {
    "reminders": {"planned", "not_in_time", "excuses"},
    "reviews": {"days", "reviews"},
    "failures": {"checks", "check_readings"},
    "deviations": {"deviations", "corrective_actions"},
    "cases": {"cases", "case_readings", "case_readings_struck_out", "decisions", "signatures"},
    "readings": {"readings"},
    "files": {"imports"},
    "appliances": {"appliances", "appliances_out_of_use"},
    "probes": {"probes", "placements", "checks"},
    "events": {"events"},
    "plan": {"limits"},
    "days": {"hours", "closures", "closed_days", "plans", "probes_not_in_use"},
    "intervals": {"intervals"},
    "corrections": {"struck_out"},
    "changes": {"changes"},
    "closing": {"names"},
    "annex": {"trail"},
}
NONE = {
    "title": "where and when: the head of the file",
    "summary": "counts of rows of the other sections",
    "open_points": "rows of the other sections that are not done",
    "reasons": "counts of the reasons that other sections give",
    "nothing": "sentences on lists without a row",
    "glossary": "how to read the print",
    "cautions": "how to read the print",
}
# Tables of what is worked out from facts, and of parts of one.
DERIVED = {"days", "planned", "not_in_time", "cases", "case_readings", "appliances", "probes"}
DERIVED |= {"closed_days", "check_readings"}


def test_every_section_of_the_print_has_its_tables_or_a_reason_to_have_none():
    sections = [section.__name__.rpartition(".")[2] for section in (*OF_A_SITE, *AT_THE_END)]
    assert sorted(sections) == sorted([*TABLES_OF, *NONE])
    assert {table.name for table in TABLES} == set().union(*TABLES_OF.values())


def test_every_table_of_facts_says_who_entered_them_and_when():
    for table in TABLES:
        names = {col.name for col in table.columns}
        known = {"entered_by", "signed_by", "who"} & names and {"entered_at", "signed_at", "at"} & names
        assert bool(known) == (table.name not in DERIVED), table.name


ACTS = (
    "appliance.void_out_of_use",
    "closure.void",
    "reminder.void_excuse",
    "opening.set",
    "advice.accept",
    "probe.amend",
    "person.rename",
)
OLD = csv_file(row(taken_at="2026-03-10T08:00Z"), row(value="x"))
KEPT = {"at": "2026-03-12T08:00:00+00:00", "off_s": 120, "said_s": 60}


def much(world) -> dict:
    """The story of `tests/records/making.py`, with an act of everything else that a record shows on 11 March 2026."""
    with time_machine.travel(at(11, 12), tick=False):
        for name in ACTS:
            given = SAMPLES[name](world)
            given.pop("call", registry[name])(**given)
        holidays = {"closed_on_holidays": True, "country": "GB", "subdivision": "NIR"}
        amend_site(by=world.supervisor, site=world.site, changes=holidays)
        lent = make_probe(world.site, "P9", by=world.manager, limits=[world.limit])
        move_probe(by=world.supervisor, probe=lent, site=world.other_site, starts_at=at(10), reason="Lent.")
        import_file(by=world.manager, file_name="old.csv", content=OLD)
    made = story(world)
    void_reading(by=world.supervisor, reading=take(world, "3.0", at(8)), reason="Another fridge.")
    made["kept"] = take(world, "3.0", at(12, 8), phone=KEPT)
    day = ReviewData(first=at(12).date(), last=at(13).date(), meaning="reviewed", remarks="All read.")
    made["review"] = sign_review(by=world.supervisor, site=world.site, data=day)
    made["late"] = take(world, "3.4", at(12, 9))
    return made


def printed_much(world) -> tuple[dict, dict, dict]:
    """What was made; of each section of its print the texts of the rows; and the data that the print has attached."""
    made, out, texts, draw = much(world), io.BytesIO(), {}, Table.draw
    with ExitStack() as patches:
        for section in (*OF_A_SITE, *AT_THE_END):
            told = texts[section.__name__.rpartition(".")[2]] = []
            patches.enter_context(patch.object(section, "write", _noting(section.write, told, draw)))
        patches.enter_context(patch.object(Table, "draw", draw))
        write_record(out, scope_of(world.site))
    return made, texts, json.loads(PdfReader(out).attachments["record.json"][0])


def _noting(write, told: list[str], draw):
    def noted(table, rows):
        rows = list(rows)
        told.extend(" ".join(map(str, (*row.cells, row.note) if isinstance(row, Row) else row)) for row in rows)
        return draw(table, rows)

    def written(writer, scope):
        Table.draw = noted
        write(writer, scope)

    return written


@pytest.fixture
def printed(world, clock):
    clock.move_to(NOW)
    return remembered(printed_much, world)


@pytest.fixture
def made(printed):
    return printed[0]


@pytest.fixture
def data(printed):
    return printed[2]


def test_every_table_has_rows_where_there_is_something_of_everything(printed):
    _, paper, data = printed
    assert [name for name, rows in paper.items() if rows and name in NONE] == ["summary", "open_points"]
    assert [name for name in TABLES_OF if not paper[name]] == ["failures"]  # which has no table of its own
    assert [table.name for table in TABLES if not data[table.name]] == []
    assert [error.message for error in Draft202012Validator(schema_of(TABLES)).iter_errors(data)] == []


NUMBER = re.compile(r"\b[RCDE][0-9]+\b")


def test_every_number_on_paper_is_among_the_data(printed):
    _, paper, data = printed
    told = {number for rows in paper.values() for each in rows for number in NUMBER.findall(each)}
    data = {name: data[name] for name in data.keys() - {"trail"}}
    assert len(told) > 20 and told - set(NUMBER.findall(json.dumps(data))) == set()


def test_a_review_stands_for_the_days_that_nothing_was_added_to(made, data):
    [review] = data["reviews"]
    assert (review["signed_by"], review["meaning"], review["remarks"]) == ("Sol Venn", "reviewed", "All read.")
    assert (review["first_day"], review["last_day"], review["signed_at"]) == (
        "2026-03-12",
        "2026-03-13",
        "2026-04-02T12:00:00+01:00",
    )
    days = {each["day"]: each for each in data["days"]}
    assert (review["stands_for"], days["2026-03-12"]["review"]) == (["2026-03-13"], "changed")
    assert days["2026-03-12"]["last_review"] == review["number"] == f"review:{made['review'].pk}"


def test_an_import_names_its_file_and_what_was_refused(data):
    [file], taken = data["imports"], [each for each in data["readings"] if each["file"]]
    assert (file["file"], file["sha256"]) == ("old.csv", sha256(OLD).hexdigest())
    assert (file["rows"], file["added"], file["refused"]) == (2, 1, 1)
    [[line, reason]] = file["refused_rows"]
    assert line == 3 and "x" in reason
    assert [each["file"] for each in taken] == [file["number"]]


def test_a_reading_typed_without_network_keeps_the_clock_of_the_phone(made, data):
    kept = {each["number"]: each["phone_clock"] for each in data["readings"] if each["phone_clock"]}
    assert kept == {f"R{made['kept'].pk}": KEPT}


def test_what_was_struck_out_is_there_with_who_did_it_and_why(data):
    for name, why in (
        ("excuses", "It was here all the time."),
        ("closures", "The holidays begin later."),
        ("appliances_out_of_use", "It was in use all the time."),
    ):
        [struck] = [each for each in data[name] if each["void"]]
        assert (struck["struck_why"], struck["struck_by"]) == (why, "Mara Holt"), name
