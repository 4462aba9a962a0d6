"""Sends what is in the outbox, by Django's mail.

A sender claims a notice for a quarter of an hour by one conditional UPDATE; where that changes not exactly one row, somebody else
has it. If the sender dies, the claim runs out and the notice is sent again with the same Message-ID: the receiver can tell.
"""

import logging
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from email.charset import QP, Charset
from email.utils import parseaddr
from time import monotonic

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.db.models import Case, DateTimeField, F, Q, QuerySet, Value, When
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.encoding import punycode

from . import still_relevant
from .delivery_result import KEEP_TRYING, MOST_UNCLEAR, DeliveryResult, answer_of, pause, result_of
from .models import CLAIMED_FOR, Notice, State
from .recipients import AT_ONCE
from .wording import absolute, in_one_line

MOST = 500  # notices a turn
TURN = 60  # seconds after which a turn begins no further mail
AWAY = timedelta(minutes=1)  # until a server that could not be reached is tried again
AHEAD = timedelta(minutes=1)  # what was written later than that from now tells of a clock that was set back
PRINTABLE = Charset("utf-8")  # for servers that take no eight bits: RFC 6152
PRINTABLE.body_encoding = QP
logger = logging.getLogger(__name__)


def send_waiting(clock: Callable[[], datetime] = timezone.now, *, most: int = MOST, seconds: float = TURN) -> int:
    """Send what may leave now, failed checks first; gives how many were tried. Safe to run twice and at the same time."""
    began, asked_at = clock(), monotonic()
    notices = list(ready(began)[:most]) if settings.MAIL_WORKS else []  # or Django would take them and send none
    if not notices:
        return 0
    connection, tried = get_connection(), 0
    try:
        connection.open()
    except OSError as error:
        _put_off(error, began)
        notices = []
    for notice in notices:
        elapsed = monotonic() - asked_at
        if elapsed > seconds:
            break
        result = _send(notice, connection, began + timedelta(seconds=elapsed))
        tried += result is not None
        if result and result.stop:
            break
    with suppress(OSError):
        connection.close()
    return tried


def may_be_tried(now: datetime) -> Q:
    """Nobody else's, and not put off; a clock that was set back puts nothing off for longer than it was."""
    come = Q(not_before=None) | Q(not_before__lte=now) | Q(answered_at__gt=now + AHEAD)
    free = Q(claimed_at=None) | Q(claimed_at__lte=now - CLAIMED_FOR) | Q(claimed_at__gt=now + AHEAD)
    return Q(state=State.WAITING) & come & free


def ready(now: datetime) -> QuerySet[Notice]:
    first = Case(When(kind__in=AT_ONCE, then=0), default=1)
    notices = Notice.objects.filter(may_be_tried(now)).select_related("person__quiet_hours", "site", "area")
    return notices.order_by(first, F("not_before").asc(nulls_first=True), "pk")


def claim(notice: Notice, now: datetime) -> bool:
    """Whether it is ours for a quarter of an hour. The attempt is counted before it is made."""
    notice.claimed_at = now
    counted = {"attempts": F("attempts") + 1, "unclear_attempts": F("unclear_attempts") + 1, "tried_since": _since(now)}
    return _claimable(notice, now).update(claimed_at=now, **counted) == 1


def _claimable(notice: Notice, now: datetime) -> QuerySet[Notice]:
    return Notice.objects.filter(may_be_tried(now), pk=notice.pk)


def _instead(notice: Notice, now: datetime, **becomes) -> None:
    """What becomes of one that nobody has, instead of a try."""
    _claimable(notice, now).update(claimed_at=None, **becomes)


def _since(now: datetime) -> Coalesce:
    return Coalesce("tried_since", Value(now, output_field=DateTimeField()))


def _send(notice: Notice, connection, now: datetime) -> DeliveryResult | None:
    """None where it was not tried."""
    if why := still_relevant.needless(notice, now):
        _instead(notice, now, state=State.NEEDLESS, answered=why)
        return None
    if until := still_relevant.quiet_until(notice, now):
        _instead(notice, now, not_before=until)
        return None
    if notice.unclear_attempts >= MOST_UNCLEAR:
        why = f"Given up after {MOST_UNCLEAR} tries of which nobody knows the end. It may have arrived."
        _instead(notice, now, **_given_up(why, now))
        return None
    if not claim(notice, now):
        return None
    try:
        letter(notice, connection).send()
        result = DeliveryResult("Taken.", sent=True)
    except Exception as error:  # whatever one notice runs into must not keep the others
        result = result_of(error)
    _note(notice, result, now)
    return result


def _note(notice: Notice, result: DeliveryResult, now: datetime) -> None:
    """What the server took is sent, whoever has claimed it by now; of all else only who has it may tell."""
    mine = Notice.objects.filter(pk=notice.pk)
    if result.sent:
        mine.update(state=State.SENT, sent_at=now, answered=result.answer, answered_at=now, claimed_at=None)
        return
    tries = notice.attempts + 1
    logger.log(logging.WARNING if result.final or result.stop else logging.INFO, "%s: %s", notice.pk, result.answer)
    if result.final:
        outcome = _given_up(result.answer, now)
    elif now - (notice.tried_since or now) >= KEEP_TRYING:
        outcome = _given_up(f"Given up after {tries} tries. The last: {result.answer}", now)
    else:
        outcome = {"not_before": now + pause(tries), "answered": result.answer, "answered_at": now}
    if not result.unclear:
        outcome["unclear_attempts"] = 0
    mine.filter(state=State.WAITING, claimed_at=notice.claimed_at).update(claimed_at=None, **outcome)


def _given_up(answer: str, now: datetime) -> dict:
    """Shown in the pages after all."""
    return {"state": State.FAILED, "in_page": True, "answered": answer, "answered_at": now}


def _put_off(error: OSError, now: datetime) -> None:
    """The server cannot be reached, or does not take our password: nothing was handed over, and all that is ready waits."""
    answer = answer_of(error)[1]
    logger.warning("The mail server cannot be reached: %s", answer)
    waiting = Notice.objects.filter(may_be_tried(now))
    waiting.filter(tried_since__lte=now - KEEP_TRYING).update(**_given_up(f"Given up. The last: {answer}", now))
    told = {"answered": answer, "answered_at": now, "not_before": now + AWAY}
    waiting.update(attempts=F("attempts") + 1, tried_since=_since(now), **told)


def letter(notice: Notice, connection=None) -> EmailMultiAlternatives:
    headers = {
        "Message-ID": message_id(notice),
        "List-Unsubscribe": f"<{absolute(reverse('notice_choices'))}>",
        "Auto-Submitted": "auto-generated",  # RFC 3834: no vacation notes, please
    }
    mail = EmailMultiAlternatives(
        in_one_line(notice.subject), notice.text, to=[notice.person.email], headers=headers, connection=connection
    )
    mail.encoding = PRINTABLE
    mail.attach_alternative(notice.html, "text/html")
    return mail


def message_id(notice: Notice) -> str:
    """The same at every try."""
    host = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].partition("@")[2] or "noughtbook.invalid"
    host = punycode(host)  # RFC 5322, 3.6.4: ASCII alone
    return f"<notice-{notice.pk}-{notice.made_at:%Y%m%d%H%M%S%f}@{host}>"
