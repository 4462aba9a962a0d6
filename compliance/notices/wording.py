"""The words and the two parts of a notice."""

from collections.abc import Sequence

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse

from compliance.plans.schedule import listed
from shared.bounds import on_one_line

NAMED = 4  # probes that a subject names; of more it gives the number
SUBJECT = 200


def probes(codes: Sequence[str]) -> str:
    """Such as “probe P1”, “probes P1, P2 and P3”, “9 probes”."""
    if len(codes) == 1:
        return f"probe {codes[0]}"
    return f"{len(codes)} probes" if len(codes) > NAMED else f"probes {listed(codes)}"


def absolute(path: str) -> str:
    """The address of a page as a mail has to give it."""
    return f"{settings.ADDRESS}{path}"


def in_one_line(text: str) -> str:
    """What a header can hold."""
    line = on_one_line(text)
    return line if len(line) <= SUBJECT else f"{line[: SUBJECT - 1]}…"


def parts(message) -> tuple[str, str]:
    """The text and the HTML of a message; nothing in them is fetched from elsewhere."""
    context = {
        "message": message,
        "items": [(item, absolute(item.link)) for item in message.items],
        "link": absolute(message.link),
        "choices": absolute(reverse("notice_choices")),
        "several": len(message.items) > 1,
    }
    return render_to_string("notices/mail/notice.txt", context), render_to_string("notices/mail/notice.html", context)
