"""`manage.py import_readings FILE --by EMAIL`."""

import os
import signal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError

from compliance.readings.importing import import_parts
from compliance.readings.models import Import, Reading
from tests.readings.files import csv_file, many, row

pytestmark = pytest.mark.usefixtures("clock")


def run(path, by, **options):
    out, err = StringIO(), StringIO()
    call_command("import_readings", str(path), by=by.email, stdout=out, stderr=err, **options)
    return out.getvalue(), err.getvalue()


def test_it_names_bad_lines_and_says_what_came_in(world, tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(csv_file(row(), row(probe="P9"), row(item="ham", value="9")))
    out, err = run(path, world.manager)
    assert out.strip() == "Readings added: 2; in the record already: 0; rows refused: 1; deviations opened: 1."
    assert "line 3: there is no probe “P9”" in err
    assert Import.objects.get().file_name == "a.csv"


def test_a_dry_run_writes_nothing(world, tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(many(3))
    assert "Good rows: 3 of 3" in run(path, world.manager, dry_run=True)[0]
    assert not Reading.objects.exists()


def test_it_says_what_to_do_about_a_wrong_file_or_person(world, tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"x\n")
    with pytest.raises(CommandError, match="missing: site"):
        run(path, world.manager)
    with pytest.raises(CommandError, match="cannot be read"):
        run(tmp_path / "none.csv", world.manager)
    with pytest.raises(CommandError, match="Nobody has the e-mail"):
        call_command("import_readings", str(path), by="x@example.test")


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_stopped_half_way_it_says_after_which_line_and_the_same_file_adds_the_rest(world, tmp_path, monkeypatch, stop):
    def interrupted(**given):
        for part in import_parts(**given):
            os.kill(os.getpid(), stop)
            yield part

    (path := tmp_path / "a.csv").write_bytes(many(20))
    monkeypatch.setattr("compliance.readings.importing.rows.batches.__defaults__", (7,))
    with monkeypatch.context() as patch, pytest.raises(CommandError, match="stopped after line 8"):
        patch.setattr("compliance.readings.management.commands.import_readings.import_parts", interrupted)
        run(path, world.manager)
    assert Reading.objects.count() == 7
    assert run(path, world.manager)[0].startswith("Readings added: 13; in the record already: 7;")


def test_a_database_that_fails_half_way_is_named_with_the_line(world, tmp_path, monkeypatch):
    def full(**given):
        yield next(import_parts(**given))
        raise OperationalError("database or disk is full")

    (path := tmp_path / "a.csv").write_bytes(many(20))
    monkeypatch.setattr("compliance.readings.importing.rows.batches.__defaults__", (7,))
    monkeypatch.setattr("compliance.readings.management.commands.import_readings.import_parts", full)
    with pytest.raises(CommandError, match=r"stopped after line 8 \(database or disk is full\)"):
        run(path, world.manager)
