"""What is done around every request: the health page before all else, the bell after whatever was written."""

from django.urls import reverse

from .bell import bell
from .views import health


def health_first(get_response):
    """The health page needs no session, and must come even while the database that keeps sessions hangs."""

    def middleware(request):
        return health(request) if request.path == reverse("health") else get_response(request)

    return middleware


def ring_after_writing(get_response):
    """What was written may ask to be told at once, as a failed check does; by now it is committed."""

    def middleware(request):
        response = get_response(request)
        if request.method == "POST" and response.status_code < 400:
            bell.ring()
        return response

    return middleware
