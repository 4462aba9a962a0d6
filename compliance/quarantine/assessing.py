"""What the readings of a case could really have been, classified by the database in one statement.

What an outcome asks of a reading is a range (`compliance.metrology.assessment.telling`), worked out beforehand for each
span, limit version and hold time, and given to the statement as rows; the database looks whether a reading lies in it. A
property test shows that it says of every reading what the pure function says.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection

from compliance.checks.models import Span
from compliance.checks.queries import brackets_of
from compliance.limits.models import LimitVersion
from compliance.metrology.assessment import EVER, ErrorBounds, bounds
from compliance.metrology.vocabulary import Outcome

from .grounds import DECISION, IN_SPAN, LAST, LOST, READING, SPAN, VOID
from .outcomes import telling_of

# In place of a time that food was held: whatever it was, and none recorded.
ANY, NONE = -1, -2

# The outer join keeps a reading whose limit nobody foresaw: it cannot be told. Conditions that no limit here has are left out.
_ASSESSED = f"""
WITH told(span_id, version_id, hold, held_from, held_to, broken_from, broken_to, soonest, latest) AS (VALUES {{told}}),
assessed AS (
  SELECT r.id, r.site_id, r.taken_at, r.limit_version_id, s.behind_id, s.ahead_id, s.doubt_id, {{decided}}, CASE
    WHEN r.value_milli >= t.held_from AND r.value_milli <= t.held_to {{in_time}} THEN '{Outcome.HELD}'
    WHEN r.value_milli >= t.broken_from AND r.value_milli <= t.broken_to {{time_up}} THEN '{Outcome.BROKEN}'
    ELSE '{Outcome.UNDECIDED}' END AS outcome
  FROM {SPAN} s
  JOIN {{readings}} ON r.probe_id = s.probe_id AND {IN_SPAN}
  LEFT JOIN told t ON t.version_id = r.limit_version_id AND t.span_id = s.id {{hold}}
  {{among}}
), judged AS ({{judged}})
"""
# With why the last decision no longer holds; only those that have one are looked at.
_JUDGED = f"SELECT a.*, {LOST} AS lost FROM assessed a LEFT JOIN {DECISION} d ON d.id = a.decision_id"
_TIMED = {
    "in_time": f"AND (t.latest = {EVER} OR r.since_start_s <= t.latest)",
    "time_up": f"AND (t.latest = {EVER} OR r.since_start_s >= t.soonest)",
}
_HELD = {"hold": f"AND (t.hold = {ANY} OR t.hold = coalesce(r.hold_s, {NONE}))"}
# The times that food was held at limits that ask for one.
_HOLDS = f"""
SELECT DISTINCT r.limit_version_id, r.hold_s FROM {SPAN} s JOIN {READING} r
  ON r.probe_id = s.probe_id AND {IN_SPAN}
WHERE s.id IN ({{spans}}) AND r.limit_version_id IN ({{versions}}) AND r.hold_s IS NOT NULL
"""
# Each live reading with its last decision, for a page and for deciding.
EACH = {
    "decided": "d.id AS decision_id, d.fate",
    "readings": f"{READING} r",
    "among": f"LEFT JOIN {DECISION} d ON d.reading_id = r.id AND {LAST} "
    f"WHERE s.id IN ({{spans}}) AND NOT EXISTS (SELECT 1 FROM {VOID} x WHERE x.voids_id = r.id)",
    "judged": _JUDGED,
}
# For counting: all readings as they come, then those that somebody has touched, from their own side.
ALL = {
    "decided": "NULL AS decision_id, NULL AS fate",
    "readings": f"{READING} r",
    "among": "WHERE s.id IN ({spans})",
    "judged": "SELECT a.*, NULL AS lost FROM assessed a",
}
TOUCHED = {
    "decided": "r.decision_id, r.fate",
    "readings": f"""(SELECT o.*, t.decision_id, t.fate FROM (
      SELECT d.reading_id, d.id AS decision_id, d.fate FROM {DECISION} d WHERE d.probe_id = %s AND {LAST}
        AND NOT EXISTS (SELECT 1 FROM {VOID} x WHERE x.voids_id = d.reading_id)
      UNION ALL SELECT x.voids_id, NULL, 'void' FROM {VOID} x) t JOIN {READING} o ON o.id = t.reading_id) r""",
    "among": "WHERE s.id IN ({spans})",
    "judged": _JUDGED,
}


@dataclass(frozen=True, slots=True)
class Selection:
    """Readings of one case: some by number, or all with an outcome, at some sites; undecided ones only, or all.

    One whose decision no longer holds is undecided.
    """

    sites: tuple[int, ...]
    ids: tuple[int, ...] | None = None
    outcome: str = ""
    undecided: bool | None = None


def bounds_of(spans: list[Span]) -> list[ErrorBounds]:
    """Between which errors the probe lay during each of these spans."""
    return [bounds(bracket) for bracket in brackets_of(spans)]


def told_sql(spans: list[Span], sites: tuple[int, ...]) -> dict[str, str]:
    """What the statement compares with: rows of each span, each limit of the sites, and each time held that counts."""
    versions = list(LimitVersion.objects.filter(limit__site__in=sites).order_by("pk"))
    holds = _holds(spans, [v.pk for v in versions if v.hold_s])
    rows = [
        row
        for span, error in zip(spans, bounds_of(spans), strict=True)
        for version in versions
        for row in _told(span.pk, version, holds.get(version.pk), error)
    ]
    nobody = [(0, 0, ANY, 1, 0, 1, 0, 0, 0)]  # VALUES needs a row
    told = ", ".join(f"({', '.join(f'CAST({number:d} AS bigint)' for number in row)})" for row in rows or nobody)
    conditions = dict.fromkeys((*_TIMED, *_HELD), "")
    conditions |= _TIMED if any(v.within_s is not None for v in versions) else {}
    return {"told": told} | conditions | (_HELD if holds else {})


def _told(span: int, version: LimitVersion, holds: set[int] | None, error: ErrorBounds) -> Iterator[tuple[int, ...]]:
    soonest, latest = (0, EVER) if version.within_s is None else (version.within_s, version.within_s)
    for hold in [None, *sorted(holds)] if holds else [None]:
        told = telling_of(version, hold, error)
        key = hold if hold is not None else NONE if holds else ANY
        ranges = (told.held_from, told.held_to, told.broken_from, told.broken_to)
        yield (span, version.pk, key, *ranges, soonest, latest)


def _holds(spans: list[Span], versions: list[int]) -> dict[int, set[int]]:
    found: dict[int, set[int]] = {}
    if versions:
        sql = _HOLDS.format(spans=_numbers(span.pk for span in spans), versions=_numbers(versions))
        with connection.cursor() as cursor:
            cursor.execute(sql)
            for version, hold in cursor.fetchall():
                found.setdefault(version, set()).add(hold)
    return found


def _numbers(values) -> str:
    return ", ".join(f"{number:d}" for number in values)


def assessed_sql(
    spans: list[Span], selection: Selection, among: dict[str, str] = EACH, told: dict[str, str] | None = None
) -> tuple[str, list, str, list]:
    """The common table expressions with their parameters, and the condition of the selection with its own.

    `told` is what `told_sql` gave for the same spans and sites, for whoever has it already.
    """
    where, args = _condition(selection)
    told = told or told_sql(spans, selection.sites)
    parts = among | {"among": among["among"].format(spans=_numbers(span.pk for span in spans))}
    own = [spans[0].probe_id] if among is TOUCHED else []
    return _ASSESSED.format(**told, **parts), own, where, args


def _condition(selection: Selection) -> tuple[str, list]:
    parts, args = [f"site_id IN ({_marks(selection.sites)})"], list(selection.sites)
    if selection.ids is not None:
        parts.append(f"id IN ({_marks(selection.ids)})")
        args += selection.ids
    if selection.outcome:
        parts.append("outcome = %s")
        args.append(selection.outcome)
    if selection.undecided is not None:
        decided = "decision_id IS NOT NULL AND lost IS NULL"
        parts.append(f"NOT ({decided})" if selection.undecided else decided)
    return " AND ".join(parts), args


def _marks(values) -> str:
    return ", ".join(["%s"] * len(values)) or "NULL"


@dataclass(frozen=True, slots=True)
class OutcomeTally:
    """How many readings of a case, at one site, have this outcome and this decision (none: still to decide).

    `lost`: why a decision that was made no longer holds.
    """

    site_id: int
    outcome: str
    fate: str | None
    readings: int
    lost: str = ""


def tallies(spans: list[Span], sites: tuple[int, ...]) -> list[OutcomeTally]:
    """The whole case counted in two statements, however many readings it holds: all of them, and the touched ones."""
    if not spans or not sites:
        return []
    told = told_sql(spans, sites)
    left = {(t.site_id, t.outcome): t.readings for t in _counted(spans, sites, ALL, told, "site_id, outcome")}
    found = []
    for tally in _counted(spans, sites, TOUCHED, told, "site_id, outcome, fate, lost"):
        left[tally.site_id, tally.outcome] -= tally.readings
        if tally.fate != "void":
            found.append(tally)
    return found + [OutcomeTally(site, outcome, None, count) for (site, outcome), count in left.items() if count]


def _counted(
    spans: list[Span], sites: tuple[int, ...], among: dict[str, str], told: dict[str, str], by: str
) -> list[OutcomeTally]:
    ctes, values, where, args = assessed_sql(spans, Selection(sites=sites), among, told)
    with connection.cursor() as cursor:
        cursor.execute(f"{ctes} SELECT count(*), {by} FROM judged WHERE {where} GROUP BY {by}", values + args)
        return [_tally(*row) for row in cursor.fetchall()]


def _tally(count: int, site_id: int, outcome: str, fate: str | None = None, lost: str | None = None) -> OutcomeTally:
    return OutcomeTally(site_id, outcome, None if lost else fate, count, lost or "")


def lost_groups(spans: list[Span], sites: tuple[int, ...], most: int = 20) -> list[tuple]:
    """Decisions of a case that no longer hold, the largest groups first: (why, good reading, outcome then, outcome now,
    the three checks that it rested on, the three that count now, how many)."""
    ctes, values, where, args = assessed_sql(spans, Selection(sites=sites), TOUCHED)
    columns = "d.good_reading_id, d.outcome, j.outcome, d.behind_id, d.ahead_id, d.doubt_id, j.behind_id, j.ahead_id, j.doubt_id"
    sql = f"""{ctes} SELECT j.lost, {columns}, count(*) FROM (SELECT * FROM judged WHERE {where} AND lost IS NOT NULL) j
        JOIN {DECISION} d ON d.id = j.decision_id GROUP BY j.lost, {columns} ORDER BY count(*) DESC LIMIT {most:d}"""
    with connection.cursor() as cursor:
        cursor.execute(sql, values + args)
        return cursor.fetchall()


def page_of_ids(
    spans: list[Span], selection: Selection, before=None, size: int = 50
) -> list[tuple[int, str, str | None]]:
    """(reading, outcome, why its decision no longer holds) newest first, from (taken_at, id) `before` on; one more than
    `size`, to tell if there are more."""
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
            f"{ctes} SELECT id, outcome, lost FROM judged WHERE {where} ORDER BY taken_at DESC, id DESC LIMIT {size + 1}",
            values + args,
        )
        return cursor.fetchall()
