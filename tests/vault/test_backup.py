"""`manage.py backup FILE`."""

import os
import sqlite3
import threading
from contextlib import closing
from datetime import timedelta

import pytest
from django.core.management import CommandError
from django.db import connection, connections

from compliance.service.vault import saving
from compliance.service.vault.archive import unpack
from sites.models import Person
from tests.engines import Run
from tests.readings.files import START, csv_file, row
from tests.vault.places import bring_in, file_of, on, readings, said_by

pytestmark = pytest.mark.django_db


def test_it_says_what_is_in_the_file_which_its_owner_alone_reads(places, tmp_path):
    before = os.umask(0o022)
    with on(places.model):
        said = said_by("backup", tmp_path / "a.zip")
    os.umask(before)
    assert "Read back, each\ntable has as many rows as in the database" in said
    assert (tmp_path / "a.zip").stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.iterdir()] == ["a.zip"]
    assert unpack(tmp_path / "a.zip", tmp_path)[1]["contents"]["readings_reading"][0] == 20


def test_a_file_that_is_there_stays_as_it_is(places, tmp_path):
    (tmp_path / "a.zip").write_text("kept")
    with on(places.model), pytest.raises(CommandError, match="is there already and stays as it is. Name another"):
        said_by("backup", tmp_path / "a.zip")
    assert (tmp_path / "a.zip").read_text() == "kept"


def test_in_a_folder_it_is_named_for_the_time_and_the_oldest_go(places, tmp_path):
    old = [f"noughtbook-2026010{day}T000000Z.zip" for day in (1, 2, 3)]
    for name in [*old, "mine.zip"]:
        (tmp_path / name).touch()
    with on(places.model):
        said = said_by("backup", tmp_path, keep=2)
        with pytest.raises(CommandError, match="a number from 1 on, and a folder"):
            said_by("backup", tmp_path / "a.zip", keep=2)
    left = sorted(path.name for path in tmp_path.iterdir())
    assert "mine.zip" in left and old[2] in left and len(left) == 3
    assert f"Deleted {old[0]}: 2 are kept." in said


def test_what_goes_wrong_leaves_no_file_and_deletes_none(places, tmp_path, monkeypatch):
    (tmp_path / "noughtbook-20260101T000000Z.zip").touch()
    lost = lambda alias, models: {"readings_reading": [21, "0"]}  # noqa: E731
    monkeypatch.setattr(saving, "contents_of", lost)
    with (
        on(places.model),
        pytest.raises(CommandError, match="no backup was made(.|\n)*reading: 21 rows and 20 rows"),
    ):
        said_by("backup", tmp_path, keep=1)
    assert [path.name for path in tmp_path.iterdir()] == ["noughtbook-20260101T000000Z.zip"]


def test_where_there_is_nothing_to_back_up_or_no_place_for_it_that_is_said(places, tmp_path):
    with on(places.bare()), pytest.raises(CommandError, match="nothing to back up"):
        said_by("backup", tmp_path / "a.zip")
    with on(places.model), pytest.raises(CommandError, match="nowhere: No such file or directory"):
        said_by("backup", tmp_path / "nowhere" / "a.zip")


def test_while_readings_come_in_each_backup_is_of_one_moment(places, tmp_path):
    """So short a file is one transaction, so that there are 50 readings for each in every backup, or it is of no one moment."""
    backups = [tmp_path / f"{number}.zip" for number in range(4)]
    enough = threading.Event()

    def bring_in_more():
        person, day = Person.objects.get(name="Mara Holt"), 1
        while not enough.is_set():
            moved = [(START + timedelta(days=day, minutes=n)).isoformat() for n in range(50)]
            bring_in(csv_file(*(row(taken_at=at) for at in moved)), person)
            day += 1
            enough.wait(0.05)
        connections.close_all()

    url = places.filled()
    with on(url):
        writer = threading.Thread(target=bring_in_more)
        writer.start()
        try:
            for file in backups:
                said_by("backup", file)
        finally:
            enough.set()
            writer.join()
    (tmp_path / "room").mkdir()
    told = [unpack(file, tmp_path / "room")[1]["contents"] for file in backups]
    imports = [each["readings_import"][0] for each in told]
    assert [each["readings_reading"][0] for each in told] == [20 + 50 * (number - 1) for number in imports]
    assert imports == sorted(imports) and len(set(imports)) > 2
    with on(url):
        said_by("restore", backups[0], replace=True)
        assert readings() == 20 + 50 * (imports[0] - 1)


if Run.engine == "sqlite":

    def test_what_is_in_the_wal_alone_is_in_the_backup(places, tmp_path):
        url = places.bare()
        with on(url), closing(sqlite3.connect(file_of(places.filled()))) as model:
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA wal_autocheckpoint = 0")
            model.backup(connection.connection)
            assert file_of(url).stat().st_size <= 4096
            said_by("backup", tmp_path / "a.zip")
        with on(places.bare()):
            said_by("restore", tmp_path / "a.zip")
            assert readings() == 20

    def test_a_damaged_database_is_told_of(places, tmp_path):
        url = places.filled()
        with file_of(url).open("r+b") as file:
            file.seek(file_of(url).stat().st_size // 2)
            file.write(b"\xff" * 40_000)
        with on(url), pytest.raises(Exception, match="malformed|the database is damaged"):
            said_by("backup", tmp_path / "a.zip")
        assert not list(tmp_path.iterdir())


if Run.engine == "postgres":

    @pytest.fixture
    def tools(tmp_path, settings):
        """Programs in place of PostgreSQL's."""
        settings.POSTGRES_TOOLS = str(tmp_path / "bin")
        (tmp_path / "bin").mkdir()

        def put(name, script):
            (tmp_path / "bin" / name).write_text(f"#!/bin/sh\n{script}\n")
            (tmp_path / "bin" / name).chmod(0o755)

        return put

    def test_a_tool_that_is_missing_or_too_old_is_named(places, tmp_path, tools):
        with on(places.model):
            with pytest.raises(CommandError, match="There is no pg_dump(.|\n)*NOUGHTBOOK_POSTGRES_TOOLS"):
                said_by("backup", tmp_path / "a.zip")
            tools("pg_dump", "echo 'pg_dump (PostgreSQL) 9.6.24'")
            with pytest.raises(CommandError, match="pg_dump is of PostgreSQL 9, older than the server"):
                said_by("backup", tmp_path / "a.zip")

    def test_the_password_is_not_on_the_command_line(places, tmp_path, tools):
        tools(
            "pg_dump",
            f"""[ "$1" = --version ] && exec echo 'pg_dump (PostgreSQL) 99.1'
            echo "$@" >{tmp_path}/said; echo "$PGPASSWORD" >{tmp_path}/secret; echo 'server is tired' >&2; exit 1""",
        )
        url, words = places.model.replace("postgres@", "postgres:open-sesame@"), "pg_dump failed:\nserver is tired"
        with on(url), pytest.raises(CommandError, match=words):
            said_by("backup", tmp_path / "a.zip")
        assert (tmp_path / "secret").read_text() == "open-sesame\n"
        said = (tmp_path / "said").read_text()
        assert "dbname=vault_" in said and "sesame" not in said
        assert "sslcertmode" not in said  # which psycopg's library knows and an older pg_dump does not

    def test_every_kind_of_text_is_read_back_from_a_dump_as_it_was(places, tmp_path):
        nasty = 'tab\t line\n return\r back\\slash \\N \b\f\v "quoted" Zoë 雪 \\.'
        with on(places.filled()):
            Person.objects.filter(name="Mara Holt").update(name=nasty)
            said_by("backup", tmp_path / "a.zip")
            Person.objects.update(name="-")
            said_by("restore", tmp_path / "a.zip", replace=True)
            assert Person.objects.filter(name=nasty).exists()
