"""Backing the database up, restoring it, moving it from SQLite to PostgreSQL: what is written is read back and compared."""
