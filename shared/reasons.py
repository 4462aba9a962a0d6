"""What counts as a reason, wherever one is typed: words that somebody else can make something of."""

import unicodedata

from django.core.exceptions import ValidationError

# Usual ones that forms offer, by what is to be said why.
USUAL = {
    "closure": ("School holidays", "Staff training day", "Kitchen being rebuilt", "No deliveries and no guests"),
    "closure_void": ("Worked after all", "The days were entered wrongly"),
    "excuse": ("The kitchen was closed", "The probe was in the laboratory", "No food of this kind that day"),
    "excuse_void": ("The probe was here all the time", "The site was open after all", "Excused the wrong one"),
    "strike": ("Typed the wrong number", "Chose the wrong probe", "Chose the wrong limit", "Entered twice"),
    "despite": ("No other probe here is OK to use.", "Only to get an idea: it is measured again with another probe."),
    "move": ("Lent to the other kitchen", "Replaces a broken one", "Taken along with the staff"),
    "retire": ("No food of this kind any more", "Another limit takes its place"),
    "out_of_use_void": ("It was in use all the time", "Chose the wrong one"),
    "retire_appliance": ("Sold or thrown away", "Another one takes its place", "No food is kept in it any more"),
    "stop": ("No longer works here", "On leave for a long time"),
}
SHORTEST = 4  # letters of a word that says something, in scripts that spell
SHORTEST_SIGNS = 2  # of scripts in which one or two signs are a word
SIGNS = ("CJK", "HIRAGANA", "KATAKANA", "HANGUL", "BOPOMOFO", "YI ")
TOO_SHORT = "“{}” tells nobody why. Say it in words, with at least one of four letters or more{}."


def as_reason(text: str, name: str = "reason", *, ask: str = "", usual: str = "") -> str:
    """The text without blanks around it. `ask`: what to say where it is empty; without, it may be.

    Raises ValidationError for the field `name` where it holds no word; `usual` names those that are given as an example.
    """
    text = text.strip()
    wrong = ask if not text else "" if holds_word(text) else _too_short(text, usual)
    if wrong:
        raise ValidationError({name: wrong} if name else wrong, code="reason")
    return text


def _too_short(text: str, usual: str) -> str:
    return TOO_SHORT.format(text[:40], f", such as “{USUAL[usual][0]}”" if usual else "")


def holds_word(text: str) -> bool:
    """Whether it holds a word of four letters of any script, or two signs of one such as Chinese. One letter again and again is
    no word."""
    return any(_is_word(run) for run in _runs(unicodedata.normalize("NFC", text).casefold()))


def _runs(text: str) -> list[str]:
    """The letters that stand together, with their marks: in some scripts those are vowels."""
    return "".join(sign if unicodedata.category(sign)[0] in "LM" else " " for sign in text).split()


def _is_word(run: str) -> bool:
    signs = {sign for sign in run if unicodedata.name(sign, "").startswith(SIGNS)}
    return len(signs) >= SHORTEST_SIGNS or (len(run) >= SHORTEST and len(set(run)) > 1)
