"""What the readings of a case could really have been, classified by the database in one statement.

The comparison is that of `compliance.metrology.assessment.classify`, in the same whole numbers; a property test
shows that both say the same of every reading.
"""

from dataclasses import dataclass

from django.db import connection

from compliance.checks.models import Span
from compliance.checks.queries import bracket_of
from compliance.limits.models import LimitVersion
from compliance.metrology.assessment import ErrorBounds, bounds
from compliance.metrology.vocabulary import Direction, Outcome
from compliance.quarantine.models import Decision
from compliance.readings.models import Reading, ReadingVoid

READING, VOID = Reading._meta.db_table, ReadingVoid._meta.db_table
DECISION, SPAN = Decision._meta.db_table, Span._meta.db_table
VERSION = LimitVersion._meta.db_table

# The true temperature lies between `coldest` and `hottest`, both in milli-degrees times 75 000.
_ASSESSED = f"""
WITH bracket(span_id, low, high, allowance) AS (VALUES {{brackets}}),
inside AS (
  SELECT r.id, r.site_id, r.taken_at, v.direction, {{decided}},
         CAST(v.value_milli AS bigint) * 75000 AS bound,
         (CAST(r.value_milli AS bigint) - b.high) * 75000 - b.allowance * abs(r.value_milli) AS coldest,
         (CAST(r.value_milli AS bigint) - b.low) * 75000 + b.allowance * abs(r.value_milli) AS hottest
  FROM bracket b
  JOIN {SPAN} s ON s.id = b.span_id
  JOIN {{readings}} ON r.probe_id = s.probe_id AND r.taken_at > s.starts_at AND r.taken_at <= s.ends_at
  JOIN {VERSION} v ON v.id = r.limit_version_id
  {{among}}
),
assessed AS (
  SELECT id, site_id, taken_at, decision_id, fate, CASE
    WHEN direction = '{Direction.AT_MOST}' AND hottest <= bound THEN '{Outcome.HELD}'
    WHEN direction = '{Direction.AT_MOST}' AND coldest > bound THEN '{Outcome.BROKEN}'
    WHEN direction = '{Direction.AT_LEAST}' AND coldest >= bound THEN '{Outcome.HELD}'
    WHEN direction = '{Direction.AT_LEAST}' AND hottest < bound THEN '{Outcome.BROKEN}'
    ELSE '{Outcome.UNDECIDED}' END AS outcome
  FROM inside
)
"""
_LAST = f"NOT EXISTS (SELECT 1 FROM {DECISION} n WHERE n.replaces_id = d.id)"
# Each live reading with its last decision, for a page and for deciding.
EACH = {
    "decided": "d.id AS decision_id, d.fate",
    "readings": f"{READING} r",
    "among": f"LEFT JOIN {DECISION} d ON d.reading_id = r.id AND {_LAST} "
    f"WHERE NOT EXISTS (SELECT 1 FROM {VOID} x WHERE x.voids_id = r.id)",
}
# For counting: all readings as they come, then those that somebody has touched, from their own side.
ALL = {"decided": "NULL AS decision_id, NULL AS fate", "readings": f"{READING} r", "among": ""}
TOUCHED = {
    "decided": "r.decision_id, r.fate",
    "readings": f"""(SELECT o.*, t.decision_id, t.fate FROM (
      SELECT d.reading_id, d.id AS decision_id, d.fate FROM {DECISION} d WHERE d.probe_id = %s AND {_LAST}
        AND NOT EXISTS (SELECT 1 FROM {VOID} x WHERE x.voids_id = d.reading_id)
      UNION ALL SELECT x.voids_id, NULL, 'void' FROM {VOID} x) t JOIN {READING} o ON o.id = t.reading_id) r""",
    "among": "",
}


@dataclass(frozen=True, slots=True)
class Selection:
    """Readings of one case: some by number, or all with an outcome, at some sites; undecided ones only, or all."""

    sites: tuple[int, ...]
    ids: tuple[int, ...] | None = None
    outcome: str = ""
    undecided: bool | None = None


def bounds_of(span: Span) -> ErrorBounds:
    """Between which errors (milli-kelvin) the probe lay during a span."""
    return bounds(bracket_of(span))


def assessed_sql(spans: list[Span], selection: Selection, among: dict[str, str] = EACH) -> tuple[str, list, str, list]:
    """The common table expressions with their parameters, and the condition of the selection with its own."""
    rows, values = [], []
    for span in spans:
        error = bounds_of(span)
        rows.append("(CAST(%s AS bigint), CAST(%s AS bigint), CAST(%s AS bigint), CAST(%s AS bigint))")
        values += [span.pk, error.low, error.high, error.allowance]
    where, args = _condition(selection)
    return _ASSESSED.format(brackets=", ".join(rows), **among), values, where, args


def _condition(selection: Selection) -> tuple[str, list]:
    parts, args = [f"site_id IN ({_marks(selection.sites)})"], list(selection.sites)
    if selection.ids is not None:
        parts.append(f"id IN ({_marks(selection.ids)})")
        args += selection.ids
    if selection.outcome:
        parts.append("outcome = %s")
        args.append(selection.outcome)
    if selection.undecided is not None:
        parts.append(f"decision_id IS {'' if selection.undecided else 'NOT '}NULL")
    return " AND ".join(parts), args


def _marks(values) -> str:
    return ", ".join(["%s"] * len(values)) or "NULL"


@dataclass(frozen=True, slots=True)
class Tally:
    """How many readings of a case, at one site, have this outcome and this decision (none: still to decide)."""

    site_id: int
    outcome: str
    fate: str | None
    readings: int


def tallies(spans: list[Span], sites: tuple[int, ...]) -> list[Tally]:
    """The whole case counted in two statements, however many readings it holds: all of them, and the touched ones."""
    if not spans or not sites:
        return []
    left = {(t.site_id, t.outcome): t.readings for t in _counted(spans, sites, ALL, [], "NULL")}
    found = []
    for tally in _counted(spans, sites, TOUCHED, [spans[0].probe_id]):
        left[tally.site_id, tally.outcome] -= tally.readings
        if tally.fate != "void":
            found.append(tally)
    return found + [Tally(site, outcome, None, count) for (site, outcome), count in left.items() if count]


def _counted(
    spans: list[Span], sites: tuple[int, ...], among: dict[str, str], own: list, fate: str = "fate"
) -> list[Tally]:
    ctes, values, where, args = assessed_sql(spans, Selection(sites=sites), among)
    by = "site_id, outcome" if fate == "NULL" else "site_id, outcome, fate"
    counting = f"SELECT site_id, outcome, {fate}, count(*) FROM assessed WHERE {where} GROUP BY {by}"
    with connection.cursor() as cursor:
        cursor.execute(ctes + counting, values + own + args)
        return [Tally(*row) for row in cursor.fetchall()]


def page_of_ids(spans: list[Span], selection: Selection, before=None, size: int = 50) -> list[tuple[int, str]]:
    """(reading, outcome) newest first, from (taken_at, id) `before` on; one more than `size`, to tell if there are more."""
    if not spans or not selection.sites:
        return []
    ctes, values, where, args = assessed_sql(spans, selection)
    if before:
        at, pk = before
        where += " AND (taken_at < %s OR (taken_at = %s AND id < %s))"
        at = connection.ops.adapt_datetimefield_value(at)
        args += [at, at, pk]
    with connection.cursor() as cursor:
        cursor.execute(
            f"{ctes} SELECT id, outcome FROM assessed WHERE {where} ORDER BY taken_at DESC, id DESC LIMIT {size + 1}",
            values + args,
        )
        return cursor.fetchall()
