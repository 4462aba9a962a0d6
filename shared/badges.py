"""The words, shapes and tones of states. A state is told by its word and its shape; colour only repeats it."""

from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

# Each is drawn on a 16 by 16 grid in the colour of the text. The boxes and marks are those of the pictures.
SHAPES = {
    "box-solid": '<path d="M1.5 1.5h13v13h-13z" fill="currentColor"/><path d="M4.5 8.3l2.4 2.4 4.6-5" class="cut"/>',
    "box-slanted": '<path d="M1.5 1.5h13v13h-13zM2 9l7-7M2 14L14 2M7 14l7-7"/>',
    "box-crossed": '<path d="M1.5 1.5h13v13h-13zM1.5 1.5l13 13M14.5 1.5l-13 13M8 1.5L14.5 8 8 14.5 1.5 8z"/>',
    "box-dashed": '<path d="M1.5 1.5h13v13h-13z" stroke-dasharray="3 2.2"/>',
    "disc": '<circle cx="8" cy="8" r="7" fill="currentColor" stroke="none"/><path d="M4.7 8.3l2.3 2.3 4.4-4.8" class="cut"/>',
    "diamond": '<path d="M8 .8L15.2 8 8 15.2.8 8z" fill="currentColor"/>'
    '<path d="M5.7 5.7l4.6 4.6M10.3 5.7l-4.6 4.6" class="cut"/>',
    "triangle": '<path d="M8 1.8L15 14.2H1z"/><path d="M8 6v4M8 11.6v1.2"/>',
    "ring": '<circle cx="8" cy="8" r="6.3"/>',
    "ring-half": '<circle cx="8" cy="8" r="6.3"/><path d="M8 1.7a6.3 6.3 0 010 12.6z" fill="currentColor"/>',
    "clock": '<circle cx="8" cy="8" r="6.3"/><path d="M8 4.2V8l2.8 1.8"/>',
    "bars": '<path d="M2.5 3v10M6 3v10M10 3v10M13.5 3v10"/>',
    "strike": '<path d="M2 4.5h12M2 11.5h12M1 14L15 2"/>',
    "pen": '<path d="M2 14l1-4 8-8 3 3-8 8z"/>',
    "note": '<circle cx="8" cy="8" r="6.3"/><path d="M8 7v4.4M8 4.4v1.2"/>',
}


@dataclass(frozen=True, slots=True)
class Badge:
    """What a state is called and how it looks: a word, a tone (good, bad, doubt, info, plain) and a shape."""

    word: str
    tone: str
    shape: str


BADGES = {
    "standing": {
        "proven": Badge("Proven", "good", "box-solid"),
        "pending": Badge("Pending", "info", "box-slanted"),
        "quarantined": Badge("Quarantined", "bad", "box-crossed"),
        "unproven": Badge("Unproven", "doubt", "box-dashed"),
    },
    "fitness": {
        "ok": Badge("OK to use", "good", "disc"),
        "check_first": Badge("Check first", "doubt", "triangle"),
        "do_not_use": Badge("Do not use", "bad", "diamond"),
    },
    "verdict": {
        "in_tolerance": Badge("In tolerance", "good", "disc"),
        "out_of_tolerance": Badge("Out of tolerance", "bad", "diamond"),
        "inconclusive": Badge("Inconclusive", "doubt", "triangle"),
    },
    "outcome": {
        "held": Badge("Limit held", "info", "ring"),
        "broken": Badge("Limit broken", "bad", "diamond"),
        "undecided": Badge("Cannot be told", "doubt", "triangle"),
    },
    "deviation": {
        "open": Badge("Open", "bad", "ring-half"),
        "closed": Badge("Closed", "good", "disc"),
        "none": Badge("Within limit", "plain", "ring"),
        "breach": Badge("Limit not met", "bad", "diamond"),
    },
    "case": {
        "open": Badge("To decide", "bad", "box-crossed"),
        "decided": Badge("Ready to sign", "info", "ring-half"),
        "signed": Badge("Signed", "good", "pen"),
    },
    "due": {
        "ok": Badge("Not due", "good", "disc"),
        "soon": Badge("Due soon", "info", "clock"),
        "due": Badge("Due", "doubt", "clock"),
        "overdue": Badge("Overdue", "bad", "diamond"),
    },
    "post": {
        "waiting": Badge("Waiting", "info", "clock"),
        "claimed": Badge("Being sent", "info", "ring-half"),
        "sent": Badge("Sent", "good", "disc"),
        "failed": Badge("Not sent", "bad", "diamond"),
        "needless": Badge("No longer needed", "plain", "strike"),
    },
    "reminder": {
        "upcoming": Badge("Not due", "plain", "ring"),
        "due": Badge("Due", "doubt", "clock"),
        "overdue": Badge("Overdue", "bad", "diamond"),
        "cleared": Badge("Done", "good", "disc"),
        "unfit": Badge("Taken, not to be relied on", "doubt", "triangle"),
        "missed": Badge("Missed", "bad", "box-crossed"),
        "excused": Badge("Excused", "info", "note"),
        "cancelled": Badge("Not asked for", "plain", "strike"),
        "not_asked": Badge("Not asked in time", "plain", "clock"),
        "not_owed": Badge("Not done in time", "plain", "box-crossed"),
    },
    "review": {
        "running": Badge("Not over yet", "plain", "ring-half"),
        "nothing": Badge("Nothing to review", "plain", "ring"),
        "waiting": Badge("Waits for review", "info", "clock"),
        "late": Badge("Not reviewed in time", "bad", "clock"),
        "sent_back": Badge("Not accepted", "bad", "box-crossed"),
        "changed": Badge("Changed since", "doubt", "triangle"),
        "reviewed": Badge("Reviewed", "good", "pen"),
    },
    "prospect": {
        "out": Badge("Out of tolerance", "bad", "diamond"),
        "soon": Badge("May leave it soon", "doubt", "clock"),
        "moving": Badge("On the move", "doubt", "triangle"),
        "drifting": Badge("Drifting", "info", "ring-half"),
        "steady": Badge("Steady", "good", "disc"),
        "unknown": Badge("Too few checks", "plain", "ring"),
    },
    "record": {
        "void": Badge("Void", "plain", "strike"),
        "corrected": Badge("Corrected", "plain", "pen"),
        "late": Badge("Entered late", "doubt", "clock"),
        "withdrawn": Badge("Withdrawn", "plain", "bars"),
        "in_service": Badge("In service", "plain", "ring"),
    },
    "stage": {
        "as_found": Badge("As found", "plain", "ring"),
        "as_left": Badge("As left", "plain", "box-dashed"),
    },
}


def shape(name: str) -> SafeString:
    """A small drawing that says nothing by itself: screen readers pass over it.

    Raises:
        KeyError: for a shape that is not known.
    """
    return mark_safe(
        '<svg class="shape" viewBox="0 0 16 16" preserveAspectRatio="xMidYMin" aria-hidden="true" focusable="false">'
        f"{SHAPES[name]}</svg>"
    )


def badge(kind: str, value: str) -> SafeString:
    """The badge of a state, made once and kept.

    Raises:
        LookupError: for a kind or a value that is not known; the message lists those that are.
    """
    key = (str(kind), str(value))
    if key not in _DRAWN:
        known = ", ".join(f"{k}: {'/'.join(v)}" for k, v in BADGES.items())
        raise LookupError(f"There is no badge {key[0]!r} {key[1]!r}; known are {known}.")
    return _DRAWN[key]


def _draw(look: Badge) -> SafeString:
    return format_html('<span class="badge tone-{}">{}{}</span>', look.tone, shape(look.shape), look.word)


_DRAWN = {(kind, value): _draw(look) for kind, looks in BADGES.items() for value, look in looks.items()}
