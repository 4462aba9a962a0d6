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
ASSESSED = f"""
WITH bracket(span_id, low, high, allowance) AS (VALUES {{brackets}}),
inside AS (
  SELECT r.id, r.site_id, r.taken_at, r.recorded_at, d.id AS decision_id, d.fate, v.direction,
         CAST(v.value_milli AS bigint) * 75000 AS bound,
         (CAST(r.value_milli AS bigint) - b.high) * 75000 - b.allowance * abs(r.value_milli) AS coldest,
         (CAST(r.value_milli AS bigint) - b.low) * 75000 + b.allowance * abs(r.value_milli) AS hottest
  FROM bracket b
  JOIN {SPAN} s ON s.id = b.span_id
  JOIN {READING} r ON r.probe_id = s.probe_id AND r.taken_at > s.starts_at AND r.taken_at <= s.ends_at
  JOIN {VERSION} v ON v.id = r.limit_version_id
  LEFT JOIN {DECISION} d ON d.reading_id = r.id AND NOT EXISTS (SELECT 1 FROM {DECISION} n WHERE n.replaces_id = d.id)
  WHERE NOT EXISTS (SELECT 1 FROM {VOID} x WHERE x.voids_id = r.id)
),
assessed AS (
  SELECT id, site_id, taken_at, recorded_at, decision_id, fate, CASE
    WHEN direction = '{Direction.AT_MOST}' AND hottest <= bound THEN '{Outcome.HELD}'
    WHEN direction = '{Direction.AT_MOST}' AND coldest > bound THEN '{Outcome.BROKEN}'
    WHEN direction = '{Direction.AT_LEAST}' AND coldest >= bound THEN '{Outcome.HELD}'
    WHEN direction = '{Direction.AT_LEAST}' AND hottest < bound THEN '{Outcome.BROKEN}'
    ELSE '{Outcome.UNDECIDED}' END AS outcome
  FROM inside
)
"""


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


def assessed_sql(spans: list[Span], selection: Selection) -> tuple[str, list, str, list]:
    """The common table expressions with their parameters, and the condition of the selection with its own."""
    rows, values = [], []
    for span in spans:
        error = bounds_of(span)
        rows.append("(CAST(%s AS bigint), CAST(%s AS bigint), CAST(%s AS bigint), CAST(%s AS bigint))")
        values += [span.pk, error.low, error.high, error.allowance]
    where, args = _condition(selection)
    return ASSESSED.format(brackets=", ".join(rows)), values, where, args


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
    """The whole case counted in one statement, however many readings it holds."""
    if not spans or not sites:
        return []
    ctes, values, where, args = assessed_sql(spans, Selection(sites=sites))
    counting = f"SELECT site_id, outcome, fate, count(*) FROM assessed WHERE {where} GROUP BY site_id, outcome, fate"
    with connection.cursor() as cursor:
        cursor.execute(ctes + counting, values + args)
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
