"""On PostgreSQL whoever owns a table may switch its triggers off. So one role owns the tables and runs `migrate`, and the
program is another, that may add facts and never change them. `migrate` gives it what it needs, each time anew.
"""

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connections

from .guards import written_once

NO_ROLE = "There is no role “{}” in PostgreSQL. Make it with createuser, or unset NOUGHTBOOK_DATABASE_ROLE."
MAY_CHANGE_TABLES = """SELECT coalesce(
    (SELECT pg_has_role(relowner, 'USAGE') FROM pg_class WHERE oid = to_regclass('django_migrations')),
    has_schema_privilege(current_schema(), 'CREATE'), false)"""


def grant_access(using: str, **kwargs) -> None:
    """Let the program's role work and no more. Raises CommandError where there is no such role."""
    connection, role = connections[using], settings.DATABASE_ROLE
    if not role or connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_user = %s, EXISTS (SELECT FROM pg_roles WHERE rolname = %s)", [role, role])
        itself, exists = cursor.fetchone()
        if not exists:
            raise CommandError(NO_ROLE.format(role))
        if not itself:
            cursor.execute("; ".join(_grants(connection, role)))  # one transaction: nobody finds them half given


def _grants(connection, role: str) -> list[str]:
    quoted, to = connection.ops.quote_name, connection.ops.quote_name(role)
    database, facts = quoted(connection.settings_dict["NAME"]), {model._meta.db_table for model in written_once()}
    return [
        f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {to}",
        f"GRANT CONNECT, TEMPORARY ON DATABASE {database} TO {to}",  # a file of readings comes in through a temporary table
        f"GRANT USAGE ON SCHEMA public TO {to}",
        f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {to}",
        *(
            f"GRANT {_rights(table, facts)} ON {quoted(table)} TO {to}"
            for table in sorted(connection.introspection.table_names())
        ),
    ]


def _rights(table: str, facts: set[str]) -> str:
    if table == "django_migrations":
        return "SELECT"
    return "SELECT, INSERT" if table in facts else "SELECT, INSERT, UPDATE, DELETE"


def may_change_tables(connection) -> bool:
    """Whether the role that this program is may migrate, and so switch off what guards the facts."""
    if connection.vendor != "postgresql":
        return True
    with connection.cursor() as cursor:
        cursor.execute(MAY_CHANGE_TABLES)
        return cursor.fetchone()[0]
