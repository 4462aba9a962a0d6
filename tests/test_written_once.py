"""The database itself refuses to change or remove a fact, on both engines, whoever asks."""

import itertools

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from compliance.limits.models import Rule, RuleSet
from shared.append_only import Fact, WrittenOnce
from shared.audit.models import Entry, HashedColumns
from shared.guards import guard_records, written_once
from tests.rows import fill

FACTS = sorted((m for m in apps.get_models() if issubclass(m, Fact)), key=lambda m: m._meta.label)
GUARDED = [*FACTS, Entry, HashedColumns, Rule, RuleSet]
VERBS = {
    "update": "UPDATE {table} SET {column} = {column}",
    "delete": "DELETE FROM {table}",
    "truncate": "TRUNCATE {table} CASCADE",
}
guarded = pytest.mark.parametrize("model", GUARDED, ids=lambda model: model._meta.label)


@pytest.fixture
def row(model, world):
    return fill(model, world)


@pytest.fixture
def cursor(row):
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # TRUNCATE will not even start while checks are pending
        yield cursor


@guarded
def test_the_database_refuses(model, row, cursor):
    """SQLite has no TRUNCATE: its DELETE without WHERE is the same act."""
    for verb in VERBS if connection.vendor == "postgresql" else ("update", "delete"):
        statement = VERBS[verb].format(table=model._meta.db_table, column=model._meta.pk.column)
        with (
            pytest.raises(DatabaseError, match=f"records in {model._meta.db_table} are written once"),
            transaction.atomic(),
        ):
            cursor.execute(statement)
        assert model.objects.filter(pk=row.pk).exists()


FACT = pytest.mark.parametrize("model", FACTS, ids=lambda model: model._meta.label)


@FACT
def test_the_model_refuses_before_the_database_is_asked(model, row, django_assert_num_queries):
    attempts = [row.save, row.delete, model.objects.all().delete, lambda: model.objects.update(recorded_by=1)]
    with django_assert_num_queries(0):
        for attempt in attempts:
            with pytest.raises(WrittenOnce):
                attempt()


def test_facts_rules_and_the_trail_are_guarded():
    assert set(written_once()) == set(GUARDED)


WEAKENED = {
    "sqlite": ["DROP TRIGGER audit_entry_refuses_REPLACE", "DROP TRIGGER readings_reading_refuses_UPDATE"],
    "postgresql": [
        "ALTER TABLE audit_entry DISABLE TRIGGER ALL",
        "DROP TRIGGER readings_reading_refuses_update ON readings_reading",
    ],
}
TRIGGERS = {
    "sqlite": "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name",
    "postgresql": "SELECT tgname, tgenabled FROM pg_trigger WHERE NOT tgisinternal ORDER BY tgname",
}


def test_migrate_sets_what_is_missing_or_off_and_leaves_the_rest_alone(db):
    with connection.cursor() as cursor:

        def triggers():
            cursor.execute(TRIGGERS[connection.vendor])
            return cursor.fetchall()

        before = triggers()
        for statement in WEAKENED[connection.vendor]:
            cursor.execute(statement)
        assert triggers() != before
        guard_records("default")
        assert triggers() == before
    with CaptureQueriesContext(
        connection,
    ) as again:
        guard_records("default")
    assert {query["sql"].split()[0] for query in again} <= {"SELECT", "PRAGMA"}


def test_nothing_else_is_guarded_unseen(db):
    """Each trigger belongs to a table of this file's list, so that a guard without a test cannot creep in."""
    sql = "SELECT tbl_name FROM sqlite_master WHERE type = 'trigger'"
    if connection.vendor == "postgresql":
        sql = "SELECT DISTINCT event_object_table FROM information_schema.triggers"
    with connection.cursor() as cursor:
        cursor.execute(sql)
        tables = set(itertools.chain.from_iterable(cursor.fetchall()))
    assert tables == {model._meta.db_table for model in GUARDED}
