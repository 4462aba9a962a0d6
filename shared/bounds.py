"""How far back and ahead what people give may lie, and what a name may hold: asked by forms, and by actions before they write."""

import re
import unicodedata
from datetime import date, datetime, timedelta
from uuid import UUID

from django.core.exceptions import ValidationError
from django.utils import timezone

from . import clock
from .time_text import long_day

EARLIEST, LATEST = date(1990, 1, 1), date(2100, 12, 31)
TO_COME = "That time has not come yet. Give the time when it was done."
AT_ONCE = timedelta(minutes=5)  # what begins so little before it is recorded begins now: a form takes time to fill in
NUMBER = re.compile("[0-9]{1,18}", re.ASCII)  # fits the key of a record on both engines
# The scripts of the face that records are printed in (`shared/printing/fonts.py`), as the names of their letters begin.
PRINTED = {
    *("LATIN", "GREEK", "CYRILLIC", "ARMENIAN", "GEORGIAN", "HEBREW", "ARABIC"),
    *("MODIFIER", "SUPERSCRIPT", "MICRO", "FEMININE", "MASCULINE"),
}
# Unicode's categories of control characters, half characters, line and paragraph ends.
NO_SIGNS = ("Cc", "Cs", "Zl", "Zp")


def in_bounds(day: date, name: str = "") -> None:
    """Raises ValidationError, for the field `name` if one is given, where a day or moment is before 1990 or after 2100.

    It is the day on the clock that the moment is given in.
    """
    on = day.date() if isinstance(day, datetime) else day
    if EARLIEST <= on <= LATEST:
        return
    told = f"That is before {EARLIEST.year}. Look at the year, and give a later day."
    if on > LATEST:
        told = f"That is after {LATEST.year}. Look at the year, and give an earlier day."
    raise ValidationError({name: told} if name else told, code="bounds")


def done_by_now(at: datetime, name: str = "", words: str = TO_COME) -> datetime:
    """The moment of something that was done. Raises ValidationError as `in_bounds`, and where it is still to come."""
    if at > timezone.now():
        raise ValidationError({name: words} if name else words, code="future")
    in_bounds(at, name)
    return at


def begins_now(at: datetime) -> bool:
    """Whether something that holds from this moment on begins now or later, and does not change what is over."""
    return at >= clock.now() - AT_ONCE


def from_now(at: datetime) -> datetime:
    """The moment; where it is so little ago that it means now, now, so that nothing holds before it is recorded."""
    return max(at, clock.now()) if begins_now(at) else at


def not_come_yet(last: date, today: date) -> str:
    """What is wrong with a period whose last day lies ahead, of which nothing can be said yet; empty where nothing is."""
    if last <= today:
        return ""
    ahead, possible = (long_day(each) for each in (last, today))
    return f"{ahead} has not come yet, and nothing can be said of it. The last day possible is today, {possible}."


def number_in(text: str | None) -> int | None:
    """The number that a parameter names, such as a site's; None for anything else, so that it counts as not given."""
    return int(text) if text and NUMBER.fullmatch(text) else None


def key_in(text: str | None) -> UUID | None:
    """The key of a form; None for anything else, which is the key of nothing."""
    try:
        return UUID(text or "")
    except ValueError:
        return None


def one_line(text: str) -> None:
    """Raises ValidationError for a name with a line break, with a sign that cannot be seen or kept, or with a letter that print
    has no face for."""
    if any(unicodedata.category(sign) in NO_SIGNS for sign in text):
        raise ValidationError("Write it on one line, with letters, digits and signs that can be seen.", code="one_line")
    if words := not_printed(text):
        raise ValidationError(words, code="not_printed")


def not_printed(text: str) -> str:
    """What is wrong with a name that nobody could read on paper, in words; empty where nothing is."""
    if text.isascii():
        return ""
    letters = (sign for sign in unicodedata.normalize("NFKC", text) if sign.isalpha())
    strange = "".join(sign for sign in letters if unicodedata.name(sign, "").split(" ")[0] not in PRINTED)
    return f"“{strange[:20]}” cannot be printed on a record. Write it in Latin letters." if strange else ""


def on_one_line(text: str) -> str:
    """The same text with a blank for every run of blanks and signs that cannot be seen: for a mail's subject, a calendar."""
    return " ".join("".join(" " if unicodedata.category(sign) in NO_SIGNS else sign for sign in text).split())
