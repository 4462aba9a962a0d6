"""Whether anything can be saved, found by writing: on a file system that is full, a file that is only read, a lesser role."""

import os
import resource
import subprocess
from contextlib import contextmanager, suppress

import pytest
from django.db import DatabaseError, connection, connections, transaction
from django.db.backends.sqlite3.base import DatabaseWrapper

from compliance.service import writable
from compliance.service.models import TaskRun
from compliance.service.writable import HELD, SAYS, Seldom, refused, unwritable
from shared.trouble import Trouble, trouble_of

on_sqlite, on_postgresql = pytest.mark.engine("sqlite"), pytest.mark.engine("postgres")


@contextmanager
def opened(file, **options):
    """As the program opens it; `django.db.connection` is this one in the block."""
    known, before = connections["default"].settings_dict, connections["default"]
    given = {"init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;", "timeout": 0.1} | options
    connections["default"] = DatabaseWrapper({**known, "NAME": file, "OPTIONS": given}, "default")
    try:
        yield connections["default"]
    finally:
        connections["default"].close()
        connections["default"] = before


@pytest.fixture
def book(tmp_path, django_db_blocker, monkeypatch):
    """Makes an SQLite file with the table that the health page writes to; gives where it is."""
    monkeypatch.setattr(writable, "LEAST_FREE", 0)
    monkeypatch.setattr(writable, "seldom", Seldom())

    def make(folder):
        with opened(folder / "book.sqlite3") as made:
            with made.schema_editor() as editor:
                editor.create_model(TaskRun)
            assert refused() == ""
        return folder / "book.sqlite3"

    with django_db_blocker.unblock():
        yield make


@pytest.fixture
def small_disk(tmp_path):
    """A file system of 2 MB."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", disk], capture_output=True).returncode:
        pytest.skip("only root may mount a small file system")
    yield disk
    subprocess.run(["umount", "-l", disk], check=True)


def fill(disk) -> None:
    with suppress(OSError), (disk / "filling").open("wb", buffering=0) as filling:
        while True:
            filling.write(bytes(4096))


@on_sqlite
def test_a_full_disk_is_told_and_so_is_the_room_that_is_made(small_disk, book):
    with opened(book(small_disk)) as database:
        assert refused() == ""
        fill(small_disk)
        with transaction.atomic(), database.cursor() as cursor:
            cursor.execute("UPDATE service_taskrun SET name = 'taken back'")
            transaction.set_rollback(True)  # which is why nothing is found by it
        assert refused() == SAYS[Trouble.FULL]
        assert TaskRun.objects.count() == 1  # it can be read
        (small_disk / "filling").unlink()
        assert refused() == ""


@on_sqlite
def test_where_a_full_disk_leaves_no_room_even_to_open_the_file_it_is_a_full_disk(small_disk, book):
    file = book(small_disk)
    fill(small_disk)
    with opened(file), pytest.raises(DatabaseError) as full:
        TaskRun.objects.count()
    assert trouble_of(full.value) is Trouble.FULL


@on_sqlite
def test_a_disk_that_is_nearly_full_is_told_while_little_things_can_still_be_saved(small_disk, book, monkeypatch):
    monkeypatch.setattr(writable, "LEAST_FREE", 20)
    with opened(book(small_disk)):
        assert refused() == ""
        assert unwritable() == "The disk is nearly full: 1 MB are left. Make room before nothing can be saved"


@on_sqlite
def test_a_limit_to_the_size_of_files_is_a_full_disk(tmp_path, book):
    with opened(book(tmp_path)):
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        assert refused() == ""
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, before[1]))
        try:
            assert refused() == SAYS[Trouble.FULL]
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        assert refused() == ""


@on_sqlite
def test_a_database_that_may_not_grow_is_full(tmp_path, book):
    with opened(book(tmp_path)) as database, database.cursor() as cursor:
        cursor.execute("PRAGMA max_page_count = 1")
        with pytest.raises(DatabaseError) as full:
            TaskRun.objects.bulk_create([TaskRun(name=f"{n:064}", at="2026-03-11T12:00Z") for n in range(1000)])
        assert trouble_of(full.value) is Trouble.FULL


@on_sqlite
def test_a_file_that_may_only_be_read_is_told(tmp_path, book):
    file = book(tmp_path)
    with opened(f"file:{file}?mode=ro", uri=True):
        assert unwritable() == SAYS[Trouble.READ_ONLY]
        assert TaskRun.objects.count() == 1


@on_sqlite
@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everything")
def test_a_file_that_others_own_is_told(tmp_path, book):
    file = book(tmp_path)
    file.chmod(0o400)
    with opened(file):
        assert unwritable() == SAYS[Trouble.READ_ONLY]


@on_sqlite
def test_a_file_that_another_program_keeps_is_told_at_every_question(tmp_path, book, monkeypatch):
    monkeypatch.setattr(writable, "WAIT_FOR_WRITERS", 0)
    file = book(tmp_path)
    with opened(file):
        assert unwritable() == ""
        keeper = DatabaseWrapper({**connections["default"].settings_dict}, "keeper")
        with keeper.cursor() as cursor:
            cursor.execute("BEGIN IMMEDIATE")
            assert unwritable() == HELD
            cursor.execute("ROLLBACK")
        keeper.close()
        assert unwritable() == ""


@on_sqlite
def test_however_often_it_is_asked_it_is_seldom_written(tmp_path, book, monkeypatch):
    with opened(book(tmp_path)):
        written = []
        monkeypatch.setattr(writable, "refused", lambda: written.append(1) or "")
        moment = [100.0]
        monkeypatch.setattr(writable, "monotonic", lambda: moment[0])
        for _ in range(50):
            unwritable()
        assert len(written) == 1
        moment[0] += writable.EVERY
        unwritable()
        assert len(written) == 2


@on_postgresql
@pytest.mark.django_db
def test_a_server_that_only_lets_read_is_told():
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL transaction_read_only = on")  # as default_transaction_read_only does
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        assert refused() == SAYS[Trouble.READ_ONLY]
        raise ZeroDivisionError


@on_postgresql
@pytest.mark.django_db
def test_a_role_without_the_right_to_write_is_told():
    with connection.cursor() as cursor:
        cursor.execute("CREATE ROLE onlooker LOGIN; GRANT SELECT ON service_taskrun TO onlooker")
        cursor.execute("SET SESSION AUTHORIZATION onlooker")
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        assert refused() == SAYS[Trouble.READ_ONLY]
        raise ZeroDivisionError


@on_postgresql
@pytest.mark.django_db
def test_where_all_may_be_written_nothing_is_told_and_nothing_is_left_behind(monkeypatch):
    monkeypatch.setattr(writable, "seldom", Seldom())
    assert unwritable() == ""
    assert TaskRun.objects.filter(name="health").exists()
    with connection.cursor() as cursor:
        cursor.execute("SELECT to_regclass('pg_temp.noughtbook_room')")
        assert cursor.fetchone() == (None,)
