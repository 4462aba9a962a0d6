"""How long PostgreSQL may take for a statement: options of the connection, which the server itself keeps to.

SQLite has one limit for all, how long to wait for another writer (`timeout` in the settings).
"""

from django.conf import settings

LOCK, IDLE = 30, 30  # seconds


def limit_statements(database: dict, seconds: float) -> None:
    """Have connections that are opened from now on by this entry of DATABASES end each statement after so many seconds.

    Whoever vanishes in the middle of a transaction loses it, and its locks, soon. Commands are not limited: they may think.
    """
    if database["ENGINE"] != "django.db.backends.postgresql":
        return
    limits = {
        "statement_timeout": seconds,
        "lock_timeout": min(seconds, LOCK),
        "idle_in_transaction_session_timeout": IDLE,
    }
    told = " ".join(f"-c {name}={round(1000 * limit)}" for name, limit in limits.items())
    database["OPTIONS"]["options"] = (
        f"{told} {settings.SERVER_OPTIONS}"  # of an option that comes twice the last counts
    )
