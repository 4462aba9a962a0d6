"""Text on its way to a spreadsheet and back: one that would start a formula gets an apostrophe, which reading takes away."""

import re

FORMULA = re.compile(r"'*[=+\-@\t\r]")


def guarded(text: str) -> str:
    return "'" + text if FORMULA.match(text) else text


def unguarded(text: str) -> str:
    """The other way round: `unguarded(guarded(text)) == text` for every text."""
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text
