"""What the task of each minute visits does not grow with history, nor with what is told already."""

from django.db import connection

from compliance.notices.enqueue import enqueue_due_notices
from tests.benchmarks import measure_minute as minute
from tests.benchmarks.measure_minute import A_DAY, A_WEEK, NOON, NOW
from tests.visited import by_indexes, plan_of, watching

WEEKS, PROBES = 60, 40
SLACK = {"postgresql": 20, "sqlite": 400}  # rows; steps


def visited() -> dict[str, int]:
    with by_indexes(), watching() as watched:
        minute.undone(lambda: enqueue_due_notices(NOW))
    with by_indexes():
        plans = [(statement.sql, plan_of(statement)) for statement in watched.reads()]
    assert [sql for sql, plan in plans if plan.scans()] == []
    return {sql: plan.rows for sql, plan in plans}


def test_it_visits_no_more_for_a_history_of_a_year(world, mailing, monkeypatch):
    monkeypatch.setattr(minute, "FAILED", 4)
    monkeypatch.setattr(minute, "TOLD", 2)
    minute.number("week", -1, WEEKS)
    minute.number("day", NOON // A_DAY - WEEKS * 7, NOON // A_DAY + 1)
    filling = minute.fill(world, PROBES)
    filling.rows(NOON - A_WEEK, NOON)
    enqueue_due_notices(NOW - minute.MINUTE)
    few, slack = visited(), SLACK[connection.vendor]
    filling.rows(NOON - WEEKS * A_WEEK, NOON - A_WEEK)
    many = visited()
    grown = {sql: (few.get(sql, 0), rows) for sql, rows in many.items() if rows > few.get(sql, 0) + slack}
    assert grown == {}
