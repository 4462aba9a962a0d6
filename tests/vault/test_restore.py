"""`manage.py restore FILE`."""

import json
import shutil
import sqlite3
import uuid
import zipfile
from contextlib import closing

import psycopg
import pytest
from django.contrib.sessions.models import Session
from django.core.management import CommandError
from django.db import DatabaseError, connection, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone

from compliance.readings.models import Reading
from compliance.service.vault import saving
from compliance.service.vault.contents import contents_of, migrations_of, models_of
from compliance.service.vault.postgres import copy_to, one_moment
from shared.audit.models import Entry
from shared.guards import written_once
from shared.versions import without_squashes
from sites.models import Business, Person
from tests.engines import Run
from tests.readings.files import csv_file, row
from tests.vault.places import bring_in, file_of, on, readings, said_by

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def _made(tmp_path_factory):
    return tmp_path_factory.mktemp("backup") / "a.zip"


@pytest.fixture
def backup(_made, places, tmp_path):
    """Of a filled database; made once."""
    if not _made.exists():
        with on(places.filled()):
            Session.objects.create(session_key="k", session_data="d", expire_date=timezone.now())
            said_by("backup", _made)
    return shutil.copy(_made, tmp_path / "a.zip")


def held():
    return contents_of("default", models_of(migrations_of("default"), ""))


def apart_from_the_trail(contents):
    """Of which restoring adds one entry for each business."""
    return {table: told for table, told in contents.items() if table != Entry._meta.db_table}


def add_one():
    bring_in(csv_file(row(item="later")), Person.objects.get(name="Mara Holt"))


def changed(backup, tmp_path, change, told=None):
    """The backup with its copy or with what is told of it changed, as a valid zip."""
    with zipfile.ZipFile(backup) as archive, zipfile.ZipFile(tmp_path / "changed.zip", "w") as out:
        copy, manifest = archive.read("database"), json.loads(archive.read("manifest.json"))
        copy = change(copy) if change else copy
        out.writestr("database", copy)
        out.writestr("manifest.json", json.dumps(manifest | (told(manifest) if told else {})))
    return tmp_path / "changed.zip"


def test_into_an_empty_database_it_brings_back_everything_and_its_guards(places, backup):
    with on(places.model):
        before = held()
        numbers = list(Reading.objects.values_list("pk", flat=True))
    with on(places.bare()):
        said = said_by("restore", backup)
        assert "Each table has as many\nrows as when the backup was made" in said and "kept" not in said
        assert Entry.objects.latest("pk").action == "business.restore"
        # without the session: whoever has signed out since must not be signed in again
        assert apart_from_the_trail(held()) == apart_from_the_trail(before)
        add_one()
        assert Reading.objects.latest("pk").pk > max(numbers)
        for model in (each for each in written_once() if each.objects.exists()):
            with pytest.raises(DatabaseError, match="written once"), transaction.atomic():
                model.objects.all()._raw_delete("default")
            with pytest.raises(DatabaseError, match="written once"), transaction.atomic():
                connection.cursor().execute(f"UPDATE {model._meta.db_table} SET id = id")


def test_one_of_before_migrations_were_squashed_is_brought_up_to_date(places, tmp_path):
    loader = MigrationLoader(None)
    later = [name for app, name in loader.graph.nodes if name.startswith("0100_as_of_")]
    with on(places.filled()):
        MigrationRecorder.Migration.objects.filter(name__in=later).delete()
        before = held()
        said_by("backup", tmp_path / "before.zip")
    with on(places.bare()):
        said_by("restore", tmp_path / "before.zip")
        after = held()
        # no rows ahead in this one, so its sites are marked to have theirs laid
        assert {table for table in before if after[table] != before[table]} == {"audit_entry", "plans_unsettled"}
        assert set(loader.disk_migrations) <= set(MigrationRecorder(connection).applied_migrations())


def test_a_database_half_way_is_read_as_it_was():
    had = without_squashes().graph.forwards_plan(("limits", "0002_written_once"))
    models = {model._meta.db_table: model for model in models_of(had, "")}
    assert {field.name for field in models["sites_business"]._meta.fields} == {"id", "name"}


def test_rules_alone_make_way_and_records_do_not(places, backup, tmp_path):
    with on(places.empty()):
        said_by("load_rules")
        assert "kept" not in said_by("restore", backup)
        assert readings() == 20
        add_one()
        with pytest.raises(CommandError, match="holds records that people entered.*(.|\n)*say --replace"):
            said_by("restore", backup)
        assert readings() == 21


def test_records_that_are_replaced_are_kept_beside(places, backup, tmp_path):
    url = places.filled()
    with on(url):
        add_one()
        said = said_by("restore", backup, replace=True)
        kept = said.rpartition("is kept as ")[2].partition(",")[0]
        assert readings() == 20
        if Run.engine == "sqlite":
            assert kept.startswith(f"{file_of(url)}-before-restore-")
            with closing(sqlite3.connect(kept)) as before:
                assert before.execute("SELECT count(*) FROM readings_reading").fetchone() == (21,)
        else:
            cursor = connection.cursor()
            cursor.execute(f"SELECT count(*) FROM {kept.removeprefix('the schema ')}.readings_reading")
            assert cursor.fetchone() == (21,)
            with one_moment():
                copy_to(tmp_path / "later")
            assert b"readings_reading" in (tmp_path / "later").read_bytes()
            assert b"before_restore" not in (tmp_path / "later").read_bytes()


def test_what_goes_wrong_at_the_end_puts_back_what_was_there(places, backup, monkeypatch):
    with on(places.filled()):
        add_one()
        before = held()
        for name, fails in (
            ("contents_of", lambda alias, models: {}),
            ("call_command", lambda *given, **options: 1 / 0),
        ):
            with monkeypatch.context() as patch, pytest.raises((CommandError, ZeroDivisionError), match="again|zero"):
                patch.setattr(saving, name, fails)
                said_by("restore", backup, replace=True)
            assert held() == before
        with pytest.raises(DatabaseError, match="written once"), transaction.atomic():
            Entry.objects.all()._raw_delete("default")


def test_a_damaged_file_is_refused(places, backup, tmp_path):
    whole = backup.read_bytes()
    middle = len(whole) // 2
    for damage in (whole[:middle], whole[:middle] + b"\xff\x00" * 40 + whole[middle + 80 :]):
        backup.write_bytes(damage)
        with on(places.tables), pytest.raises(CommandError, match="is damaged: .*(.|\n)*Nothing was restored"):
            said_by("restore", backup)


def test_a_copy_that_is_not_what_it_was_is_refused(places, backup, tmp_path):
    def other_count(told):
        return {"contents": told["contents"] | {"readings_reading": [21, "0"]}}

    cut = changed(backup, tmp_path, lambda copy: copy[:-30_000])
    with on(places.tables), pytest.raises(CommandError, match="is damaged: it does not hold what it held"):
        said_by("restore", cut)
    other = changed(backup, tmp_path, None, other_count)
    with on(places.tables), pytest.raises(CommandError, match="readings_reading: 21 rows and 20 rows"):
        said_by("restore", other)


def test_what_is_not_ours_is_refused(places, backup, tmp_path):
    (tmp_path / "text").write_text("Shopping: milk")
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as other:
        other.writestr("holiday.txt", "sun")
    newer = changed(backup, tmp_path, None, lambda told: {"migrations": [*told["migrations"], ["sites", "9999_later"]]})
    with on(places.tables):
        for name in ("text", "other.zip"):
            with pytest.raises(CommandError, match=f"{name} is no backup of Noughtbook"):
                said_by("restore", tmp_path / name)
        with pytest.raises(CommandError, match="none.zip: No such file"):
            said_by("restore", tmp_path / "none.zip")
        with pytest.raises(CommandError, match="newer version(.|\n)*sites.9999_later(.|\n)*Update the program"):
            said_by("restore", newer)
        unknown = changed(backup, tmp_path, None, lambda told: {"form": "Noughtbook backup 2"})
        with pytest.raises(CommandError, match="in a form that this program does not know. Update"):
            said_by("restore", unknown)
        assert not Business.objects.exists()


def test_one_of_the_other_engine_is_refused(places, backup, tmp_path):
    other = changed(backup, tmp_path, None, lambda told: {"engine": "Clay"})
    with on(places.tables), pytest.raises(CommandError, match="is a backup of Clay, and the settings name (SQL|Post)"):
        said_by("restore", other)


if Run.engine == "sqlite":

    def test_a_database_that_is_damaged_is_put_aside(places, backup):
        url = places.filled()
        file_of(url).write_bytes(b"\xff" * 5000)
        with on(url), pytest.raises(CommandError, match="cannot be read(.|\n)*--replace"):
            said_by("restore", backup)
        with on(url):
            assert "is kept as" in said_by("restore", backup, replace=True)
            assert readings() == 20

    def test_a_program_that_has_the_file_open_is_told_of(places, backup, monkeypatch):
        monkeypatch.setattr("compliance.service.vault.sqlite.PATIENCE", 0.1)
        url = places.filled()
        with on(url), closing(sqlite3.connect(file_of(url))) as other:
            other.execute("PRAGMA journal_mode = WAL")
            other.execute("BEGIN")
            other.execute("SELECT count(*) FROM sites_person").fetchall()
            with pytest.raises(CommandError, match="is in use by another program. Nothing was changed"):
                said_by("restore", backup, replace=True)
            other.rollback()
            assert other.execute("SELECT count(*) FROM readings_reading").fetchone() == (20,)


if Run.engine == "postgres":

    @pytest.fixture
    def role(settings):
        """The program's lesser role, and its name in the settings."""
        settings.DATABASE_ROLE = f"lesser-{uuid.uuid4().hex[:8]}"
        with psycopg.connect(Run.postgres.url("postgres"), autocommit=True) as shell:
            shell.execute(f'CREATE ROLE "{settings.DATABASE_ROLE}" LOGIN')
        return settings.DATABASE_ROLE

    def test_the_owner_restores_and_the_lesser_role_can_work(places, backup, role, tmp_path):
        url = places.bare()
        with on(url):
            said_by("restore", backup)
        with on(url.replace("postgres@", f"{role}@")):
            add_one()
            assert readings() == 21
            with pytest.raises(DatabaseError, match="permission denied"), transaction.atomic():
                connection.cursor().execute("UPDATE readings_reading SET id = id")
            with pytest.raises(CommandError, match=f"“{role}” may not change tables(.|\n)*as the role that owns them"):
                said_by("restore", backup, replace=True)
            said_by("backup", tmp_path / "lesser.zip")

    def test_a_program_that_works_with_the_tables_is_told_of(places, backup, monkeypatch):
        monkeypatch.setattr("compliance.service.vault.postgres.LOCKED_FOR", "100 ms")
        url = places.model
        with on(url), psycopg.connect(url) as other:
            other.execute("SELECT count(*) FROM readings_reading")
            with pytest.raises(CommandError, match="Another program is working with the tables. Nothing was changed"):
                said_by("restore", backup, replace=True)
            assert readings() == 20
