"""`manage.py move DATABASE_URL`: from an SQLite file to a PostgreSQL server, and so once for both engines."""

import sqlite3
from contextlib import closing

import psycopg
import pytest
from django.core.management import CommandError
from django.db import DatabaseError, connection, connections, transaction
from django.test import Client
from django.urls import reverse

from compliance.readings.models import Reading
from compliance.service.vault import moving
from compliance.service.vault.contents import contents_of, migrations_of, models_of
from shared.audit.models import Entry
from sites.models import Business, Person
from tests import everything
from tests.plans.making import check_every
from tests.postgres import Postgres
from tests.readings.files import csv_file, many, row
from tests.vault.places import bring_in, file_of, on, said_by
from tests.world import PASSWORD

pytestmark = [pytest.mark.django_db, pytest.mark.engine("sqlite")]  # its source is a file of SQLite


@pytest.fixture(scope="module")
def server():
    server = Postgres()
    yield server
    server.stop()


@pytest.fixture(scope="module")
def built() -> list[str]:
    return []


@pytest.fixture
def source(places, built):
    """A copy of what was built once."""
    if not built:
        built.append(with_everything(places))
    return places.copy(built[0])


def with_everything(places) -> str:
    """With a record of every noun, a row that names one of a table that comes later, what the two engines write in different
    ways, and numbers whose rows are gone."""
    url = places.empty()
    with on(url):
        world = everything.build()["world"]
        check_every(world.probe, 1, by=world.manager)
        bring_in(many(20), world.manager)
        business = Business.objects.create(name="Gone again")
        Business.objects.filter(pk=business.pk).delete()
        odd = {
            "large": 1e20,
            "small": 1e-7,
            "whole": 5.0,
            "text": "1e20",
            "list": [None, True, 3e300, {"b": -0.0, "a": "é"}],
        }
        Entry.objects.create(action="odd.one", subject_type="x", subject_id=1, subject='tab\t \\N "q"', data=odd)
        Person.objects.filter(name="Mara Holt").update(name="Zoë 雪\\n\tHolt")
    return url


def held(url):
    with on(url):
        return contents_of("default", models_of(migrations_of("default"), ""))


def tables(url):
    with psycopg.connect(url) as shell:
        return shell.execute("SELECT count(*) FROM pg_class WHERE relnamespace = 'public'::regnamespace").fetchone()[0]


def test_everything_is_moved_and_work_goes_on_there(source, server):
    target, before = server.create("moved"), file_of(source).read_bytes()
    sent = held(source)
    with on(source):
        said = said_by("move", target)
        last = {model: model.objects.latest("pk").pk for model in (Reading, Entry)}
    assert "Each has as many rows in PostgreSQL as in SQLite, and the same in them." in said
    assert sent and held(target) == sent
    assert (
        file_of(source).read_bytes()[100:] == before[100:]
    )  # but for what its first page says of the way it is opened
    with on(target):
        works(last)


def works(last):
    """Signing in, pages, and what people add."""
    visitor = Client()
    given = {"username": "mara.holt@example.test", "password": PASSWORD}
    assert visitor.post(reverse("sign_in"), given).status_code == 302
    assert "Alder School" in visitor.get(reverse("home"), follow=True).content.decode()
    person = Person.objects.get(email="mara.holt@example.test")
    bring_in(csv_file(row(item="moved")), person)
    assert Business.objects.create(name="New").pk == 4  # the third one is gone, and its number is not given again
    assert visitor.get(reverse("reading_list"), follow=True).status_code == 200
    for model, number in last.items():
        assert model.objects.latest("pk").pk > number
    with pytest.raises(DatabaseError, match="written once"), transaction.atomic():
        connection.cursor().execute("UPDATE audit_entry SET actor = 'nobody'")


@pytest.fixture
def one_table(monkeypatch):
    """In place of the minutes of `migrate`: the first table, with a name of so many letters."""

    def make(letters):
        columns = f"id bigint, former jsonb, name varchar({letters}), decision_rule text, reliability_target int, review_days int"

        def migrate(*given, database, **options):
            with connections[database].cursor() as cursor:
                cursor.execute(f"CREATE TABLE sites_business ({columns})")

        monkeypatch.setattr(moving, "call_command", migrate)
        monkeypatch.setattr(moving, "models_of", lambda migrations, what: [Business])

    return make


def test_what_arrives_otherwise_leaves_nothing_there(source, server, one_table, monkeypatch):
    one_table(200)
    target = server.create("failed")
    monkeypatch.setattr(moving, "_set_sequences", spoil)
    with on(source), pytest.raises(CommandError, match="What arrived is not what was sent(.|\n)*: 2 rows and 1 rows"):
        said_by("move", target)
    assert tables(target) == 0


def spoil(models, target):
    with connections[target].cursor() as cursor:
        cursor.execute("DELETE FROM sites_business WHERE name = 'Other Meals'")


def test_meanwhile_nobody_writes_to_the_source(source, server, one_table, monkeypatch):
    one_table(200)
    tried = []

    def write(models, target):
        with closing(sqlite3.connect(file_of(source), timeout=0)) as other:
            for shell in (other, connection.connection):
                with pytest.raises(sqlite3.OperationalError, match="locked|readonly"):
                    shell.execute("DELETE FROM django_session")
                tried.append(shell)

    monkeypatch.setattr(moving, "_set_sequences", write)
    with on(source):
        said_by("move", server.create("meanwhile"))
        assert len(tried) == 2
        connection.cursor().execute("DELETE FROM django_session")


def test_what_postgresql_does_not_take_is_named(source, server, one_table):
    one_table(3)
    target = server.create("narrow")
    words = "does not take the table sites_business: value too long(.|\n)*Nothing was written there"
    with on(source), pytest.raises(CommandError, match=words):
        said_by("move", target)
    assert tables(target) == 0


def test_where_it_does_not_go_is_said(source, places, server):
    target = server.create("full")
    with psycopg.connect(target) as shell:
        shell.execute("CREATE TABLE mine (id int)")
    with on(source):
        with pytest.raises(CommandError, match="There are tables in that database already"):
            said_by("move", target)
        for url in ("sqlite:////tmp/x", "nonsense"):
            with pytest.raises(CommandError, match="Name a PostgreSQL database"):
                said_by("move", url)
        connection.cursor().execute("DELETE FROM django_migrations WHERE app = 'sessions'")
        with pytest.raises(CommandError, match="older than this program. Run “python manage.py migrate”"):
            said_by("move", target)
    with on(target), pytest.raises(CommandError, match="name no SQLite database to move from"):
        said_by("move", target)
