"""What every request is asked for before anything is made of it, and the headers that every page carries."""

from django.core.exceptions import BadRequest

POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)


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
