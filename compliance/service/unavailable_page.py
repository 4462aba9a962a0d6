"""The page that is shown while a page cannot be: what is so, whether anything was saved, and what was typed, to be sent again."""

from dataclasses import dataclass

from django.http import HttpResponse
from django.template.loader import render_to_string

from shared.trouble import Trouble

from .write_tracker import WriteTracker

RETRY_AFTER = 10  # seconds
SECRET = "password"  # in the names of what is not to be written into a page
KEY = "key"  # the field that makes sending a form twice harmless
# Fields that hold what a page put there itself, or the number of a record: sent again, and not shown as what was typed.
UNTYPED = {
    "csrfmiddlewaretoken",
    KEY,
    "advised",
    "after",
    "afresh",
    "again",
    "all_the_same",
    "appliance",
    "area",
    "before",
    "business",
    "confirmed",
    "corrects",
    "decided_by",
    "elapsed",
    "excuse",
    "forget",
    "good_reading",
    "limit",
    "limits",
    "most",
    "next",
    "person",
    "place",
    "point",
    "pressure_level",
    "probe",
    "probes",
    "role",
    "rules",
    "same",
    "seen",
    "site",
    "state",
    "stops",
    "taken_by",
    "unit",
    "wants",
}
WHO_LOOKS_AFTER = "Tell whoever looks after this system"
WHY = {
    Trouble.FULL: f"The disk that the records are kept on takes no more. {WHO_LOOKS_AFTER}: room has to be made there before "
    "anything can be saved. What was saved before is safe.",
    Trouble.READ_ONLY: f"Nothing can be saved until somebody has put that right. {WHO_LOOKS_AFTER}. What was saved before is "
    "safe.",
    Trouble.BUSY: "Something else has kept them for writing for so long that this had to give up. It passes by itself as a "
    "rule.",
    Trouble.AWAY: "What was saved before is safe.",
}


@dataclass(frozen=True, slots=True)
class Outage:
    """What is so. `certain`: nothing of what a form sent has been saved; else it is not known."""

    heading: str
    why: str = ""
    certain: bool = True


def outage_of(trouble: Trouble, writes: WriteTracker | None) -> Outage:
    """For what the database refused or did not answer, and what had been written until then (None: that is not known)."""
    untouched = writes is not None and not writes.begun
    some_kept = writes is not None and writes.kept
    return Outage(trouble.heading, WHY[trouble], certain=untouched or (trouble.undone and not some_kept))


def unavailable(request, outage: Outage) -> HttpResponse:
    """Try again. What a form sent is in the page, to be sent again as it was."""
    posted, part = request.method == "POST", request.headers.get("HX-Request") == "true"
    sent, files = typed(request) if posted else ([], False)
    context = {
        "outage": outage,
        "writing": posted,
        "sent": sent,
        "files": files,
        "shown": shown(sent),
        "lead": lead(outage, sent),
        "address": request.get_full_path(),
        "retry_after": RETRY_AFTER,
    }
    # Without the request: who is signed in cannot be read.
    page = render_to_string("503_part.html" if posted and part else "503.html", context)
    response = HttpResponse(page, status=503, headers={"Retry-After": RETRY_AFTER})
    if part:  # the page stays as it is, with what was typed in it
        response.headers["HX-Reswap"] = "innerHTML" if posted else "none"
        if posted:
            response.headers["HX-Retarget"] = "#not-saved"
    return response


def lead(outage: Outage, sent: list[tuple[str, str]]) -> str:
    """What became of what was sent."""
    if outage.certain:
        kept = " Nothing you typed is lost: send it again in a moment." if sent else ""
        return "What you have just sent is not saved yet." + kept
    if any(name == KEY for name, _ in sent):
        return (
            "It is not known whether what you have just sent was saved. Send it again in a moment: it is saved once in any "
            "case."
        )
    return (
        "It is not known whether what you have just sent was saved. Look whether it is there already; if it is not, send it "
        "again."
    )


def typed(request) -> tuple[list[tuple[str, str]], bool]:
    """What a form sent, and whether a file was with it. Nothing where there is a secret in it: only the browser has that."""
    try:
        sent = [(name, value) for name, values in request.POST.lists() for value in values]
        files = bool(request.FILES)
    except OSError:  # the visitor has gone meanwhile
        return [], False
    return ([] if any(SECRET in name for name, _ in sent) or files else sent), files


def shown(sent: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """What somebody typed or chose of it, named nearly as in the form."""
    return [
        (name.replace("_", " ").strip().capitalize(), value)
        for name, value in sent
        if name not in UNTYPED and value.strip()
    ]
