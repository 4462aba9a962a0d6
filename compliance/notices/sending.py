"""Sending what is in the outbox. Two senders never have the same notice: each claims it by a conditional UPDATE that grants a
lease by the database's clock, and asks for it again right before the server is to take the message over. Whoever has lost
the lease by then sends nothing.

A notice is marked in a statement of its own when the server has answered: as sent by whoever had the answer, whoever has the
lease by then. If the sender dies, or the answer is lost, between the server's taking it over and the mark, it is sent again, a
few times only; also where the database's clock is set forward just then, which ends the lease. The Message-ID is the same, so
that the receiver can tell.
"""

import logging
import uuid
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from email.charset import QP, Charset
from email.utils import parseaddr
from time import monotonic

from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.db import DatabaseError
from django.db.models import Case, DateTimeField, DurationField, ExpressionWrapper, F, Q, QuerySet, Value, When
from django.db.models.functions import Coalesce, Least, Now
from django.urls import reverse
from django.utils import timezone
from django.utils.encoding import punycode

from . import needs
from .models import Notice, State
from .telling import Kind
from .verdicts import KEEP_TRYING, UNCLEAR, plain, verdict, wait
from .wording import absolute, in_one_line

BATCH = 50
LONGEST = 900  # seconds for a batch, of which the last third is left for an answer
ANSWER = 600  # seconds for the answer to a whole message: RFC 5321, 4.5.3.2.6
BEGUN, HANDED_OVER = 0.4, 0.7  # of the time for a batch: until then the last message is begun, and handed over
TO_MARK = 10  # seconds that a lease outlasts what is done under it
STEPS = 9  # answers before a message is handed over, from greeting to DATA, with TLS and a password
STILL = 10  # seconds at most from one sign of life to the next of who waits for an answer
SLOW = timedelta(seconds=10)  # for one message: meanwhile nobody else begins, or all workers would wait for one server
AHEAD = timedelta(minutes=1)  # a lease granted later than that from now tells of a clock that was set back
PRINTABLE = Charset("utf-8")  # for servers that take no eight bits: RFC 6152
PRINTABLE.body_encoding = QP
logger = logging.getLogger(__name__)
Clock = Callable[[], datetime]


class LeaseLost(Exception):
    """Another has the notice by now."""


class Turn:
    """The time for a batch, shared out so that each message has some for all that comes before it is handed over, and some
    for the answer."""

    def __init__(self, seconds: float):
        self._seconds, self._began = seconds, monotonic()

    def left(self, share: float = 1) -> float:
        return self._began + share * self._seconds - monotonic()

    @property
    def over(self) -> bool:
        return self.left(BEGUN) <= 0

    def to_hand_over(self) -> float:
        return max(0.1, min(STEPS * settings.EMAIL_TIMEOUT, self.left(HANDED_OVER)))

    def for_answer(self) -> float:
        return max(0.1, min(ANSWER, self.left()))


def send_batch(clock: Clock = timezone.now, most: int = BATCH, seconds: float = LONGEST) -> int:
    """Send what waits: at most so many, in no more than so many seconds. Gives how many were tried.

    Safe to run twice and at the same time.
    """
    count_anew()
    give_up(clock())
    turn, holder, tried = Turn(seconds), uuid.uuid4().hex, 0
    if turn.over or somebody_waits():
        return 0
    with _Post(turn) as post:
        for notice in ready(clock())[:most]:
            if post.gone or turn.over:
                break
            tried += _send(post, notice, holder, clock)
    return tried


def unsent() -> QuerySet[Notice]:
    """Nobody's for now."""
    return Notice.objects.filter(Q(state=State.WAITING) | Q(state=State.LEASED, leased_until__lte=Now()))


def count_anew() -> None:
    """A lease granted well ahead of now tells of a clock that was set back: it is as long as it was, from now on.

    Its sender may be alive and waiting for an answer, so it is not over. One granted a moment ahead tells of nothing: its
    sender asked the time after us and had the row before us.
    """
    length = ExpressionWrapper(F("leased_until") - F("leased_at"), output_field=DurationField())
    until = ExpressionWrapper(Now() + length, output_field=DateTimeField())
    ahead = Notice.objects.filter(state=State.LEASED, leased_at__gt=Now() + AHEAD)
    ahead.update(leased_at=Now(), leased_until=until)


def somebody_waits() -> bool:
    """Whether another has been waiting for the mail server for long and is alive, as far as its lease tells."""
    return Notice.objects.filter(state=State.LEASED, leased_at__lt=Now() - SLOW, leased_until__gt=Now()).exists()


def ready(now: datetime) -> QuerySet[Notice]:
    """What may be tried now: failed checks, then the longest due first. An answer from a time well ahead of now tells of a
    clock that was set back: what was put off after it waits no longer."""
    come = Q(not_before=None) | Q(not_before__lte=now) | Q(answered_at__gt=now + AHEAD)
    found = unsent().filter(come, cut_short__lt=UNCLEAR)
    first = Case(When(kind=Kind.FAILED, then=0), default=1)  # food is being judged by that probe
    return found.select_related("person", "site", "area").order_by(first, F("not_before").asc(nulls_first=True), "pk")


def claim(notice: Notice, holder: str, now: datetime, seconds: float) -> bool:
    """Whether it is `holder`'s now, for so many seconds. The try is counted before it is made."""
    free = ready(now).filter(pk=notice.pk).select_related(None).order_by()
    since = Coalesce("tried_since", Value(now, output_field=DateTimeField()))
    tries = {"attempts": F("attempts") + 1, "cut_short": F("cut_short") + 1, "tried_since": since}
    return free.update(state=State.LEASED, holder=holder, **_granted(seconds), **tries) == 1


def hold(notice: Notice, holder: str, seconds: float) -> None:
    """Have it for so many seconds from now. Raises LeaseLost if it is another's, or was marked by one.

    It was granted at the latest now, also where a clock was set back since.
    """
    mine = Notice.objects.filter(pk=notice.pk, state=State.LEASED, holder=holder)
    if mine.update(leased_at=Least("leased_at", Now()), leased_until=_granted(seconds)["leased_until"]) != 1:
        raise LeaseLost


def _granted(seconds: float) -> dict:
    until = Now() + timedelta(seconds=seconds + TO_MARK)
    return {"leased_at": Now(), "leased_until": ExpressionWrapper(until, output_field=DateTimeField())}


def give_up(now: datetime) -> None:
    """What was tried often enough without anybody marking it, as when every try killed its sender."""
    unsent().filter(cut_short__gte=UNCLEAR).update(
        state=State.FAILED,
        in_page=True,
        answered=f"Given up after {UNCLEAR} tries of which nobody knows the end. It may have arrived.",
        answered_at=now,
    )


class _Post:
    """One connection for a batch, opened when it is first needed; `gone` when it is of no use any more."""

    def __init__(self, turn: Turn):
        self.gone, self.turn = False, turn
        self._connection = get_connection()

    def __enter__(self):
        return self

    def __exit__(self, *what):
        self.close()

    def close(self) -> None:
        try:
            self._connection.close()
        except OSError as error:  # all that was to be said has been
            logger.info("The mail server was left without a word: %s", error)

    @property
    def unsure(self) -> bool:
        """Whether the server may have taken over what was sent last."""
        return getattr(self._connection, "unsure", False)

    def send(self, notice: Notice, holder: str) -> str:
        """Gives what the server said. Raises what Django's mail does, and LeaseLost before anything is handed over."""

        every = min(STILL, settings.EMAIL_TIMEOUT / 2)

        def hand_over() -> float:
            hold(notice, holder, 3 * every)
            return self.turn.for_answer()

        def still() -> None:
            with suppress(LeaseLost, DatabaseError):  # it is the server's by now, and its answer is wanted all the same
                hold(notice, holder, 3 * every)

        mail = letter(notice, self._connection)
        if deliver := getattr(self._connection, "deliver", None):
            within = self.turn.to_hand_over()
            return deliver(mail, within=within, hand_over=hand_over, still=still, every=every) or "Taken."
        hand_over()
        mail.send()
        return "Taken."


def _send(post: _Post, notice: Notice, holder: str, clock: Clock) -> bool:
    """Whether it was tried, or need not be."""
    now = clock()
    if why := needs.needless(notice, now):
        return _put(notice, now, state=State.NEEDLESS, answered=why)
    if until := needs.quiet_until(notice, now):
        return _put(notice, now, state=State.WAITING, not_before=until)
    if not claim(notice, holder, now, post.turn.to_hand_over()):
        return False
    try:
        said = post.send(notice, holder)
    except LeaseLost:
        post.close()  # with what was begun
        return False
    except SoftTimeLimitExceeded as error:
        _refused(post, notice, holder, error, clock())
        raise
    except Exception as error:  # whatever one notice runs into must not keep the others
        _refused(post, notice, holder, error, clock())
        return True
    _sent(notice, said, clock())
    return True


def _put(notice: Notice, now: datetime, **told) -> bool:
    """Say of one that nobody has what becomes of it instead of a try."""
    mine = ready(now).filter(pk=notice.pk).select_related(None).order_by()
    return mine.update(holder="", leased_at=None, leased_until=None, **told) == 1


def _refused(post: _Post, notice: Notice, holder: str, error: Exception, now: datetime) -> None:
    found, unsure = verdict(error), post.unsure
    post.gone = found.gone
    logger.log(logging.WARNING if found.final or found.gone else logging.INFO, "Notice %s: %s", notice.pk, found.said)
    tries, cut_short = notice.attempts + 1, notice.cut_short + 1 if unsure else 0
    told = {"answered": found.said, "answered_at": now, "cut_short": cut_short}
    if found.final:
        failed = found.said
    elif cut_short >= UNCLEAR or now - (notice.tried_since or now) >= KEEP_TRYING:
        failed = f"Given up after {tries} tries. The last: {found.said}"
    else:
        again = now + wait(tries, gone=found.gone and not unsure)
        _mark(notice, holder, state=State.WAITING, not_before=needs.quiet_until(notice, again) or again, **told)
        return
    told["answered"] = failed
    _mark(notice, holder, state=State.FAILED, in_page=True, **told)  # so that they see it after all


def _mark(notice: Notice, holder: str, **told) -> None:
    mine = Notice.objects.filter(pk=notice.pk, state=State.LEASED, holder=holder)
    mine.update(holder="", leased_at=None, leased_until=None, **told)


def _sent(notice: Notice, said: str, now: datetime) -> None:
    """Whoever has it by now: the server took it over, and nobody is to send it again."""
    Notice.objects.filter(pk=notice.pk).update(
        state=State.SENT, holder="", leased_at=None, leased_until=None, cut_short=0, sent_at=now, answered=plain(said),
        answered_at=now,
    )  # fmt: skip


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
