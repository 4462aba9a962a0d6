"""The time by the database's clock: one for all machines, also where the clock of one of them has been set back."""

from datetime import UTC, datetime

from django.db import connection

ASK = {
    "sqlite": "SELECT strftime('%Y-%m-%d %H:%M:%f', 'now')",
    "postgresql": "SELECT statement_timestamp()",
}


def now() -> datetime:
    """The present moment, in UTC; one statement."""
    with connection.cursor() as cursor:
        cursor.execute(ASK[connection.vendor])
        [told] = cursor.fetchone()
    found = told if isinstance(told, datetime) else datetime.fromisoformat(told).replace(tzinfo=UTC)
    return found.astimezone(UTC)
