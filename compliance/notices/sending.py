"""Sending what is in the outbox. Two senders never have the same notice: each claims its own by a conditional UPDATE.

A notice is marked in a statement of its own when the server has answered. If the sender dies, or the answer is lost, between
the server's taking it over and the mark, it is sent again: that is the only way to a second mail, and its Message-ID is the
same, so that the receiver can tell.
"""

import functools
import logging
import operator
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from email.utils import parseaddr
from time import monotonic

from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.db.models import F, Q, QuerySet
from django.urls import reverse
from django.utils import timezone

from sites.models import Role

from .models import Notice, State
from .verdicts import TRIES, verdict, wait
from .wording import absolute

BATCH = 50
STEPS = 6  # answers that one message waits for at most: greeting, EHLO, sender, recipient, DATA, end of data
logger = logging.getLogger(__name__)
Clock = Callable[[], datetime]


def send_batch(clock: Clock = timezone.now, most: int = BATCH, seconds: float = float("inf")) -> int:
    """Send what waits: at most so many, and none begun after so many seconds. Gives how many were tried.

    Safe to run twice and at the same time.
    """
    give_up(clock())
    holder, until = uuid.uuid4().hex, monotonic() + seconds
    mine, tried = claim(holder, clock(), most), 0
    if not mine:
        return 0
    try:
        with _Post() as post:
            for notice in mine:
                if post.gone or monotonic() > until:
                    break
                _send(post, notice, holder, clock)
                tried += 1
    finally:
        _let_go(holder)
    return tried


def lease() -> timedelta:
    """Longer than any one message can take."""
    return timedelta(seconds=STEPS * settings.EMAIL_TIMEOUT)


def unsent(now: datetime) -> QuerySet[Notice]:
    """Nobody's for now. A lease that was granted later than now tells of a clock that was set back, and counts as over."""
    over = Q(leased_until__lte=now) | Q(leased_at__gt=now)
    return Notice.objects.filter(Q(state=State.WAITING) | (Q(state=State.LEASED) & over))


def claim(holder: str, now: datetime, most: int) -> list[Notice]:
    ready = unsent(now).filter(Q(not_before=None) | Q(not_before__lte=now), attempts__lt=TRIES)
    chosen = list(ready.order_by(F("not_before").asc(nulls_first=True), "pk").values_list("pk", flat=True)[:most])
    if not chosen:
        return []
    unsent(now).filter(pk__in=chosen).update(
        state=State.LEASED, holder=holder, leased_at=now, leased_until=now + lease()
    )
    mine = Notice.objects.filter(pk__in=chosen, state=State.LEASED, holder=holder)
    return list(mine.select_related("person", "site").order_by(F("not_before").asc(nulls_first=True), "pk"))


def give_up(now: datetime) -> None:
    """What was tried often enough without anybody marking it, as when every try killed its sender."""
    unsent(now).filter(attempts__gte=TRIES).update(
        state=State.FAILED,
        in_page=True,
        answered=f"Given up after {TRIES} tries, of which the last ended without an answer.",
    )


class _Post:
    """One connection for a batch, opened when it is first needed; `gone` when it is of no use any more."""

    def __init__(self):
        self.gone = False
        self._connection = get_connection()

    def __enter__(self):
        return self

    def __exit__(self, *what):
        self._connection.close()

    def send(self, notice: Notice) -> str:
        """Gives what the server said. Raises what Django's mail does."""
        self._connection.open()
        letter(notice, self._connection).send()
        return getattr(self._connection, "answer", "") or "Taken."


def _send(post: _Post, notice: Notice, holder: str, clock: Clock) -> None:
    if not _hold(notice, holder, clock()):
        return
    if gone := _no_longer_for(notice):
        _mark(notice, holder, state=State.NEEDLESS, answered=gone)
        return
    try:
        said = post.send(notice)
    except SoftTimeLimitExceeded:
        raise
    except Exception as error:  # whatever one notice runs into must not keep the others
        _refused(post, notice, holder, error, clock())
        return
    _mark(notice, holder, state=State.SENT, sent_at=clock(), answered=said)


def _no_longer_for(notice: Notice) -> str:
    """Why this person is not to get it any more; empty if they are. Whoever changed places while it waited is told nothing."""
    if not notice.person.is_active:
        return "This person no longer works here."
    there = [Q(site=notice.site), Q(area=notice.site.area_id)] if notice.site else []
    there += [Q(area=notice.area), Q(site__area=notice.area)] if notice.area_id else []
    held = notice.person.memberships.filter(role__gte=Role.MANAGER)
    if not there or held.filter(functools.reduce(operator.or_, there)).exists():
        return ""
    return "This person has no role there any more that is told of it."


def _refused(post: _Post, notice: Notice, holder: str, error: Exception, now: datetime) -> None:
    found = verdict(error)
    post.gone = found.gone
    logger.log(logging.WARNING if found.final else logging.INFO, "Notice %s: %s", notice.pk, found.said)
    tries = notice.attempts + 1
    if found.final or tries >= TRIES:
        said = found.said if found.final else f"Given up after {tries} tries. The last: {found.said}"
        _mark(notice, holder, state=State.FAILED, in_page=True, answered=said)  # so that they see it after all
    else:
        _mark(notice, holder, state=State.WAITING, answered=found.said, not_before=now + wait(tries))


def _hold(notice: Notice, holder: str, now: datetime) -> bool:
    """Count the try before it is made, and have the lease last from now; False if another has the notice by now."""
    mine = Notice.objects.filter(pk=notice.pk, state=State.LEASED, holder=holder)
    return mine.update(attempts=F("attempts") + 1, leased_at=now, leased_until=now + lease()) == 1


def _mark(notice: Notice, holder: str, **told) -> None:
    mine = Notice.objects.filter(pk=notice.pk, state=State.LEASED, holder=holder)
    mine.update(holder="", leased_at=None, leased_until=None, **told)


def _let_go(holder: str) -> None:
    """What was claimed and not tried waits for the next batch as it did."""
    left = Notice.objects.filter(state=State.LEASED, holder=holder)
    left.update(state=State.WAITING, holder="", leased_at=None, leased_until=None)


def letter(notice: Notice, connection=None) -> EmailMultiAlternatives:
    headers = {
        "Message-ID": message_id(notice),
        "List-Unsubscribe": f"<{absolute(reverse('notice_choices'))}>",
        "Auto-Submitted": "auto-generated",  # RFC 3834: no vacation notes, please
    }
    mail = EmailMultiAlternatives(
        notice.subject, notice.text, to=[notice.person.email], headers=headers, connection=connection
    )
    mail.attach_alternative(notice.html, "text/html")
    return mail


def message_id(notice: Notice) -> str:
    """The same at every try."""
    host = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].partition("@")[2] or "noughtbook.invalid"
    return f"<notice-{notice.pk}-{notice.made_at:%Y%m%d%H%M%S%f}@{host}>"
