"""How figures of drift and of intervals are said to people who have two minutes."""

from shared.words import plural


def every(days: int) -> str:
    """How often: "every day", "every 7 days"."""
    return "every day" if days == 1 else f"every {plural(days, 'day')}"
