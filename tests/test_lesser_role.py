"""The program's own role in PostgreSQL: it works in full, and cannot change a record or switch off what refuses that."""

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.test import override_settings
from django.urls import reverse
from django.utils import timezone

from compliance.reminders.planning import extend_horizon, settle_all
from compliance.service.management.commands.start import Command
from shared.audit.models import Entry
from shared.audit.trail import registry
from shared.grants import grant_access, may_change_tables
from shared.guards import written_once
from shared.system_checks import check_owner_of_tables
from tests.audit.samples import SAMPLES
from tests.rows import fill

pytestmark = pytest.mark.engine("postgres")  # SQLite knows no roles
ROLE = "noughtbook-lesser"
FORBIDDEN = [
    "UPDATE {table} SET {pk} = {pk}",
    "DELETE FROM {table}",
    "TRUNCATE {table} CASCADE",
    "SELECT * FROM {table} FOR UPDATE",
    "ALTER TABLE {table} DISABLE TRIGGER ALL",
    "ALTER TABLE {table} DISABLE TRIGGER {table}_refuses_update",
    "DROP TRIGGER {table}_refuses_update ON {table}",
    "CREATE RULE nothing AS ON INSERT TO {table} DO INSTEAD NOTHING",
    "DROP TABLE {table} CASCADE",
    "ALTER TABLE {table} OWNER TO CURRENT_USER",
]
BEYOND_TABLES = [
    "SET session_replication_role = replica",
    "DROP FUNCTION noughtbook_written_once() CASCADE",
    "CREATE OR REPLACE FUNCTION noughtbook_written_once() RETURNS trigger LANGUAGE sql AS 'SELECT 1'",
    "CREATE TABLE public.mine (id int)",
    "DELETE FROM django_migrations",
    "SET ROLE postgres",  # who logs in as this role is a member of no other
]


def run(sql):
    with connection.cursor() as cursor:
        cursor.execute(sql)


@pytest.fixture(scope="module")
def role(django_db_setup, django_db_blocker):
    """The role, with what `migrate` leaves it, for all tests of this file: each takes back what it does."""
    with django_db_blocker.unblock(), transaction.atomic(), override_settings(DATABASE_ROLE=ROLE):
        run(f'CREATE ROLE "{ROLE}" LOGIN')
        grant_access("default")
        yield ROLE
        transaction.set_rollback(True)


@pytest.fixture
def become(role, world):
    """From here on everything is done by the lesser role."""

    def become():
        run("SET CONSTRAINTS ALL IMMEDIATE")
        run("SET CONSTRAINTS ALL DEFERRED")
        run(f'SET SESSION AUTHORIZATION "{role}"')

    return become


@pytest.mark.parametrize("model", written_once(), ids=lambda model: model._meta.label)
def test_it_may_add_records_and_never_change_them(model, world, become):
    become()
    row = fill(model, world)
    run(f"GRANT UPDATE ON {model._meta.db_table} TO CURRENT_USER")  # a warning, and nothing granted
    for sql in FORBIDDEN:
        with pytest.raises(DatabaseError, match="permission denied|must be owner"), transaction.atomic():
            run(sql.format(table=model._meta.db_table, pk=model._meta.pk.column))
    assert model.objects.filter(pk=row.pk).exists()


@pytest.mark.parametrize("sql", BEYOND_TABLES)
def test_it_cannot_go_round_the_guards(sql, become):
    become()
    with pytest.raises(DatabaseError, match="permission denied|must be owner"), transaction.atomic():
        run(sql)


@pytest.mark.parametrize("name", sorted(registry.keys() & SAMPLES.keys()))
def test_every_action_works(name, world, become):
    arguments = SAMPLES[name](world)
    call = arguments.pop("call", registry[name])
    become()
    call(**arguments)
    assert Entry.objects.filter(action=name).exists()


def test_the_tasks_and_the_pages_work(world, become, as_person):
    arguments = SAMPLES["check.record"](world)
    become()
    registry["check.record"](**arguments)
    settle_all()
    extend_horizon(timezone.now())
    visitor = as_person(world.supervisor)
    for address in ("home", "reading_list", "case_list"):
        assert visitor.get(reverse(address), follow=True).status_code == 200


def test_start_goes_on_where_the_tables_are_up_to_date(become):
    become()
    Command()._make_ready(demo=False)


def test_start_says_what_to_run_where_they_are_not(become):
    run("DELETE FROM django_migrations WHERE app = 'sessions'")
    become()
    with pytest.raises(CommandError, match="manage.py migrate” as the role that owns them"):
        Command()._make_ready(demo=False)


def test_a_role_that_may_change_tables_is_warned_of(become):
    assert may_change_tables(connection)
    assert [found.id for found in check_owner_of_tables(None, ["default"])] == ["noughtbook.W011"]
    become()
    assert check_owner_of_tables(None, ["default"]) == []


def test_migrate_says_that_there_is_no_such_role(db, settings):
    settings.DATABASE_ROLE = "nobody-of-that-name"
    with pytest.raises(CommandError, match="no role “nobody-of-that-name”.*createuser"):
        call_command("migrate", verbosity=0)
