"""Writing down the readings of rounds that have fallen due, once: everywhere, or at sites whose slots are made again."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from django.db import connection

from .calendar import Calendar
from .models import Reminder

LONGEST = timedelta(days=2)  # no round stays open for more than one

# A round that was set later on the day asks for nothing at the times that were over by then.
ROUNDS = """
INSERT INTO reminders_reminder (round_id, site_id, since_at, opens_at, due_at, grace_at, closes_at, because, away)
SELECT s.round_id, s.site_id, s.due_at, s.opens_at, s.due_at, s.grace_at, s.closes_at, s.because, false
FROM plans_roundslot s JOIN plans_round r ON r.id = s.round_id
WHERE s.due_at <= %(now)s AND s.due_at >= r.recorded_at {only} AND NOT EXISTS (
  SELECT 1 FROM reminders_reminder w WHERE w.round_id = s.round_id AND w.due_at = s.due_at)
ORDER BY s.round_id, s.due_at ON CONFLICT DO NOTHING
"""
# A change of rounds makes the slots of today again, which brings the ends of what is open here.
CLOSE_ROUNDS = """
UPDATE reminders_reminder SET closes_at = (
  SELECT s.closes_at FROM plans_roundslot s
  WHERE s.round_id = reminders_reminder.round_id AND s.due_at = reminders_reminder.due_at)
WHERE id IN (
  SELECT r.id FROM plans_roundslot s CROSS JOIN reminders_reminder r
  WHERE s.due_at <= %(now)s {only} AND r.round_id = s.round_id AND r.due_at = s.due_at
    AND r.closes_at > %(now)s AND s.closes_at <> r.closes_at)
"""
# What came while this sweep ran is left to the next one.
TAKEN = """
DELETE FROM plans_roundslot WHERE due_at <= %(now)s AND (
  EXISTS (SELECT 1 FROM reminders_reminder w WHERE w.round_id = plans_roundslot.round_id AND w.due_at = plans_roundslot.due_at)
  OR due_at < (SELECT r.recorded_at FROM plans_round r WHERE r.id = plans_roundslot.round_id))
"""


def write_down_rounds(now: datetime, site_ids: Iterable[int] | None = None) -> int:
    """Write down the readings that have fallen due by `now`, everywhere or at some sites; gives how many. One statement."""
    with connection.cursor() as cursor:
        cursor.execute(ROUNDS.format(only=_at(site_ids)), _moments(now))
        return max(cursor.rowcount, 0)


def move_ends_of_rounds(now: datetime, site_ids: Iterable[int] | None = None) -> None:
    """Where the slots that follow have moved, so do the ends of what is open."""
    with connection.cursor() as cursor:
        cursor.execute(CLOSE_ROUNDS.format(only=_at(site_ids)), _moments(now))


def forget_taken_rounds(now: datetime) -> None:
    """Let go of the slots that are written down, so that no sweep looks at them again."""
    with connection.cursor() as cursor:
        cursor.execute(TAKEN, _moments(now))


def lift_rounds(works: Mapping[int, Calendar], now: datetime) -> None:
    """Where a day turns out to be closed, its readings that are still open are no longer asked for; or they are again."""
    asked = Reminder.objects.filter(
        site__in=list(works), round__isnull=False, closes_at__gt=now, due_at__gt=now - LONGEST
    )
    changed = []
    for each in asked.order_by("pk"):
        calendar = works[each.site_id]
        because = calendar.is_open(calendar.work_day(each.due_at))[1]
        if bool(because) != bool(each.lifted_at):
            each.lifted_at, each.lifted_because = (now, because) if because else (None, "")
            changed.append(each)
    Reminder.objects.bulk_update(changed, ["lifted_at", "lifted_because"], batch_size=500)


def _at(site_ids: Iterable[int] | None) -> str:
    if site_ids is None:
        return ""
    return f"AND s.site_id IN ({', '.join(str(int(pk)) for pk in site_ids) or 'NULL'})"


def _moments(now: datetime) -> dict:
    """As each engine keeps them."""
    return {"now": connection.ops.adapt_datetimefield_value(now)}
