"""Whoever tries passwords one after another is made to wait. What was typed is kept as a keyed digest, and not for long."""

import logging
from datetime import timedelta

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from django.utils.crypto import salted_hmac

from .models import WrongPassword

logger = logging.getLogger(__name__)
WINDOW = timedelta(minutes=15)
MOST_HERE = 6  # for one e-mail from one address: somebody who mistypes finds out by then
MOST_FOR_ONE = 30  # for one e-mail from everywhere
MOST_FROM_ONE = 60  # from one address: a kitchen's people often share one


def must_wait(request: HttpRequest, email: str) -> bool:
    """Whether too many passwords were wrong within the last quarter of an hour for this e-mail, or from this address."""
    account, address = _digests(request, email)
    lately = WrongPassword.objects.filter(at__gt=timezone.now() - WINDOW)
    counts = (
        (lately.filter(account=account, address=address).count(), MOST_HERE),
        (lately.filter(account=account).count(), MOST_FOR_ONE),
        (lately.filter(address=address).count(), MOST_FROM_ONE),
    )
    return any(count >= most for count, most in counts)


def was_wrong(request: HttpRequest, email: str) -> None:
    account, address = _digests(request, email)
    now = timezone.now()
    WrongPassword.objects.filter(at__lte=now - WINDOW).delete()
    WrongPassword.objects.create(account=account, address=address, at=now)
    if must_wait(request, email):
        logger.warning("Too many wrong passwords from %s; the next tries have to wait.", address_of(request))


def was_right(request: HttpRequest, email: str) -> None:
    account, address = _digests(request, email)
    WrongPassword.objects.filter(account=account, address=address).delete()


def forget(email: str) -> None:
    """A new password begins anew."""
    WrongPassword.objects.filter(account=_digest("account", email)).delete()


def address_of(request: HttpRequest) -> str:
    """Where a request comes from; behind a proxy, what the proxy itself has added, which nobody else can write."""
    added = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2].strip()
    return (added if settings.BEHIND_HTTPS else "") or request.META.get("REMOTE_ADDR", "")


def _digests(request: HttpRequest, email: str) -> tuple[str, str]:
    return _digest("account", email), _digest("address", address_of(request))


def _digest(kind: str, text: str) -> str:
    return salted_hmac(f"noughtbook.guessing.{kind}", text.strip().lower(), algorithm="sha256").hexdigest()
