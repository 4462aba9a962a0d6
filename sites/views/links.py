"""Choosing a password by a one-time link: made by a supervisor, opened by whoever it was handed to."""

from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from shared.forms import attempt
from shared.request_slots import PASSWORDS, few

from ..access import clock_of
from ..actions import make_password_link, use_password_link
from ..forms import ChoosePasswordForm, LinkForm
from ..known_devices import remember_device
from ..models import PasswordLink
from ..password_links import ends_at, holding_link, link_path, live_link, newest_link
from ..people import get_person_to_link
from .parts import LOOKING_AT_PASSWORDS

FORM = ["GET", "HEAD", "POST"]


@never_cache
@require_http_methods(FORM)
def person_password(request: HttpRequest, pk: int) -> HttpResponse:
    """A link is shown in the answer itself, once; the page sent again makes no other but asks."""
    person = get_person_to_link(request.user, pk)
    form = LinkForm(request.POST or None)
    if form.is_valid():
        try:
            return show_link(request, make_password_link(by=request.user, person=person, **form.cleaned_data))
        except ValidationError as refused:
            messages.warning(request, " ".join(refused.messages))
        return redirect("person_password", pk)
    newest, holding = newest_link(person), holding_link(person)
    return render(
        request,
        "sites/person_password.html",
        {
            "person": person,
            "form": LinkForm(initial={"after": newest.pk if newest else 0}),
            "holding": holding,
            "until": holding and ends_at(holding),
            "zone": clock_of(request.user),
        },
    )


def show_link(request: HttpRequest, link: PasswordLink) -> HttpResponse:
    answer = render(
        request,
        "sites/person_link.html",
        {
            "person": link.person,
            "address": request.build_absolute_uri(link_path(link)),
            "until": ends_at(link),
            "zone": clock_of(request.user),
        },
    )
    answer.headers["Cache-Control"] = "no-store"
    return answer


# The secret in the address proves more than the token of a form would; and with no referrer a browser sends no origin.
@csrf_exempt
@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(FORM)
@few(PASSWORDS, LOOKING_AT_PASSWORDS, ("POST",))
def new_password(request: HttpRequest, pk: int, token: str) -> HttpResponse:
    """Looking has no effect, so that programs which open links to show what is behind them do not use one up."""
    return _told_nobody(_new_password(request, pk, token))


def _new_password(request: HttpRequest, pk: int, token: str) -> HttpResponse:
    link = live_link(pk, token)
    if link is None:
        return render(request, "sites/new_password_gone.html", status=404)
    form = ChoosePasswordForm(link.person, request.POST or None)
    if form.is_valid():
        chosen = {"link": link, "token": token, "password": form.cleaned_data["new_password1"]}
        person = attempt(form, use_password_link, by=link.person, **chosen)
        if person:
            logout(request)  # whoever is signed in here is somebody else, or has an old password
            messages.success(request, "Your password is set. Sign in with it.")
            return remember_device(redirect("sign_in"), request, person)
    return render(request, "sites/new_password.html", {"form": form, "person": link.person, "maker": link.maker})


def _told_nobody(answer: HttpResponse) -> HttpResponse:
    answer.headers["Referrer-Policy"] = "no-referrer"
    answer.headers["X-Robots-Tag"] = "noindex"
    return answer
