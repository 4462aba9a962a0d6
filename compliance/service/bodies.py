"""How much may be sent at once: what is more is refused before any of it is kept, whichever server serves the pages."""

from copy import copy

from django.http import HttpResponse
from django.template.loader import render_to_string
from django.urls import reverse
from waitress.parser import HTTPRequestParser
from waitress.utilities import RequestEntityTooLarge

from compliance.readings.importing.uploads import MOST_SENT, takes_files
from shared.middleware import POLICY

MOST_TYPED = 1024 * 1024  # in bytes, of whatever is no file: far more than all forms ask for
PASSED_OVER = 4 * MOST_SENT  # bytes; a browser shows the answer only when it has got rid of its file


def most_taken(path: str, query: str) -> int:
    """Bytes that a body sent there may have. Who is signed in is not known so early; the query of an upload has to show it."""
    return MOST_SENT if takes_files(path, query) else MOST_TYPED


def told_length(meta: dict) -> int:
    """As Django takes it, which reads no more than this of a body."""
    try:
        return int(meta.get("CONTENT_LENGTH"))
    except (TypeError, ValueError):
        return 0


def too_large() -> HttpResponse:
    context = {"files_to": reverse("reading_import"), "most": MOST_SENT // 1024 // 1024}
    return HttpResponse(render_to_string("413.html", context), status=413)


def small_enough(get_response):
    """For every server: nothing has read the body yet."""

    def middleware(request):
        most = most_taken(request.path, request.META.get("QUERY_STRING", ""))
        return too_large() if told_length(request.META) > most else get_response(request)

    return middleware


class TooLarge(RequestEntityTooLarge):
    """The same page as the server of `start` sends it."""

    def to_response(self, ident=None):
        page = too_large()
        headers = [("Content-Type", page["Content-Type"]), ("Content-Security-Policy", POLICY)]
        return f"{page.status_code} {page.reason_phrase}", headers, page.content


class Parser(HTTPRequestParser):
    """For the server of `start`, which takes in whole bodies before it asks us: as much as the address may have, and no more."""

    left = 0  # bytes of a file that is too large, still to be passed over

    def parse_header(self, header_plus):
        super().parse_header(header_plus)
        self.adj = copy(self.adj)
        self.adj.max_request_body_size = most_taken(self.path, self.query) + 1  # the first number that is refused

    def received(self, data):
        if self.left:
            return self._pass_over(data)
        taken = super().received(data)
        if type(self.error) is RequestEntityTooLarge:
            self.error = TooLarge("")
            if (
                self.path == reverse("reading_import")
                and not self.expect_continue
                and self.content_length <= PASSED_OVER
            ):
                self.left, self.completed = self.content_length, False
            self.expect_continue = False  # or the server would ask for the body after all
        return taken

    def _pass_over(self, data) -> int:
        taken = min(len(data), self.left)
        self.left -= taken
        self.completed = not self.left
        return taken
