"""Django's PostgreSQL, with a limit to how long a silent server is waited for.

TCP alone notices no server that is frozen: its machine goes on saying that what it was sent has arrived. So each statement, a
COMMIT too, may have a limit (`shared.within.answered_within`). Where it is passed the connection is given up. Whether the server
still did what it was asked is then not known, as with every connection that is lost.
"""

from collections.abc import Generator
from math import ceil
from time import monotonic

import psycopg
from django.db.backends.postgresql import base

from shared.within import patience

# Who begins a transaction and vanishes holds its locks no longer than this, in seconds. A command may think for longer
# between two statements than what is in a hurry.
IDLE_IN_A_HURRY, IDLE = 30, 300
# The server counts that by a clock that may be set back. That a machine or a network is gone its system finds out in half a
# minute by itself, if it is asked to; by default it takes more than two hours.
WATCH = "SET tcp_keepalives_idle = 10; SET tcp_keepalives_interval = 5; SET tcp_keepalives_count = 3"


class Connection(psycopg.Connection):
    def wait(self, gen, *args, **kwargs):
        seconds = patience()
        return super().wait(gen if seconds is None else self._limited(gen, seconds), *args, **kwargs)

    def _limited(self, steps: Generator, seconds: float) -> Generator:
        """The same steps, as long as there is an answer now and then. Raises psycopg.OperationalError."""
        heard = monotonic()
        try:
            wanted = next(steps)
            while True:
                if ready := (yield wanted):
                    heard = monotonic()
                elif monotonic() > heard + seconds:
                    self.pgconn.finish()
                    raise psycopg.OperationalError(f"the database gave no answer within {seconds} s")
                wanted = steps.send(ready)
        except StopIteration as done:
            return done.value


class Driver:
    """psycopg itself, but for the connections it makes."""

    connect = Connection.connect

    def __getattr__(self, name):
        return getattr(psycopg, name)


class DatabaseWrapper(base.DatabaseWrapper):
    Database = Driver()

    def init_connection_state(self):
        super().init_connection_state()
        seconds = patience()
        idle = IDLE if seconds is None else IDLE_IN_A_HURRY
        self.connection.execute(f"SET idle_in_transaction_session_timeout = '{idle} s'; {WATCH}")
        if seconds is not None:  # who has been left by a client that waits no longer would go on to wait for a lock
            self.connection.execute(f"SET lock_timeout = '{ceil(seconds)} s'")
        if not self.get_autocommit():
            self.connection.commit()
