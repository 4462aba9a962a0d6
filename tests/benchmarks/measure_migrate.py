"""Makes all tables in an empty database; tells as JSON how long the processor took and what the catalog says of them."""

import json
import sys

import django
from django.core.management import call_command
from django.db import connection

from shared.versions import without_squashes
from tests.benchmarks.engines import processor_seconds
from tests.old_states import migrate_to

SQLITE = "SELECT type, tbl_name, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_sequence%'"
POSTGRES = """
SELECT 'column', c.relname, a.attname::text, concat_ws(' ', format_type(a.atttypid, a.atttypmod),
    CASE WHEN a.attnotnull THEN 'not null' END, nullif(a.attidentity, ''), pg_get_expr(d.adbin, d.adrelid))
FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid LEFT JOIN pg_attrdef d ON d.adrelid = c.oid AND d.adnum = a.attnum
WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND a.attnum > 0 AND NOT a.attisdropped
UNION ALL SELECT 'constraint', conrelid::regclass::text, conname, pg_get_constraintdef(oid)
FROM pg_constraint WHERE connamespace = 'public'::regnamespace
UNION ALL SELECT 'index', tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'
UNION ALL SELECT 'sequence', 'public', relname, '' FROM pg_class
WHERE relkind = 'S' AND relnamespace = 'public'::regnamespace
UNION ALL SELECT 'trigger', tgrelid::regclass::text, tgname, pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal
UNION ALL SELECT 'function', 'public', proname, pg_get_functiondef(oid) FROM pg_proc
WHERE pronamespace = 'public'::regnamespace"""


# Tables and columns that had another name once, which PostgreSQL left in what it had named after them.
ONCE_NAMED = {
    "reminders_reminder": "plans_reminder",
    "lifted_because": "cancelled_because",
    "notices_mark": "notices_notified",
    "notice_checks": "notice_facts",
    "cut_short": "unclear_attempts",
}


def schema() -> list:
    with connection.cursor() as cursor:
        cursor.execute(SQLITE if connection.vendor == "sqlite" else POSTGRES)
        rows = cursor.fetchall()
    return [(kind, table, now_named(name), now_named(told or "").replace('"', "")) for kind, table, name, told in rows]


def now_named(text: str) -> str:
    for once, now in ONCE_NAMED.items():
        text = text.replace(once, now)
    return text


def make(route: str) -> None:
    if route == "each":
        migrate_to(without_squashes().graph.leaf_nodes())
    call_command("migrate", verbosity=0)


if __name__ == "__main__":
    django.setup()
    taken = processor_seconds(lambda: make(sys.argv[1]))
    print(json.dumps({"seconds": taken, "schema": schema()}))
