"""What every request is asked for before anything is made of it, and the headers that every page carries."""

from django.core.exceptions import BadRequest
from django.middleware.gzip import GZipMiddleware

POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)


class Compressed(GZipMiddleware):
    """Sends what is text by a fifth of its bytes; what is streamed stays streamed, piece by piece.

    The length of a compressed page can tell a listener who makes its visitor ask again and again, with guesses in the address,
    of a secret in it (the attack named BREACH). Here it tells nothing of use: Django masks the token of each form anew in each
    page and gives each answer a random length, and the session's cookie is not sent with what other sites ask for. The address
    of a calendar feed and a link to a password are shown once.
    """

    def process_response(self, request, response):
        apart = request.method == "HEAD" or response.status_code in (206, 304)  # there is no body, or a piece of one
        if apart or response.get("Content-Type") == "application/pdf":  # which is compressed already
            return response
        return super().process_response(request, response)


def content_security_policy(get_response):
    """Only our own scripts and styles run: what somebody typed can never become code."""

    def middleware(request):
        response = get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        return response

    return middleware


def text_that_can_be_kept(get_response):
    """Refuses what no browser of ours sends: an address or a cookie with NUL, which PostgreSQL keeps in no text, and another
    encoding than UTF-8, from which halves of characters could come."""

    def middleware(request):
        if (request.encoding or "utf-8").lower() not in ("utf-8", "utf8"):
            raise BadRequest("Text is to be sent as UTF-8.")
        parameters = (text for name, values in request.GET.lists() for text in (name, *values))
        if any("\0" in text for text in (request.path, *parameters, *request.COOKIES.values())):
            raise BadRequest("There is a NUL in the address or in a cookie.")
        return get_response(request)

    return middleware
