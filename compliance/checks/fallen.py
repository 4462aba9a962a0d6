"""Writing down the due times of checks that have come, once; and what else follows for those that are still open.

A statement looks at what is due, not at what was: at probes whose next check is due by `ProbeState`. It writes the same
whether it runs every minute or once after days of standing still, because a row that exists is left alone, due times follow
from the plan, and whatever changes when a check is due has first written down what has fallen due until then.
"""

from collections.abc import Iterable
from datetime import datetime

from django.db import connection

from compliance.plans.models import Slot

from .models import END, ProbeState

# The due time after `at`, or what else its slot says. Days are counted from `next_day`, as the plan does.
FOLLOWING = """(SELECT {wanted} FROM plans_slot x
  WHERE x.site_id = {site} AND x.plan_key = {c}.next_key AND x.day >= {c}.next_day AND x.named AND x.due_at > {at}
    AND ({c}.next_days = 1 OR {days} %% {c}.next_days = 0)
  ORDER BY x.day LIMIT 1)"""
# No row closes before its grace is over. One that asks for a check away from zero stays open, for no plan asks for such.
LATER_OF = {"sqlite": "MAX", "postgresql": "GREATEST"}
SHORT_GRACE = 720  # minutes; with a longer one, a row of a plan may still be open when the next falls due
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
INSERT INTO plans_reminder (probe_id, site_id, since_at, opens_at, due_at, grace_at, closes_at, because, away)
WITH RECURSIVE asked AS MATERIALIZED (
  SELECT s.probe_id, p.site_id, s.due_at, s.opens_at, s.due_because, s.asks_away, s.grace_at,
    COALESCE({first}, %(end)s) AS next_at
  FROM checks_probestate s JOIN probes_probe p ON p.id = s.probe_id
  WHERE s.due_at <= %(now)s {only} {unless}
), later AS (
  SELECT a.probe_id, a.site_id, a.due_at AS since_at, COALESCE(n.opens_at, a.due_at) AS opens_at, n.due_at, n.because,
    s.grace_minutes, s.next_day, s.next_key, s.next_days
  FROM asked a JOIN checks_probestate s ON s.probe_id = a.probe_id JOIN plans_slot n ON n.id = {second}
  WHERE a.next_at <= %(now)s
  UNION ALL
  SELECT c.probe_id, c.site_id, c.since_at, COALESCE(n.opens_at, c.due_at), n.due_at, n.because,
    c.grace_minutes, c.next_day, c.next_key, c.next_days
  FROM later c JOIN plans_slot n ON n.id = {next} WHERE n.due_at <= %(now)s
)
SELECT a.probe_id, a.site_id, a.due_at, a.opens_at, a.due_at, a.grace_at,
  CASE WHEN a.asks_away THEN %(end)s ELSE {max}(a.next_at, a.grace_at) END, a.due_because, a.asks_away
FROM asked a
UNION ALL
SELECT c.probe_id, c.site_id, c.since_at, c.opens_at, c.due_at, {grace}, {max}(COALESCE({later}, %(end)s), {grace}),
  c.because, false
FROM later c WHERE true {order} ON CONFLICT {conflict}
"""
# Where something is open that closes by its own time, all of what is asked for up to now is written down already.
UNLESS_OPEN = """AND NOT EXISTS (
    SELECT 1 FROM plans_reminder r
    WHERE r.probe_id = s.probe_id AND r.since_at = s.due_at AND r.closes_at > %(now)s
      AND r.closes_at <> s.grace_at AND (NOT s.asks_away OR r.closes_at < %(end)s)
      AND (s.grace_minutes <= {short} OR r.closes_at > r.grace_at))"""
# What one probe is asked for now counts anew, where it was written down for another reason and is still open; it keeps the
# grace that it was given.
ANEW = """(probe_id, due_at) WHERE probe_id IS NOT NULL DO UPDATE SET since_at = excluded.since_at,
  opens_at = excluded.opens_at, closes_at = {max}(excluded.closes_at, plans_reminder.grace_at), away = excluded.away,
  cancelled_at = NULL, cancelled_because = ''
  WHERE plans_reminder.closes_at > %(now)s"""
MOVE_ENDS = """
UPDATE plans_reminder SET closes_at = found.closes_at FROM (
  SELECT r.id, CASE WHEN r.away THEN %(end)s ELSE {max}(
    COALESCE({following}, %(end)s), r.grace_at, CASE WHEN r.closes_at < %(end)s THEN %(now)s ELSE r.grace_at END
  ) END AS closes_at
  FROM probes_probe p JOIN checks_probestate s ON s.probe_id = p.id
  JOIN plans_reminder r
    ON r.probe_id = s.probe_id AND r.since_at >= s.due_at AND r.closes_at > %(now)s
      AND (r.since_at = s.due_at OR (r.since_at = r.due_at AND r.due_at >= s.at_once_at))
  WHERE true {only}
) AS found WHERE found.id = plans_reminder.id AND found.closes_at <> plans_reminder.closes_at
"""


def write_down(
    now: datetime, *, site_ids: Iterable[int] | None = None, probe_id: int | None = None, anew=False, all_of_it=False
) -> int:
    """Write down the checks that have fallen due by `now`: everywhere, at some sites or of one probe; gives how many.

    `anew`: what is written down already and still open is part of what is asked for now. `all_of_it`: also where something
    of it is written down and open, for the days may be counted otherwise than when that was. One statement.
    """
    slot, latest = {"state": "c", "site": "c.site_id", "at": "c.due_at"}, LATER_OF[connection.vendor]
    conflict = ANEW.format(max=latest) if anew else "DO NOTHING"
    statement = CHECKS.format(
        order=ORDER[connection.vendor], only=_only(site_ids, probe_id), conflict=conflict,
        first=_following("s", "p.site_id", "s.due_at"), second=_following("s", "a.site_id", "a.due_at", "x.id"),
        next=_following(**slot, wanted="x.id"), later=_following(**slot),
        grace=GRACE[connection.vendor].format(at="c.due_at", minutes="c.grace_minutes"),
        max=latest, unless="" if all_of_it else UNLESS_OPEN.format(short=SHORT_GRACE),
    )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(statement, _moments(now))
        return max(cursor.rowcount, 0)


def move_ends(now: datetime, *, site_ids: Iterable[int] | None = None, probe_id: int | None = None) -> None:
    """Move the ends of the checks asked for that are still open to the due times that now follow. One statement.

    An end that was known is not moved to before now: what was open until now is answered by what is entered now.
    """
    following = _following("s", "p.site_id", "r.due_at")
    with connection.cursor() as cursor:
        only, latest = _only(site_ids, probe_id), LATER_OF[connection.vendor]
        cursor.execute(MOVE_ENDS.format(following=following, only=only, max=latest), _moments(now))


def due_after(state: ProbeState, site_id: int, now: datetime) -> set[datetime]:
    """The due times by now of the plan that asks after the one of this state, as far as they are kept. One query."""
    slots = Slot.objects.filter(
        site=site_id,
        plan_key=state.next_key,
        day__gte=state.next_day,
        named=True,
        due_at__gt=state.due_at,
        due_at__lte=now,
    )
    told = slots.values_list("day", "due_at")
    return {due_at for day, due_at in told if (day - state.next_day).days % state.next_days == 0}


def _only(site_ids: Iterable[int] | None, probe_id: int | None) -> str:
    if probe_id is not None:
        return f"AND p.id = {int(probe_id)}"
    if site_ids is None:
        return ""
    return f"AND p.site_id IN ({', '.join(str(int(pk)) for pk in site_ids) or 'NULL'})"


def _following(state: str, site: str, at: str, wanted: str = "x.due_at") -> str:
    days = DAYS[connection.vendor].format(c=state)
    return FOLLOWING.format(c=state, site=site, at=at, days=days, wanted=wanted)


def _moments(now: datetime) -> dict:
    """As each engine keeps them."""
    keep = connection.ops.adapt_datetimefield_value
    return {"now": keep(now), "end": keep(END)}
