"""Old code on a newer database and new code on an older one."""

import pytest
from django.core.management.base import CommandError
from django.db import OperationalError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from compliance.service.management.commands import start
from compliance.service.management.commands.start import Command
from shared import versions
from shared.versions import (
    all_recorded,
    refuse_newer,
    refuse_older,
    stop_unless_same_version,
    unknown_here,
    without_squashes,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def newer(db):
    MigrationRecorder(connection).record_applied("limits", "0099_held_from_behind")


@pytest.fixture
def older(db):
    [last] = [name for app, name in without_squashes().graph.leaf_nodes() if app == "notices"]
    MigrationRecorder(connection).record_unapplied("notices", last)
    return last


def test_a_database_of_this_version_is_taken():
    refuse_newer()
    refuse_older()


def test_no_migration_is_loaded_where_all_are_written_down(monkeypatch):
    monkeypatch.setattr(versions, "MigrationLoader", None)
    stop_unless_same_version()


def test_a_newer_database_is_refused_with_what_to_do(newer):
    with pytest.raises(
        CommandError, match=r"newer version of Noughtbook \(by limits 0099_held_from_behind\)"
    ) as refused:
        refuse_newer()
    assert "Install that version here, or restore a backup that was made before" in str(refused.value)


def test_a_feature_that_this_version_does_not_have_is_newer_too(db):
    MigrationRecorder(connection).record_applied("allergens", "0001_initial")
    with pytest.raises(CommandError, match="by allergens 0001_initial"):
        refuse_newer()


def test_what_a_later_migration_stands_for_is_known(newer, monkeypatch):
    loader = MigrationLoader(connection)
    monkeypatch.setattr(
        loader.disk_migrations["limits", "0001_initial"], "replaces", [("limits", "0099_held_from_behind")]
    )
    assert unknown_here(loader) == []


def test_an_older_database_is_refused_with_what_to_do(older):
    refuse_newer()
    with pytest.raises(CommandError, match=rf"\(notices {older}\).\nRun “python manage.py migrate”"):
        refuse_older()


def test_start_leaves_a_newer_database_as_it_is(newer, older):
    with pytest.raises(CommandError, match="newer version"):
        Command()._make_ready(demo=False)
    assert ("notices", older) not in MigrationRecorder(connection).applied_migrations()


def test_start_migrates_what_is_not_written_down_and_else_sees_to_the_guards_alone(monkeypatch):
    called, squash = [], next(name for name, each in MigrationLoader(None).disk_migrations.items() if each.replaces)
    monkeypatch.setattr(start, "call_command", lambda name, **options: called.append(name))
    monkeypatch.setattr(start, "UPKEEP", [lambda using: called.append(using)])
    Command()._make_ready(demo=None)
    MigrationRecorder(connection).record_unapplied(*squash)
    Command()._make_ready(demo=None)
    assert called == ["default", "load_rules", "migrate", "load_rules"]


@pytest.mark.parametrize("state, says", [("newer", "Install that version here"), ("older", "manage.py migrate")])
def test_a_server_a_worker_and_a_beat_end_in_words(state, says, request, monkeypatch):
    request.getfixturevalue(state)
    said = []
    monkeypatch.setattr(versions, "say", said.append)
    with pytest.raises(SystemExit) as ended:
        stop_unless_same_version()
    assert ended.value.code == 1 and says in said[0]


def silent():
    raise OperationalError("no route to the database")


def test_a_database_that_is_still_starting_is_waited_for_and_one_that_does_not_come_is_told_of(monkeypatch):
    said = []
    monkeypatch.setattr(versions, "say", said.append)
    monkeypatch.setattr(versions, "sleep", lambda seconds: monkeypatch.setattr(versions, "all_recorded", all_recorded))
    monkeypatch.setattr(versions, "all_recorded", silent)
    monkeypatch.setattr(versions.connection, "close", lambda: None)
    stop_unless_same_version()
    assert len(said) == 1 and "no route to the database" in said[0]
    monkeypatch.setattr(versions, "all_recorded", silent)
    monkeypatch.setattr(versions, "WAIT_FOR", -1)
    with pytest.raises(SystemExit):
        stop_unless_same_version()
    assert said[-1] == versions.SILENT
