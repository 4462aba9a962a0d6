"""Nobody works in the book with a password that somebody else knows."""

from django.shortcuts import redirect
from django.urls import reverse


def own_password_first(get_response):
    """Whoever signs in with a temporary password is led to choosing their own, whatever page they ask for."""

    def middleware(request):
        person = request.user
        if not person.is_authenticated or not person.password_temporary:
            return get_response(request)
        allowed = {reverse("account_password"), reverse("sign_out")}
        if request.path in allowed or request.path.startswith("/static/"):
            return get_response(request)
        return redirect("account_password")

    return middleware
