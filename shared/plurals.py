"""Numbers with their nouns."""


def noun(count: int, one: str, many: str = "") -> str:
    """The noun alone, for where the number stands apart: "reading" or "readings"."""
    return one if count == 1 else many or f"{one}s"


def plural(count: int, one: str, many: str = "") -> str:
    """A number with its noun, as in "1 reading" or "3 readings"."""
    return f"{count:,} {noun(count, one, many)}"
