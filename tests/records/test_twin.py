"""The record as data: the same pack as the printed one, held to its published schema (JSON Schema, draft 2020-12)."""

import csv
import io
import json
import zipfile
from datetime import datetime

import pytest
from django.urls import reverse
from jsonschema import Draft202012Validator

from compliance.readings.models import Reading
from compliance.records.twin.schema import FILE, as_text, schema_of
from compliance.records.twin.writing import TABLES, zip_twin
from shared.audit.chain import newest_of
from tests.records.making import FIRST, LAST, NOW, printed, scope_of, story
from tests.remembered import remembered

SCHEMA = json.loads(FILE.read_text(encoding="utf-8"))


def files_of(scope) -> dict[str, bytes]:
    out = io.BytesIO()
    zip_twin(out, scope)
    with zipfile.ZipFile(out) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture
def made(world, clock):
    clock.move_to(NOW)
    return remembered(story, world)


@pytest.fixture
def files(world, made):
    return remembered(files_of_march, world, made)


def files_of_march(world, made) -> dict[str, bytes]:
    return files_of(scope_of(world.site))


@pytest.fixture
def record(files):
    return json.loads(files["record.json"])


def test_the_published_schema_is_that_of_the_tables():
    assert FILE.read_text(encoding="utf-8") == as_text(schema_of(TABLES))
    Draft202012Validator.check_schema(SCHEMA)


def test_a_record_keeps_to_its_schema(record):
    validator = Draft202012Validator(SCHEMA, format_checker=Draft202012Validator.FORMAT_CHECKER)
    assert [error.message for error in validator.iter_errors(record)] == []


def test_the_schema_refuses_what_it_does_not_know(record):
    record["readings"][0]["value_milli"] = "cold"
    del record["readings"][1]["entered_by"]
    assert len(list(Draft202012Validator(SCHEMA).iter_errors(record))) == 2


def test_void_and_corrected_readings_are_there_with_who_entered_and_struck_them(world, made, record):
    rows = {row["number"]: row for row in record["readings"]}
    assert len(rows) == Reading.objects.filter(site=world.site).count()
    wrong, right, struck = (rows[f"R{made[name].pk}"] for name in ("wrong", "right", "struck"))
    assert (wrong["void"], wrong["replaced_by"], wrong["struck_why"]) == (True, right["number"], "Point was missed")
    assert (right["void"], right["corrects"]) == (False, wrong["number"])
    assert (struck["void"], struck["struck_by"], struck["replaced_by"]) == (True, "Mara Holt", None)
    assert (wrong["entered_by"], datetime.fromisoformat(wrong["entered_at"])) == (
        "Col Esker",
        made["wrong"].recorded_at,
    )


def test_a_reading_says_its_limit_whether_it_was_met_its_standing_and_the_last_decision(made, record):
    rows = {row["number"]: row for row in record["readings"]}
    breach, doubted = rows[f"R{made['breach'].pk}"], rows[f"R{made['doubted'][1].pk}"]
    assert (breach["limit_met"], breach["deviation"]) == (False, f"D{made['breach'].deviation.pk}")
    assert (doubted["limit_met"], doubted["standing"], doubted["last_decision"]) == (True, "quarantined", "discarded")
    assert doubted["limit_demands"].startswith("at most 5")


def test_each_table_is_a_csv_file_too(files, record):
    for table in TABLES:
        rows = list(csv.DictReader(io.StringIO(files[f"{table.name}.csv"].decode("utf-8-sig"), newline="")))
        assert len(rows) == len(record[table.name])
        assert not rows or list(rows[0]) == [col.name for col in table.columns]


def test_it_names_the_head_of_the_record(world, record):
    entry = newest_of(world.business.pk)
    assert (record["head"]["number"], record["head"]["hash"]) == (entry.number, entry.hash)


def test_the_printed_record_has_it_attached(world, files):
    attached = printed(scope_of(world.site)).attachments
    assert {"record.json", FILE.name, "readings.csv"} <= set(attached)
    assert json.loads(attached["record.json"][0]) == json.loads(files["record.json"])


def test_who_may_print_may_save_it_and_nobody_else(world, made, as_person):
    asked = {"site": world.site.pk, "from": FIRST.isoformat(), "to": LAST.isoformat()}
    answer = as_person(world.reader).get(reverse("record_data"), asked)
    content = io.BytesIO(b"".join(answer.streaming_content))
    assert answer.headers["Content-Type"] == "application/zip"
    assert "record.json" in zipfile.ZipFile(content).namelist()
    assert as_person(world.stranger).get(reverse("record_data"), asked).status_code == 404
    assert as_person(world.reader).get(reverse("record_data"), asked | {"to": "2019-01-01"}).status_code == 400
