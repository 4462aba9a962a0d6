"""Response headers that every page carries."""

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
