"""A phone or tablet that stays in a kitchen. Its manager registers it once: a cookie holds a secret of which only a digest is
kept. On it people say who they are by a PIN, which opens that kitchen's work and nothing else (`sites.access`)."""

import secrets
from datetime import timedelta

from django.conf import settings
from django.contrib.auth.hashers import check_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.crypto import salted_hmac

from .access import people_at
from .login_throttle import TryBudget
from .models import KitchenDevice, KitchenPin, Person, Site

COOKIE = "noughtbook_kitchen"
DEVICE = "kitchen_device"  # in a session that a PIN opened: the number of its device
LASTS = timedelta(days=400)  # the longest that browsers keep a cookie
IDLE = timedelta(minutes=15)
SHORTEST, LONGEST = 4, 8  # digits of a PIN
PER_PERSON = 5  # wrong PINs for one person on one device, in the window of `login_throttle`
PER_DEVICE = 30  # for all people on it
MOST_WRONG = 12  # since the last right one, on all devices; then the PIN holds no longer

WRONG = "This is not the PIN of {}. Nothing was opened."
WAIT = "Too many wrong PINs were typed here. Wait {} and try again, or sign in with your password."
GONE = "Too many wrong PINs were typed for {}. It holds no longer: sign in with your password and choose another."


def secret_of(request: HttpRequest) -> str:
    return request.COOKIES.get(COOKIE, "")


def digest_of(secret: str) -> str:
    return salted_hmac("noughtbook.kitchen", secret, algorithm="sha256").hexdigest()


def device_of(request: HttpRequest) -> KitchenDevice | None:
    """The registered device that asks; None for any other, and for one that was revoked. One query, if it has the cookie."""
    secret = secret_of(request)
    live = KitchenDevice.objects.filter(revoked_at=None, site__closed=False).select_related("site")
    return live.filter(digest=digest_of(secret)).first() if secret else None


def new_secret() -> str:
    return secrets.token_urlsafe(32)


def keep_secret(response: HttpResponse, secret: str) -> HttpResponse:
    """Have the browser keep the secret of its device, from now on as long as browsers do."""
    secure = settings.SESSION_COOKIE_SECURE
    response.set_cookie(COOKIE, secret, max_age=LASTS, httponly=True, samesite="Lax", secure=secure)
    return response


def people_with_pins(site: Site) -> QuerySet[Person]:
    """Who may work at this site and has a PIN that holds."""
    live = KitchenPin.objects.filter(wrong__lt=MOST_WRONG, revocations=F("person__revocations"))
    return people_at(site).filter(pk__in=live.values("person")).order_by("name", "pk")


def refuse_easy(pin: str) -> str:
    """The PIN. Raises ValidationError for one that is no number of a few digits, or that anybody would try first."""
    if not (pin.isascii() and pin.isdigit() and SHORTEST <= len(pin) <= LONGEST):
        raise ValidationError({"pin": f"Choose {SHORTEST} to {LONGEST} digits."})
    steps = {int(after) - int(before) for before, after in zip(pin, pin[1:], strict=False)}
    if len(steps) == 1 and steps <= {-1, 0, 1}:
        raise ValidationError({"pin": "This is one of the first that anybody would try. Choose another."})
    return pin


def person_by_pin(device: KitchenDevice, person: Person, pin: str) -> Person:
    """The person, if this is their PIN. Each try is counted in the database before it is looked at; a right one is given back.

    Raises ValidationError for a wrong one, and where too many were typed.
    """
    for_one, for_all = _budgets(device, person)
    with transaction.atomic():  # a try that one budget refuses uses up none of the other
        for budget in (for_one, for_all):
            budget.take(timezone.now())
    kept = KitchenPin.objects.filter(person=person, wrong__lt=MOST_WRONG, revocations=F("person__revocations"))
    if not kept.update(wrong=F("wrong") + 1):
        raise ValidationError(GONE.format(person))
    if not check_password(pin, kept.model.objects.get(person=person).pin):
        raise ValidationError(WRONG.format(person))
    KitchenPin.objects.filter(person=person).update(wrong=0)
    for_one.row().delete()
    for_all.give_back()
    return person


def _budgets(device: KitchenDevice, person: Person) -> tuple[TryBudget, TryBudget]:
    place = digest_of(f"place:{device.pk}")
    account = digest_of(f"person:{person.pk}")
    return TryBudget(account, place, PER_PERSON, WAIT), TryBudget("", place, PER_DEVICE, WAIT)
