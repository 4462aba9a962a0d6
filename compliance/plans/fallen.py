"""Writing down the readings of rounds that have fallen due, once: everywhere, or at sites whose slots are made again."""

from collections.abc import Iterable
from datetime import datetime

from django.db import connection

# Whether the site works under the limit at the due time: a limit may be retired after the slots were made.
HOLDS = """COALESCE((SELECT v.in_force FROM plans_round o JOIN limits_limitversion v ON v.limit_id = o.limit_id
    WHERE o.id = {slot}.round_id AND v.effective_from <= {slot}.due_at
    ORDER BY v.effective_from DESC, v.id DESC LIMIT 1), false)"""
# A round that was set later on the day asks for nothing at the times that were over by then.
ROUNDS = """
INSERT INTO plans_reminder (round_id, site_id, opens_at, due_at, grace_at, closes_at, because, point, cancelled_because)
SELECT s.round_id, s.site_id, s.opens_at, s.due_at, s.grace_at, s.closes_at, s.because, '', ''
FROM plans_roundslot s JOIN plans_round r ON r.id = s.round_id
WHERE s.due_at <= %(now)s AND s.due_at >= r.recorded_at {only} AND NOT EXISTS (
  SELECT 1 FROM plans_reminder w WHERE w.round_id = s.round_id AND w.due_at = s.due_at) AND {holds}
ORDER BY s.round_id, s.due_at ON CONFLICT DO NOTHING
"""
# What came while this sweep ran is left to the next one.
TAKEN = """
DELETE FROM plans_roundslot WHERE due_at <= %(now)s AND (
  EXISTS (SELECT 1 FROM plans_reminder w WHERE w.round_id = plans_roundslot.round_id AND w.due_at = plans_roundslot.due_at)
  OR due_at < (SELECT r.recorded_at FROM plans_round r WHERE r.id = plans_roundslot.round_id) OR NOT {holds})
"""


def write_down_rounds(now: datetime, site_ids: Iterable[int] | None = None) -> int:
    """Write down the readings that have fallen due by `now`, everywhere or at some sites; gives how many. One statement."""
    with connection.cursor() as cursor:
        cursor.execute(ROUNDS.format(only=_at(site_ids), holds=HOLDS.format(slot="s")), _moments(now))
        return max(cursor.rowcount, 0)


def forget_taken_rounds(now: datetime) -> None:
    """Let go of the slots that are written down, so that no sweep looks at them again."""
    with connection.cursor() as cursor:
        cursor.execute(TAKEN.format(holds=HOLDS.format(slot="plans_roundslot")), _moments(now))


def _at(site_ids: Iterable[int] | None) -> str:
    if site_ids is None:
        return ""
    return f"AND s.site_id IN ({', '.join(str(int(pk)) for pk in site_ids) or 'NULL'})"


def _moments(now: datetime) -> dict:
    """As each engine keeps them."""
    return {"now": connection.ops.adapt_datetimefield_value(now)}
