"""Devices that have signed in before: a signed cookie names the people who did. It lets nobody in; it only keeps the tries
of its device apart from those of others, so that guessing elsewhere keeps nobody out (`login_throttle`)."""

import secrets
from datetime import timedelta

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import constant_time_compare, salted_hmac

from .models import Person

COOKIE = SALT = "noughtbook_device"
LASTS = timedelta(days=400)  # the longest that browsers keep a cookie
MOST = 30  # people on one device, such as a kitchen's tablet


def known_device(request: HttpRequest, email: str) -> str:
    """The number of the device, if somebody has signed in on it with this e-mail and its present password; else empty."""
    device, people = _read(request)
    person = Person.objects.filter(email=email.strip().lower(), pk__in=people).first() if people else None
    return device if person and constant_time_compare(people[str(person.pk)], _mark(device, person)) else ""


def remember_device(response: HttpResponse, request: HttpRequest, person: Person) -> HttpResponse:
    """Have the device known to this person from now on, until the password changes."""
    device, people = _read(request)
    device = device or secrets.token_urlsafe(9)
    others = [(pk, mark) for pk, mark in people.items() if pk != str(person.pk)]
    people = dict([*others, (str(person.pk), _mark(device, person))][-MOST:])
    response.set_cookie(
        COOKIE,
        signing.dumps([device, people], salt=SALT),
        max_age=LASTS,
        httponly=True,
        samesite="Lax",
        secure=settings.SESSION_COOKIE_SECURE,
    )
    return response


def _read(request: HttpRequest) -> tuple[str, dict[str, str]]:
    try:
        device, people = signing.loads(request.COOKIES.get(COOKIE, ""), salt=SALT, max_age=LASTS)
    except signing.BadSignature:
        return "", {}
    return device, people


def _mark(device: str, person: Person) -> str:
    """Another one with every other password, and when the person was stopped. The cookie is signed as a whole."""
    told = f"{device}:{person.pk}:{person.get_session_auth_hash()}"
    return salted_hmac(SALT, told, algorithm="sha256").hexdigest()[:16]
