"""Text on its way to a spreadsheet and back: one that would start a formula gets an apostrophe, which reading takes away."""

import re

FORMULA = re.compile(r"'*[=+\-@\t\r]")
FIRST = frozenset("'=+-@\t\r")  # one of these begins what the pattern finds


def guarded(text: str) -> str:
    return "'" + text if text[:1] in FIRST and FORMULA.match(text) else text


def unguarded(text: str) -> str:
    """The other way round: `unguarded(guarded(text)) == text` for every text."""
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text
