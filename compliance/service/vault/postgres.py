"""Copying a PostgreSQL database with PostgreSQL's own pg_dump and pg_restore."""

import json
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from io import TextIOWrapper
from pathlib import Path

from django.conf import settings
from django.core.management.base import CommandError
from django.db import OperationalError, connection, transaction
from psycopg.conninfo import make_conninfo
from psycopg.pq import Conninfo

from shared.grants import may_change_tables

from .archive import Damaged
from .contents import Contents, Tally, fields_of

KIND, KEPT_AS = "PostgreSQL", "the schema {}"
NO_TOOL = """There is no {name}, which comes with PostgreSQL. Install its client programs (on Debian postgresql-client), or name
the folder that they are in with NOUGHTBOOK_POSTGRES_TOOLS."""
OLD_TOOL = """{path} is of PostgreSQL {its}, older than the server, which is of {server}. Install the client programs of
PostgreSQL {server} (on Debian postgresql-client-{server}), or name the folder that they are in with NOUGHTBOOK_POSTGRES_TOOLS."""
NOT_THE_OWNER = """The role “{}” may not change tables in PostgreSQL. Restore as the role that owns them, the one that runs
“manage.py migrate” (README, On Debian, step by step)."""
IN_USE = """Another program is working with the tables. Nothing was changed.
Stop the pages, the workers and the schedule, and try again."""
LOCKED_FOR = "10 s"
FAILED = "{} failed:\n{}"
COPY_BEGINS = re.compile(r'COPY public\."?(\w+)"? \((.*)\) FROM stdin;')
SECRETS = {"password", "sslpassword"}
ESCAPED = re.compile(r"\\(.)")
ESCAPES = {"b": "\b", "f": "\f", "n": "\n", "r": "\r", "t": "\t", "v": "\v"}


@contextmanager
def one_moment() -> Iterator[None]:
    """What is read and copied in the block is the database of one moment, and others go on writing."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        cursor.execute("SET LOCAL idle_in_transaction_session_timeout = 0")  # while pg_dump is at work
        yield


def copy_to(copy: Path) -> None:
    """Inside `one_moment`, of which pg_dump copies the same."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_export_snapshot()")
        [moment] = cursor.fetchone()
    options = (
        "--format=custom",
        "--exclude-schema=before_restore_*",
        "--no-owner",
        "--no-privileges",
        "--no-password",
        "--encoding=UTF8",
    )
    _run("pg_dump", *options, f"--snapshot={moment}", f"--file={copy}", f"--dbname={_address()}")


def contents_of_copy(copy: Path, models: list) -> Contents:
    """Read back from it. Raises Damaged."""
    fields = {model._meta.db_table: fields_of(model) for model in models}
    command = [_tool("pg_restore"), "--data-only", "--file=-", copy]
    found = {}
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as reading:
        lines = TextIOWrapper(reading.stdout, encoding="utf-8", newline="\n")
        for line in lines:
            begun = COPY_BEGINS.match(line)
            if begun and begun[1] in fields:
                columns = [name.strip('" ') for name in begun[2].split(",")]
                found[begun[1]] = _tallied(lines, columns, fields[begun[1]])
        said = reading.stderr.read().decode(errors="replace")
    if reading.returncode:
        raise Damaged(f"pg_restore says: {said.strip()}")
    return found


def _tallied(lines: Iterator[str], columns: list[str], fields: list) -> list:
    """The rows of one table, in the text form of PostgreSQL's COPY."""
    tally, places = Tally(fields), [columns.index(field.column) for field in fields]
    for line in lines:
        if line == "\\.\n":
            break
        texts = line[:-1].split("\t")
        tally.add(_read(field, texts[place]) for field, place in zip(fields, places, strict=True))
    return tally.told()


def _read(field, text: str):
    if text == "\\N":
        return None
    text = ESCAPED.sub(lambda found: ESCAPES.get(found[1], found[1]), text)
    if field.get_internal_type() == "JSONField":
        return json.loads(text)
    return bytes.fromhex(text[2:]) if field.get_internal_type() == "BinaryField" else field.to_python(text)


def stop_if_not_allowed() -> None:
    if not may_change_tables(connection):
        raise CommandError(NOT_THE_OWNER.format(connection.settings_dict["USER"] or connection.connection.info.user))
    _tool("pg_restore")


@contextmanager
def replaced_by(copy: Path, before: str) -> Iterator[str]:
    """In the block the copy is in place of the tables; where the block fails, those from before are back.

    Gives the schema in which they are kept: no record is deleted.
    """
    kept = before.replace("-", "_")
    try:
        with transaction.atomic():
            _move_tables("public", kept)
    except OperationalError as refused:
        raise CommandError(IN_USE) from refused
    try:
        options = ("--no-owner", "--no-privileges", "--no-password", "--exit-on-error", "--single-transaction")
        _run("pg_restore", *options, f"--dbname={_address()}", copy)
        yield kept
    except BaseException:
        with transaction.atomic():
            _move_tables("public", "not_restored")
            forget("not_restored")
            _move_tables(kept, "public")
            forget(kept)
        raise


def forget(kept: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DROP SCHEMA {kept} CASCADE")


def _move_tables(old: str, new: str) -> None:
    """With indexes, triggers and sequences, and the functions of the triggers."""
    with connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL lock_timeout = '{LOCKED_FOR}'")
        cursor.execute(f"CREATE SCHEMA IF NOT EXISTS {new}")
        cursor.execute(
            """SELECT format('TABLE %%I.%%I', relnamespace::regnamespace, relname) FROM pg_class
            WHERE relkind IN ('r', 'p') AND relnamespace = %s::regnamespace
            UNION ALL SELECT format('FUNCTION %%s', oid::regprocedure) FROM pg_proc WHERE pronamespace = %s::regnamespace""",
            [old, old],
        )
        for (thing,) in cursor.fetchall():
            cursor.execute(f"ALTER {thing} SET SCHEMA {new}")


def _address() -> str:
    """The database for the command line, which others on the machine may read: without what is secret."""
    known = {option.keyword.decode() for option in Conninfo.get_defaults()} - SECRETS
    return make_conninfo(**{name: value for name, value in connection.get_connection_params().items() if name in known})


def _run(name: str, *arguments) -> None:
    connection.ensure_connection()
    password = connection.connection.info.password
    secret = {"PGPASSWORD": password} if password else {}
    command = [_tool(name), *arguments]
    done = subprocess.run(command, env=os.environ | secret, stdin=subprocess.DEVNULL, capture_output=True, text=True)
    if done.returncode:
        raise CommandError(FAILED.format(name, done.stderr.strip()))


def _tool(name: str) -> str:
    """Where it is. Raises CommandError saying what to do where it is nowhere, or older than the server."""
    path = shutil.which(name, path=settings.POSTGRES_TOOLS or None)
    if path is None:
        raise CommandError(NO_TOOL.format(name=name))
    said = subprocess.run([path, "--version"], capture_output=True, text=True).stdout
    its, server = re.search(r"\(PostgreSQL\) (\d+)", said), connection.pg_version // 10000
    if its is None or int(its[1]) < server:
        raise CommandError(OLD_TOOL.format(path=path, its=its[1] if its else "no version", server=server))
    return path
