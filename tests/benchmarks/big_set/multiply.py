"""Makes thousands of sites of a few, table by table, each with one INSERT … SELECT.

A copy has every row of the sites it is made of, with keys and names of its own: what the actions wrote of one site, they would
have written of the other. Only two things say nothing of the copy: the trail's `data` and `subject`, in words.
What belongs to the business as a whole is there once. Rows lie in the table by the time of their recording, as they would.
"""

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, models, transaction

from shared.audit.models import Entry
from shared.guards import guard_records
from sites.models import Area, Membership, Person

ONCE = {"sites.business", "sites.businessrules", "sites.area", "limits.ruleset", "limits.rule"}
OURS = ("sites", "audit", "limits", "probes", "checks", "readings", "quarantine", "plans", "reminders", "advice")
FIRST_KEY = 10_000  # the keys of what is there once lie below, those of copies above
ANCHOR = "CASE WHEN s.{0} = '' THEN '' ELSE substr(s.{0}, 1, 6) || {1} END"  # check:12, event:12
AFTER_ANCHOR = "CAST(nullif(substr(s.{0}, 7), '') AS bigint)"
NAMED = "s.{} || c.tag"


def multiply(times: int, area_of: list[int]) -> None:
    """So many of each site; `area_of` says in which area each lies."""
    with connection.constraint_checks_disabled(), transaction.atomic(), connection.cursor() as cursor:
        _lay_guards_aside(cursor)
        cursor.execute("CREATE TEMPORARY TABLE copies (k integer PRIMARY KEY, tag text, area bigint)")
        rows = [(k, f" {k + 1}" if k else "", area_of[k]) for k in range(times)]
        cursor.executemany("INSERT INTO copies VALUES (%s, %s, %s)", rows)
        copying = Copying(cursor, times)
        for model in _tables():
            copying.copy(model)
        cursor.execute("DROP TABLE copies")
    if connection.vendor == "sqlite":
        connection.check_constraints()
    guard_records("default")
    settle()


def _lay_guards_aside(cursor) -> None:
    """The rows of the first sites are put in again with other keys."""
    if connection.vendor == "postgresql":
        cursor.execute("SET LOCAL session_replication_role = replica")
        return
    cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
    for (name,) in cursor.fetchall():
        cursor.execute(f"DROP TRIGGER {name}")


def _tables() -> list[type[models.Model]]:
    found = [model for model in apps.get_models(include_auto_created=True) if model._meta.app_label in OURS]
    return [m for m in found if m._meta.managed and not m._meta.proxy and m._meta.label_lower not in ONCE]


def settle() -> None:
    """Statistics as they would be; on PostgreSQL its own cleaner would come, too."""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")
        if connection.vendor == "postgresql":
            for sql in connection.ops.sequence_reset_sql(no_style(), _tables()):
                cursor.execute(sql)


class Copying:
    """The expressions of a copy: `s` is the row that it is made of, `c` the copy."""

    def __init__(self, cursor, times: int):
        self.cursor, self.times = cursor, times
        everywhere = Membership.objects.filter(area__isnull=False).values_list("person", flat=True)
        self.people = ", ".join(map(str, sorted(set(everywhere))))
        once = ", ".join(f"'{label}'" for label in sorted(ONCE))
        one_of_those = f"subject_type = 'sites.person' AND subject_id IN ({self.people})"
        self.kept = {
            "sites.person": f"id IN ({self.people})",
            "sites.personname": f"person_id IN ({self.people})",
            "sites.membership": "area_id IS NOT NULL",
            "plans.checkplan": "business_id IS NOT NULL",
            "plans.closure": "site_id IS NULL",
            "audit.entry": f"subject_type IN ({once}) OR ({one_of_those})",
        }

    def copy(self, model: type[models.Model]) -> None:
        table, label = model._meta.db_table, model._meta.label_lower
        copied = f"NOT ({self.kept.get(label, 'false')})"
        self.cursor.execute(f"CREATE TEMPORARY TABLE stage AS SELECT * FROM {table} WHERE {copied}")
        self.cursor.execute(f"DELETE FROM {table} WHERE {copied}")
        fields = model._meta.concrete_fields
        columns = ", ".join(f'"{field.column}"' for field in fields)
        values = ", ".join(self.value(model, field) for field in fields)
        self.cursor.execute(
            f"INSERT INTO {table} ({columns}) SELECT {values} FROM stage s CROSS JOIN copies c ORDER BY {_order(model)}"
        )
        self.cursor.execute("DROP TABLE stage")

    def value(self, model: type[models.Model], field: models.Field) -> str:
        name = f"{model._meta.label_lower}.{field.name}"
        if special := self._special().get(name):
            return special
        if field.is_relation:
            return self._relation(field)
        return self._key(f's."{field.column}"') if field.primary_key else f's."{field.column}"'

    def _key(self, old: str) -> str:
        return f"({old} * {self.times} + c.k + {FIRST_KEY})"

    def _person(self, column: str) -> str:
        return f"CASE WHEN s.{column} IN ({self.people}) THEN s.{column} ELSE {self._key(f's.{column}')} END"

    def _relation(self, field: models.ForeignKey) -> str:
        column = f's."{field.column}"'
        if field.related_model is Person:
            return self._person(field.column)
        if field.related_model is Area:
            return f"CASE WHEN {column} IS NULL THEN NULL ELSE c.area END"
        return column if field.related_model._meta.label_lower in ONCE else self._key(column)

    def _special(self) -> dict[str, str]:
        uuid = "::uuid" if connection.vendor == "postgresql" else ""
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
            "checks.check.key": digest.format(uuid),
            "checks.span.anchor": self._anchor("anchor"),
            "quarantine.decision.case": self._anchor("case"),
            "quarantine.signature.case": self._anchor("case"),
            "audit.entry.site_id": self._key("s.site_id"),
            "audit.entry.actor_id": self._person("actor_id"),
            "audit.entry.actor": f"CASE WHEN s.actor_id IN ({self.people}) THEN s.actor ELSE s.actor || c.tag END",
            "audit.entry.subject_id": self._key("s.subject_id"),
        }

    def _anchor(self, column: str) -> str:
        quoted = f'"{column}"'
        return ANCHOR.format(quoted, self._key(AFTER_ANCHOR.format(quoted)))


def _order(model: type[models.Model]) -> str:
    names = {field.name for field in model._meta.concrete_fields}
    recorded = "at" if model is Entry else "recorded_at" if "recorded_at" in names else model._meta.pk.column
    return f's."{recorded}", c.k'
