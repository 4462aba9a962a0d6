"""Whether anything of what a page was to write is kept, so that nobody is told of what was saved that it was not."""

READING = ("SELECT", "PRAGMA", "BEGIN", "SAVEPOINT", "RELEASE", "ROLLBACK", "SET", "SHOW", "EXPLAIN")


class WriteTracker:
    """For `connection.execute_wrapper`: `begun` once something was to be written, `kept` once some of it is committed."""

    def __init__(self):
        self.begun = self.kept = False

    def __call__(self, execute, sql, params, many, context):
        if str(sql).lstrip().upper().startswith(READING):
            return execute(sql, params, many, context)
        self.begun, connection = True, context["connection"]
        if connection.in_atomic_block:
            connection.on_commit(self._keep)
            return execute(sql, params, many, context)
        result = execute(sql, params, many, context)
        self._keep()
        return result

    def _keep(self) -> None:
        self.kept = True
