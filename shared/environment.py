"""Reading settings from the environment so that a wrong one reaches the system checks, which say what to do about it."""

import dj_database_url

ENGINES = ("django.db.backends.sqlite3", "django.db.backends.postgresql")
UNUSABLE = {"ENGINE": "django.db.backends.dummy"}
LOG_LEVELS = ("DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL")


def database_of(url: str) -> dict:
    """The database that an address names; one that cannot be used where Noughtbook does not run on it."""
    try:
        found = dj_database_url.parse(url)
    except ValueError:
        return dict(UNUSABLE)
    return found if found["ENGINE"] in ENGINES else dict(UNUSABLE)


def log_level_of(text: str) -> str:
    """The level as logging wants it, and the usual one where there is none of that name."""
    return text.upper() if text.upper() in LOG_LEVELS else "WARNING"
