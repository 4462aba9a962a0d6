"""Writing down each due time that has come, once: a constant number of set-based statements, however much is due.

A statement looks at what is due, not at what was: at probes whose next check is due by `ProbeState`, and at the slots of
rounds that no sweep has taken yet. It writes the same whether it runs once, twice, two at once or after days of standing
still, because a row that exists is left alone and due times follow from the plan, not from when the sweep ran.
"""

from collections.abc import Iterable
from datetime import datetime

from django.db import connection, transaction

from compliance.checks.models import END

# The due time after `at`, or what else its slot says. Days are counted from `next_day`, as the plan does.
FOLLOWING = """(SELECT {wanted} FROM plans_slot x
  WHERE x.site_id = {site} AND x.plan_key = {c}.next_key AND x.day >= {c}.next_day AND x.named AND x.due_at > {at}
    AND ({c}.next_days = 1 OR {days} %% {c}.next_days = 0)
  ORDER BY x.day LIMIT 1)"""
# In the order of their keys, so that two sweeps at once wait for each other and never in a ring; SQLite has one writer.
ORDER = {"sqlite": "", "postgresql": "ORDER BY 1, 5"}
DAYS = {
    "sqlite": "CAST(julianday(x.day) - julianday({c}.next_day) AS INTEGER)",
    "postgresql": "(x.day - {c}.next_day)",
}
GRACE = {
    "sqlite": "strftime('%%Y-%%m-%%d %%H:%%M:%%S', {at}, {minutes} || ' minutes')",
    "postgresql": "{at} + make_interval(mins => {minutes})",
}
# Hardly any of what is asked for has a later due time behind it already, so only those go through the recursion.
# INSERT comes first, or SQLite does not say how many rows there were.
CHECKS = """
INSERT INTO reminders_reminder (probe_id, site_id, since_at, opens_at, due_at, grace_at, closes_at, because, away)
WITH RECURSIVE asked AS MATERIALIZED (
  SELECT s.probe_id, p.site_id, s.due_at, s.opens_at, s.due_because, s.asks_away, s.grace_at,
    COALESCE({first}, %(end)s) AS closes_at
  FROM checks_probestate s JOIN probes_probe p ON p.id = s.probe_id
  WHERE s.due_at <= %(now)s AND NOT EXISTS (
    SELECT 1 FROM reminders_reminder r
    WHERE r.probe_id = s.probe_id AND r.since_at = s.due_at AND r.closes_at > %(now)s)
), later AS (
  SELECT a.probe_id, a.site_id, a.due_at AS since_at, a.due_at AS opens_at, a.closes_at AS due_at, a.asks_away,
    s.grace_minutes, s.next_day, s.next_key, s.next_days
  FROM asked a JOIN checks_probestate s ON s.probe_id = a.probe_id WHERE a.closes_at <= %(now)s
  UNION ALL
  SELECT c.probe_id, c.site_id, c.since_at, c.due_at, n.due_at, c.asks_away, c.grace_minutes, c.next_day, c.next_key,
    c.next_days
  FROM later c JOIN plans_slot n ON n.id = {next} WHERE n.due_at <= %(now)s
)
SELECT a.probe_id, a.site_id, a.due_at, a.opens_at, a.due_at, a.grace_at, a.closes_at, a.due_because, a.asks_away FROM asked a
UNION ALL
SELECT c.probe_id, c.site_id, c.since_at, c.opens_at, c.due_at, {grace}, COALESCE({later}, %(end)s), {because},
  c.asks_away
FROM later c WHERE true {order} ON CONFLICT DO NOTHING
"""
# A round that was set later on the day asks for nothing at the times that were over by then.
ROUNDS = """
INSERT INTO reminders_reminder (round_id, site_id, since_at, opens_at, due_at, grace_at, closes_at, because, away)
SELECT s.round_id, s.site_id, s.due_at, s.opens_at, s.due_at, s.grace_at, s.closes_at, s.because, false
FROM plans_roundslot s JOIN plans_round r ON r.id = s.round_id
WHERE s.due_at <= %(now)s AND s.due_at >= r.recorded_at AND NOT EXISTS (
  SELECT 1 FROM reminders_reminder w WHERE w.round_id = s.round_id AND w.due_at = s.due_at)
ORDER BY s.round_id, s.due_at ON CONFLICT DO NOTHING
"""
# What came while this sweep ran is left to the next one.
TAKEN = """
DELETE FROM plans_roundslot WHERE due_at <= %(now)s AND (
  EXISTS (SELECT 1 FROM reminders_reminder w WHERE w.round_id = plans_roundslot.round_id AND w.due_at = plans_roundslot.due_at)
  OR due_at < (SELECT r.recorded_at FROM plans_round r WHERE r.id = plans_roundslot.round_id))
"""
CLOSE_CHECKS = """
UPDATE reminders_reminder SET closes_at = found.closes_at FROM (
  SELECT r.id, COALESCE({following}, %(end)s) AS closes_at
  FROM probes_probe p JOIN checks_probestate s ON s.probe_id = p.id
  JOIN reminders_reminder r
    ON r.probe_id = s.probe_id AND r.since_at = s.due_at AND r.closes_at > %(now)s
  WHERE p.site_id IN ({sites})
) AS found WHERE found.id = reminders_reminder.id AND found.closes_at <> reminders_reminder.closes_at
"""
# A change of rounds makes the slots of today again, which brings the ends of what is open here.
CLOSE_ROUNDS = """
UPDATE reminders_reminder SET closes_at = (
  SELECT s.closes_at FROM plans_roundslot s
  WHERE s.round_id = reminders_reminder.round_id AND s.due_at = reminders_reminder.due_at)
WHERE id IN (
  SELECT r.id FROM plans_roundslot s CROSS JOIN reminders_reminder r
  WHERE s.due_at <= %(now)s AND r.round_id = s.round_id AND r.due_at = s.due_at
    AND r.closes_at > %(now)s AND s.closes_at <> r.closes_at)
"""


def sweep(now: datetime) -> int:
    """Write down what has fallen due by `now` and is not written yet; gives how many reminders that made.

    Safe to run again and at the same time. Four statements.
    """
    with transaction.atomic(), connection.cursor() as cursor:
        made = 0
        for statement in (checks(), ROUNDS):
            cursor.execute(statement, moments(now))
            made += max(cursor.rowcount, 0)
        cursor.execute(CLOSE_ROUNDS, moments(now))
        cursor.execute(TAKEN, moments(now))
    return made


def settle_ends(site_ids: Iterable[int], now: datetime) -> None:
    """Move the ends of the checks asked for at these sites that are still open to the due times that now follow."""
    sites = list(site_ids)
    if not sites:
        return
    marks = {f"site{n}": pk for n, pk in enumerate(sites)}
    named = ", ".join(f"%({name})s" for name in marks)
    closing = CLOSE_CHECKS.format(following=following("s", "p.site_id", "r.due_at"), sites=named)
    with connection.cursor() as cursor:
        cursor.execute(closing, moments(now) | marks)


def checks() -> str:
    grace = GRACE[connection.vendor]
    slot = {"state": "c", "site": "c.site_id", "at": "c.due_at"}
    return CHECKS.format(
        order=ORDER[connection.vendor], first=following("s", "p.site_id", "s.due_at"),
        grace=grace.format(at="c.due_at", minutes="c.grace_minutes"),
        later=following(**slot),
        next=following(**slot, wanted="x.id"), because=following(**slot | {"at": "c.opens_at"}, wanted="x.because"),
    )  # fmt: skip


def following(state: str, site: str, at: str, wanted: str = "x.due_at") -> str:
    days = DAYS[connection.vendor].format(c=state)
    return FOLLOWING.format(c=state, site=site, at=at, days=days, wanted=wanted)


def moments(now: datetime) -> dict:
    """As each engine keeps them."""
    keep = connection.ops.adapt_datetimefield_value
    return {"now": keep(now), "end": keep(END)}
