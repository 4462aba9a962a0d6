"""When a decision no longer holds, for the database: what it rested on is compared with what is so now.

A decision rests on what could be said of the reading when it was made; it holds while no graver thing is said. Food that was
discarded is gone whatever it was. One measured again rests on the other reading too. Nothing of this is stored: a decision
that does not hold counts as not made until somebody decides again, or until it holds again.
"""

from enum import StrEnum

from django.db import connection

from compliance.checks.kinds import AWAY_FROM_ZERO
from compliance.checks.models import Check, CheckVoid, Span, Standing, Verdict
from compliance.checks.span_times import holds_sql
from compliance.checks.two_point_pairs import BELONGS_WITHIN
from compliance.limits.models import LimitVersion
from compliance.metrology.vocabulary import Outcome
from compliance.probes.models import ALTERATIONS, Event, EventVoid, Probe, ProbeParticulars
from compliance.readings.models import Reading, ReadingVoid

from .models import Decision, Fate, Signature

READING, VOID = Reading._meta.db_table, ReadingVoid._meta.db_table
DECISION, SPAN, SIGNATURE = Decision._meta.db_table, Span._meta.db_table, Signature._meta.db_table
CHECK, CHECK_VOID = Check._meta.db_table, CheckVoid._meta.db_table
EVENT, EVENT_VOID = Event._meta.db_table, EventVoid._meta.db_table
PROBE, VERSION = Probe._meta.db_table, LimitVersion._meta.db_table
PARTICULARS = ProbeParticulars._meta.db_table

RANK = {Outcome.HELD: 0, Outcome.UNDECIDED: 1, Outcome.BROKEN: 2}


class Lost(StrEnum):
    """Why a decision no longer holds."""

    STRUCK = "struck"
    DOUBTED = "doubted"
    UNFIT = "unfit"
    GRAVER = "graver"


def is_graver(now: str, before: str) -> bool:
    return RANK[Outcome(now)] > RANK[Outcome(before)]


def _rank(column: str) -> str:
    return f"CASE {column} " + " ".join(f"WHEN '{o}' THEN {rank}" for o, rank in RANK.items()) + " END"


LAST = f"NOT EXISTS (SELECT 1 FROM {DECISION} n WHERE n.replaces_id = d.id)"
LIVE = f"NOT EXISTS (SELECT 1 FROM {VOID} x WHERE x.voids_id = d.reading_id)"
IN_SPAN = holds_sql("s", "r.taken_at")


def good_lost(doubted: str) -> str:
    """Why the reading measured again no longer speaks for the row `doubted` of a decision `d`; NULL while it does.

    That it is of the same food is not asked again: what it was given for was compared when it was decided.
    """
    return f"""CASE WHEN d.fate <> '{Fate.MEASURED_AGAIN}' THEN NULL
    WHEN EXISTS (SELECT 1 FROM {VOID} x WHERE x.voids_id = d.good_reading_id) THEN '{Lost.STRUCK}'
    WHEN NOT EXISTS (SELECT 1 FROM {READING} g JOIN {SPAN} p ON p.probe_id = g.probe_id AND {holds_sql("p", "g.taken_at")}
      WHERE g.id = d.good_reading_id
      AND p.standing IN ('{Standing.PROVEN}', '{Standing.PENDING}')) THEN '{Lost.DOUBTED}'
    WHEN NOT EXISTS (SELECT 1 FROM {READING} g JOIN {VERSION} gv ON gv.id = g.limit_version_id
      JOIN {VERSION} rv ON rv.id = {doubted}.limit_version_id WHERE g.id = d.good_reading_id AND gv.limit_id = rv.limit_id
      AND g.site_id = {doubted}.site_id AND g.taken_at > {doubted}.taken_at) THEN '{Lost.UNFIT}' END"""


# Of a row `a` with its outcome and its last decision `d`: why that decision no longer holds; NULL where it does or there is none.
LOST = f"""CASE WHEN d.id IS NULL OR d.fate = '{Fate.DISCARDED}' THEN NULL
  ELSE coalesce({good_lost("a")}, CASE WHEN {_rank("a.outcome")} > {_rank("d.outcome")} THEN '{Lost.GRAVER}' END) END"""


def _known_since(fact: str, void: str) -> str:
    """Whether a fact was recorded or struck out since the first of the decisions was made."""
    struck = f"EXISTS (SELECT 1 FROM {void} v WHERE v.voids_id = {fact}.id AND v.recorded_at >= t.since)"
    return f"({fact}.recorded_at >= t.since OR {struck})"


_DIFFERS = " OR ".join(f"coalesce(d.{c}, 0) <> coalesce(s.{c}, 0)" for c in ("behind_id", "ahead_id", "doubt_id"))
_AWAY = ", ".join(f"'{kind}'" for kind in AWAY_FROM_ZERO)
# Decisions by span and site: how many, whether all of them were made and lie in what was last signed, and whether any may
# rest on something else now. What bounds the error follows from the checks on either side, the kind of sensor, and the
# boiling checks beside those checks, unless the probe was altered between.
# It begins with the spans in doubt, which are few. PostgreSQL plans each step by itself: all at once takes it longer than to
# answer, and it expects one decision where there are hundreds.
_DECIDED = f"""
WITH doubted AS {{kept}} (
  SELECT id, anchor, probe_id, starts_at, ends_at, behind_id, ahead_id, doubt_id FROM {SPAN}
  WHERE NOT (anchor = '') AND {{which}}),
rested AS {{kept}} (
  SELECT s.id, s.anchor, r.site_id, s.probe_id, s.behind_id, s.ahead_id, count(*) AS decided,
    max(d.recorded_at) AS last_made, min(r.taken_at) AS first_taken, max(r.taken_at) AS last_taken,
    min(CASE WHEN d.fate <> '{Fate.DISCARDED}' THEN d.recorded_at END) AS since,
    min(CASE WHEN d.fate <> '{Fate.DISCARDED}' THEN coalesce(d.sensor, '') END) AS one_sensor,
    max(CASE WHEN d.fate <> '{Fate.DISCARDED}' THEN coalesce(d.sensor, '') END) AS other_sensor,
    max(CASE WHEN d.fate <> '{Fate.DISCARDED}' AND ({_DIFFERS} OR {good_lost("r")} IS NOT NULL) THEN 1 ELSE 0 END) AS differs
  FROM doubted s JOIN {DECISION} d ON d.probe_id = s.probe_id JOIN {READING} r ON r.id = d.reading_id AND {IN_SPAN}
  WHERE {LAST} AND {LIVE}
  GROUP BY s.id, s.anchor, r.site_id, s.probe_id, s.behind_id, s.ahead_id)
SELECT t.id, t.anchor, t.site_id, t.decided, CASE WHEN t.last_made <= g.recorded_at AND t.first_taken > g.starts_at
  AND t.last_taken <= g.ends_at THEN 1 ELSE 0 END, CASE WHEN t.differs = 1
  OR EXISTS (SELECT 1 FROM {PROBE} p WHERE p.id = t.probe_id AND (p.sensor <> t.one_sensor OR p.sensor <> t.other_sensor))
  OR EXISTS (SELECT 1 FROM {PARTICULARS} f WHERE f.probe_id = t.probe_id AND f.corrects AND f.recorded_at >= t.since)
  OR EXISTS (SELECT 1 FROM {CHECK} z JOIN {CHECK} c ON c.probe_id = t.probe_id AND c.checked_at >= {{earliest}}
    AND c.checked_at <= {{latest}} WHERE z.id IN (t.behind_id, t.ahead_id) AND c.kind IN ({_AWAY})
    AND c.verdict = '{Verdict.IN_TOLERANCE}' AND {_known_since("c", CHECK_VOID)})
  OR EXISTS (SELECT 1 FROM {CHECK} z JOIN {EVENT} e ON e.probe_id = t.probe_id AND e.at >= {{earliest}}
    AND e.at <= {{latest}} WHERE z.id IN (t.behind_id, t.ahead_id)
    AND e.kind IN ({", ".join(f"'{kind}'" for kind in ALTERATIONS)}) AND {_known_since("e", EVENT_VOID)})
  THEN 1 ELSE 0 END
FROM rested t LEFT JOIN {SIGNATURE} g ON g."case" = t.anchor
  AND NOT EXISTS (SELECT 1 FROM {SIGNATURE} l WHERE l."case" = g."case" AND l.id > g.id)
"""
# The decisions of such spans, those of the same figures together.
_RESTED = f"""
SELECT span_id, site_id, limit_version_id, value_milli, hold_s, since_start_s, outcome, good, count(*) FROM (
  SELECT s.id AS span_id, r.site_id, r.limit_version_id, r.value_milli, r.hold_s, r.since_start_s, d.outcome,
    {good_lost("r")} AS good
  FROM {SPAN} s JOIN {DECISION} d ON d.probe_id = s.probe_id JOIN {READING} r ON r.id = d.reading_id AND {IN_SPAN}
  WHERE s.id IN ({{spans}}) AND d.fate <> '{Fate.DISCARDED}' AND {LAST} AND {LIVE}) rested
GROUP BY span_id, site_id, limit_version_id, value_milli, hold_s, since_start_s, outcome, good
"""
_GOOD_LOST = f"""
SELECT id, good FROM (SELECT d.id, {good_lost("r")} AS good FROM {DECISION} d JOIN {READING} r ON r.id = d.reading_id
  WHERE r.site_id = %s AND d.fate = '{Fate.MEASURED_AGAIN}' AND {LAST}) again WHERE good IS NOT NULL
"""


def decided_by_span(which: str, args: list) -> list[tuple[int, str, int, int, int, int]]:
    """(span, case, site, decisions, whether the last signature speaks for all of them, whether one may rest on something
    else now), of the spans in doubt of which `which` says more."""
    days = BELONGS_WITHIN.days + 1
    window = {"earliest": _shifted("z.checked_at", -days), "latest": _shifted("z.checked_at", days)}
    kept = "MATERIALIZED" if connection.vendor == "postgresql" else ""
    return _rows(_DECIDED.format(which=which, kept=kept, **window), args)


def _shifted(column: str, days: int) -> str:
    if connection.vendor == "postgresql":
        return f"{column} + interval '{days} days'"
    return f"datetime({column}, '{days:+d} days')"


def rested_in(spans: list[int]) -> list[tuple]:
    """The decisions in these spans with what they rested on, counted by their figures."""
    return _rows(_RESTED.format(spans=", ".join(["%s"] * len(spans))), spans)


def good_readings_lost(site_id: int) -> dict[int, str]:
    """Decisions at a site, by number, whose reading measured again no longer speaks for theirs, and why."""
    return dict(_rows(_GOOD_LOST, [site_id]))


def _rows(sql: str, args: list) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql, args)
        return cursor.fetchall()
