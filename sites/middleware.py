"""Sessions end when nobody has done anything for a while (NOUGHTBOOK_IDLE_HOURS). Roles that came with the
session serve for looking alone."""

import time

from django.conf import settings

RENEWED = "renewed_at"
OFTEN = 10  # a session is written so often in the time for which it may be idle, and not with every page


def roles_of_then_change_nothing(get_response):
    """What changes anything asks for roles when it comes to it, under its locks: they may have been taken away meanwhile."""

    def middleware(request):
        if request.method not in ("GET", "HEAD"):
            request.user.answers = None
        return get_response(request)

    return middleware


def idle_sessions_end(get_response):
    """Renews the session of whoever opens pages. A part that a page asks for by itself is nobody's doing."""

    def middleware(request):
        by_a_page = request.method == "GET" and request.headers.get("HX-Request") == "true"
        if request.user.is_authenticated and not by_a_page and _is_time(request.session):
            renew(request)
        return get_response(request)

    return middleware


def _is_time(session) -> bool:
    """One on a kitchen's device is idle for a shorter time, which the session itself says."""
    lasts = session.get("_session_expiry") or settings.SESSION_COOKIE_AGE
    return time.time() - session.get(RENEWED, 0) >= lasts / OFTEN


def renew(request, **signal):
    """Have the session written, with all of its time before it again; signing in does so too."""
    request.session[RENEWED] = int(time.time())
