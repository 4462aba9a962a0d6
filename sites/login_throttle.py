"""Slows down the guessing of passwords: tries are counted per account and network, and apart for each known device.

A try is counted before its password is hashed, in one conditional statement, so that tries at the same moment cannot all pass;
a right password gives it back. It is counted the same whether or not anybody has the e-mail. Only keyed digests are kept.
"""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address
from math import ceil

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import F, Q, QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.crypto import salted_hmac

from shared.plurals import plural

from .known_devices import known_device
from .models import PasswordTries

logger = logging.getLogger(__name__)
WINDOW = timedelta(minutes=15)
PER_DEVICE = 10  # for one e-mail on a device that has signed in with it: nobody elsewhere can use these up
PER_ACCOUNT_AND_NETWORK = 6  # somebody who mistypes finds out by then
PER_ACCOUNT = 30  # from all networks together, on devices not known
PER_NETWORK = 60  # for all e-mails together, on devices not known: a kitchen's people often share one network
KEPT = timedelta(days=1)
TOTAL, TOTAL_KEPT = "total", timedelta(days=30)  # counts all wrong passwords for an e-mail until it signs in
AHEAD = timedelta(minutes=1)  # a window that begins later than that tells of a clock that was set back

HERE = (
    "Too many wrong passwords for this e-mail were typed here. Wait {} and try again, or ask your supervisor for a link to "
    "choose a new one."
)
EVERYWHERE = (
    "Too many wrong passwords for this e-mail were typed in several places. On a device that has not signed in with it "
    "before, wait {} and try again. One that has signed in with it can do so now, and so can one on which you choose a new "
    "password with a link from your supervisor."
)
NETWORK = (
    "Too many wrong passwords were typed on this network. On a device that has not signed in with this e-mail before, wait "
    "{} and try again; one that has can do so now."
)


# A window that is over begins anew; no row is written where no try is left. Told so, it takes a quarter of the time of a model's
# own way, which first makes sure that there is a row.
TABLE = PasswordTries._meta.db_table
OVER = f"({TABLE}.since <= %(before)s OR {TABLE}.since > %(ahead)s)"
TAKE = f"""INSERT INTO {TABLE} (account, place, since, tries) VALUES (%(account)s, %(place)s, %(now)s, 1)
ON CONFLICT (account, place) DO UPDATE SET tries = CASE WHEN {OVER} THEN 1 ELSE {TABLE}.tries + 1 END,
since = CASE WHEN {OVER} THEN excluded.since ELSE {TABLE}.since END WHERE {OVER} OR {TABLE}.tries < %(most)s"""


@dataclass(frozen=True, slots=True)
class TryBudget:
    """How many tries there are in a window: for an account, at a place (a network or a device), or for one at the other."""

    account: str
    place: str
    most: int
    refusal: str

    def row(self) -> QuerySet[PasswordTries]:
        return PasswordTries.objects.filter(account=self.account, place=self.place)

    def take(self, now: datetime) -> None:
        """Count one try. Raises ValidationError where none is left."""
        given = {"account": self.account, "place": self.place, "most": self.most}
        keep = connection.ops.adapt_datetimefield_value
        with connection.cursor() as cursor:
            cursor.execute(TAKE, given | {"now": keep(now), "before": keep(now - WINDOW), "ahead": keep(now + AHEAD)})
            left = cursor.rowcount
        if not left:
            raise ValidationError(self.refusal.format(self._wait(now)), code="wait")

    def give_back(self) -> None:
        self.row().filter(tries__gt=0).update(tries=F("tries") - 1)

    def _wait(self, now: datetime) -> str:
        since = self.row().values_list("since", flat=True).first() or now
        return plural(max(1, ceil((since + WINDOW - now) / timedelta(minutes=1))), "minute")


@dataclass(frozen=True, slots=True)
class CountedTry:
    budgets: tuple[TryBudget, ...]
    total: QuerySet[PasswordTries]
    known_device: bool

    def was_right(self) -> None:
        """What was mistyped here before is forgotten, and the try itself counts nowhere."""
        here, *others = self.budgets
        here.row().delete()
        for budget in others:
            budget.give_back()
        self.total.filter(tries__gt=0).update(tries=F("tries") - 1)


def count_try(request: HttpRequest, email: str) -> CountedTry:
    """Count a try before its password is looked at. Raises ValidationError, which says how long to wait, if none is left."""
    now = timezone.now()
    _forget_old(now)
    counted = _counted(request, email)
    try:
        with transaction.atomic():  # a try that one budget refuses uses up none of the others
            for budget in counted.budgets:
                budget.take(now)
            _count_total(counted.total, _digest("account", email), now)
    except ValidationError:
        logger.warning("Too many wrong passwords from %s; the next tries have to wait.", address_of(request))
        raise
    return counted


def wrong_passwords(email: str) -> int:
    """How many wrong passwords were typed for an e-mail since it last signed in, within the last 30 days."""
    return _total(_digest("account", email)).values_list("tries", flat=True).first() or 0


def begin_anew(email: str) -> int:
    """What `wrong_passwords` tells, which begins at 0 from now on."""
    found = wrong_passwords(email)
    _total(_digest("account", email)).delete()
    return found


def forget_tries(email: str) -> None:
    """A new password ends all waiting for its e-mail."""
    PasswordTries.objects.filter(account=_digest("account", email)).exclude(place=TOTAL).delete()


def address_of(request: HttpRequest) -> str:
    """The network address that a request comes from; behind a proxy, the one that the proxy itself has added, which nobody
    else can write. One that is no address is not believed."""
    added = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2].strip()
    found = (settings.BEHIND_HTTPS and _parsed(added)) or _parsed(request.META.get("REMOTE_ADDR", ""))
    return str(found or "")


def network_of(address: str) -> str:
    """An IPv4 address by itself; of an IPv6 address its first 64 bits, since a single subscriber has the rest."""
    found = _parsed(address)
    return f"{IPv6Address(int(found) >> 64 << 64)}/64" if isinstance(found, IPv6Address) else str(found or "")


def _parsed(text: str) -> IPv4Address | IPv6Address | None:
    try:
        found = ip_address(text)
    except ValueError:
        return None
    return getattr(found, "ipv4_mapped", None) or found


def _counted(request: HttpRequest, email: str) -> CountedTry:
    account = _digest("account", email)
    if device := known_device(request, email):
        own = TryBudget(account, _digest("device", device), PER_DEVICE, HERE)
        return CountedTry((own,), _total(account), known_device=True)
    network = _digest("network", network_of(address_of(request)))
    shared = (
        TryBudget(account, network, PER_ACCOUNT_AND_NETWORK, HERE),
        TryBudget(account, "", PER_ACCOUNT, EVERYWHERE),
        TryBudget("", network, PER_NETWORK, NETWORK),
    )
    return CountedTry(shared, _total(account), known_device=False)


def _total(account: str) -> QuerySet[PasswordTries]:
    return PasswordTries.objects.filter(account=account, place=TOTAL)


def _count_total(total: QuerySet[PasswordTries], account: str, now: datetime) -> None:
    if not total.update(tries=F("tries") + 1):
        first = PasswordTries(account=account, place=TOTAL, since=now, tries=0)
        PasswordTries.objects.bulk_create([first], ignore_conflicts=True)
        total.update(tries=F("tries") + 1)


def _forget_old(now: datetime) -> None:
    windows = ~Q(place=TOTAL) & Q(since__lte=now - KEPT)
    PasswordTries.objects.filter(windows | Q(since__lte=now - TOTAL_KEPT)).delete()


def _digest(kind: str, text: str) -> str:
    return salted_hmac(f"noughtbook.login_throttle.{kind}", text.strip().lower(), algorithm="sha256").hexdigest()
