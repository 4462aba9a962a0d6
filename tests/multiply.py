"""Makes thousands of sites of a few, table by table, each with one INSERT … SELECT.

A copy has every row of the sites it is made of, with keys and names of its own: what the actions wrote of one site, they would
have written of the other. Only the trail's `data` and `subject`, in words, say nothing of the copy. What belongs to the business
as a whole is there once; so are the people with a role for an area. Rows lie in their table by the time of their recording.
"""

from collections.abc import Iterable

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, models, transaction

from shared.audit.models import Entry
from shared.guards import guard_records
from sites.models import Area, Membership, Person

ONCE = {"sites.business", "sites.businessrules", "sites.area", "limits.ruleset", "limits.rule", "audit.hashedcolumns"}
# Working state, secrets and what is told of the day.
LEFT_OUT = {
    "checks.checkdraft",
    "readings.pendingupload",
    "sites.kitchendevice",
    "sites.kitchenpin",
    "sites.passwordlink",
    "sites.passwordtries",
}
OURS = (
    "sites",
    "audit",
    "limits",
    "appliances",
    "probes",
    "checks",
    "readings",
    "quarantine",
    "plans",
    "reminders",
    "advice",
)
ANCHOR = "CASE WHEN s.{0} = '' THEN '' ELSE substr(s.{0}, 1, 6) || {1} END"  # check:12, event:12
AFTER_ANCHOR = "CAST(nullif(substr(s.{0}, 7), '') AS bigint)"
NAMED = "s.{} || c.tag"


def multiply(area_of: list[int]) -> None:
    """As many of each site as there are areas named, each in its own, in the place of the first."""
    with connection.constraint_checks_disabled(), transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            _drop_triggers(cursor)
        copying = Copying(len(area_of), first_key=10_000)
        for model in tables():
            copying.take(model, moved=True)
        copying.put(enumerate(area_of))
    if connection.vendor == "sqlite":
        connection.check_constraints()
    guard_records("default")
    _settle()


def tables() -> list[type[models.Model]]:
    found = [model for model in apps.get_models(include_auto_created=True) if model._meta.app_label in OURS]
    return [m for m in found if m._meta.managed and not m._meta.proxy and m._meta.label_lower not in ONCE | LEFT_OUT]


def _drop_triggers(cursor) -> None:
    cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
    for (name,) in cursor.fetchall():
        cursor.execute(f"DROP TRIGGER {name}")


def _settle() -> None:
    """PostgreSQL would come to it by itself. Nobody has SQLite gather statistics: it plans by its rules."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            for sql in ("VACUUM ANALYZE", *connection.ops.sequence_reset_sql(no_style(), tables())):
                cursor.execute(sql)


class Copying:
    """Of the rows that were taken, any number of copies. In SQL `s` is the row that is copied, `c` the copy.

    The keys of what is there once lie below `first_key`, those of the copies above.
    """

    def __init__(self, most: int, first_key: int):
        self.most, self.first_key = most, first_key
        self.taken: list[type[models.Model]] = []
        everywhere = Membership.objects.filter(area__isnull=False).values_list("person", flat=True)
        self.people = ", ".join(map(str, sorted(set(everywhere))))

    def take(self, model: type[models.Model], *, moved: bool = False) -> None:
        """Keep the rows as they are now; `moved`: and take them out of their table."""
        copied = f"NOT ({self._kept().get(model._meta.label_lower, 'false')})"
        table = model._meta.db_table
        with connection.cursor() as cursor:
            cursor.execute(f"CREATE TEMPORARY TABLE taken_{table} AS SELECT * FROM {table} WHERE {copied}")
            if moved:
                _unguarded(cursor)
                cursor.execute(f"DELETE FROM {table} WHERE {copied}")
        self.taken.append(model)

    def _kept(self) -> dict[str, str]:
        once = ", ".join(f"'{label}'" for label in sorted(ONCE))
        one_of_those = f"subject_type = 'sites.person' AND subject_id IN ({self.people})"
        return {
            "sites.person": f"id IN ({self.people})",
            "sites.personname": f"person_id IN ({self.people})",
            "sites.membership": "area_id IS NOT NULL",
            "plans.checkplan": "business_id IS NOT NULL",
            "plans.closure": "site_id IS NULL",
            "audit.entry": f"subject_type IN ({once}) OR ({one_of_those})",
        }

    def put(self, copies: Iterable[tuple[int, int]]) -> None:
        """Copies by number, which is below `most`, and area. Number 0 has the names that the first had."""
        rows = [(k, f" {k + 1}" if k else "", area) for k, area in copies]
        with connection.cursor() as cursor:
            cursor.execute("CREATE TEMPORARY TABLE copies (k integer PRIMARY KEY, tag text, area bigint)")
            cursor.executemany("INSERT INTO copies VALUES (%s, %s, %s)", rows)
            _unguarded(cursor)
            for model in self.taken:
                self._put(cursor, model)
            if connection.vendor == "postgresql":
                cursor.execute("SET LOCAL session_replication_role = origin")
            cursor.execute("DROP TABLE copies")

    def _put(self, cursor, model: type[models.Model]) -> None:
        table, fields = model._meta.db_table, model._meta.concrete_fields
        columns = ", ".join(f'"{field.column}"' for field in fields)
        values = ", ".join(self._value(model, field) for field in fields)
        cursor.execute(
            f"INSERT INTO {table} ({columns}) SELECT {values} FROM taken_{table} s CROSS JOIN copies c ORDER BY {_order(model)}"
        )

    def _value(self, model: type[models.Model], field: models.Field) -> str:
        if special := self._special().get(f"{model._meta.label_lower}.{field.name}"):
            return special
        if field.is_relation:
            return self._relation(field)
        return self._key(f's."{field.column}"') if field.primary_key else f's."{field.column}"'

    def _key(self, old: str) -> str:
        return f"({old} * {self.most} + c.k + {self.first_key})"

    def _person(self, column: str) -> str:
        return f"CASE WHEN s.{column} IN ({self.people}) THEN s.{column} ELSE {self._key(f's.{column}')} END"

    def _relation(self, field: models.Field) -> str:
        column = f's."{field.column}"'
        if field.related_model is Person:
            return self._person(field.column)
        if field.related_model is Area:
            return f"CASE WHEN {column} IS NULL THEN NULL ELSE c.area END"
        return column if field.related_model._meta.label_lower in ONCE else self._key(column)

    def _special(self) -> dict[str, str]:
        uuid, array = ("::uuid", "jsonb_build_array") if connection.vendor == "postgresql" else ("", "json_array")
        code = "s.code || replace(c.tag, ' ', '-')"
        digest = "CASE WHEN c.k = 0 THEN s.key ELSE md5(CAST(s.key AS text) || c.tag){} END"
        return {
            "sites.site.name": NAMED.format("name"),
            "sites.sitesettings.name": NAMED.format("name"),
            "sites.person.name": NAMED.format("name"),
            "sites.personname.name": NAMED.format("name"),
            "sites.person.email": "replace(s.email, '@', replace(c.tag, ' ', '.') || '@')",
            "probes.probe.code": code,
            "probes.probeparticulars.code": code,
            "readings.reading.key": digest.format(""),
            "readings.import.sites": f"{array}({self._key('s.site_id')})",
            "checks.check.key": digest.format(uuid),
            "checks.span.anchor": self._anchor("anchor"),
            "quarantine.decision.case": self._anchor("case"),
            "quarantine.signature.case": self._anchor("case"),
            **{
                f"audit.entry.{name}": "NULL" for name in ("business_id", "number", "house", "facts")
            },  # no chain of copies
            "audit.entry.site_id": self._key("s.site_id"),
            "audit.entry.actor_id": self._person("actor_id"),
            "audit.entry.actor": f"CASE WHEN s.actor_id IN ({self.people}) THEN s.actor ELSE s.actor || c.tag END",
            "audit.entry.subject_id": self._key("s.subject_id"),
        }

    def _anchor(self, column: str) -> str:
        quoted = f'"{column}"'
        return ANCHOR.format(quoted, self._key(AFTER_ANCHOR.format(quoted)))


def _unguarded(cursor) -> None:
    """What is copied was consistent; to look each key up again would take longest."""
    if connection.vendor == "postgresql":
        cursor.execute("SET LOCAL session_replication_role = replica")


def _order(model: type[models.Model]) -> str:
    names = {field.name for field in model._meta.concrete_fields}
    recorded = "at" if model is Entry else "recorded_at" if "recorded_at" in names else model._meta.pk.column
    return f's."{recorded}", c.k'
