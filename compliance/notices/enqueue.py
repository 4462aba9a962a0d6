"""Writes notices into the outbox, together with what they notify of: the same however often it is done."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from django.conf import settings
from django.db import DatabaseError, IntegrityError, transaction
from django.db.models import Q

from sites.models import Membership, Role

from . import still_relevant, wording
from .digests import digests
from .grouping import grouped, key_of
from .late_sources import overdue, still_untaken, unanswered, untaken
from .message_sources import Gathered, Message, failures, gone, looked_until, mornings, passwords
from .models import Choice, Notice, Notified, State, Watermark
from .queries import quiet_hours
from .recipients import AT_ONCE, MAIL, Kind, Recipient, recipients
from .signals import outbox_filled
from .timing import USUAL_QUIET, not_before

SOURCES = (failures, gone, overdue, unanswered, untaken, still_untaken, mornings, passwords, digests)
# These take until when each kind was looked for, which is asked once for all.
SINCE_LAST = {failures, gone, overdue, untaken, mornings}
SHARED = ("kind", "about", "site", "area", "link", "probes", "reminders", "facts")  # by a message and its notices
LATELY = timedelta(days=2)  # after which what was done is not asked for again by an old mail


def enqueue_due_notices(now: datetime) -> int:
    """Write what is to be told now to whom; gives how many notices there were to write. Safe to run twice and at the same time.

    What goes wrong in one source is raised when what the others have to tell is written, for that must not wait for it.
    """
    errors: list[Exception] = []
    written, nothing_new, looked = 0, [], {"looked": looked_until()}
    for source in SOURCES:
        try:
            for some in in_turn(source(now, **(looked if source in SINCE_LAST else {}))):
                if some:
                    written += enqueue(some, now)
                elif some.watermark:
                    nothing_new.append(some.watermark)
        except DatabaseError:  # nothing else can be written either
            raise
        except Exception as error:
            errors.append(error)
    _looked(nothing_new)
    ask_again(now)
    if errors:
        raise errors[0]
    return written


def in_turn(gathered: Gathered | Iterable[Gathered]) -> Iterable[Gathered]:
    """All at once, or what is gathered when what came before it is written."""
    return [gathered] if isinstance(gathered, Gathered) else gathered


def enqueue(gathered: Gathered, now: datetime) -> int:
    """Write the notices of what was gathered; gives how many. All is worked out before the transaction, which holds nobody up.

    Where another run has told some of it meanwhile, nothing is written, and the next run looks anew: two could tell of different
    probes in notices that are about the same.
    """
    audience = Audience(gathered.messages)
    notices = list(audience.notices(gathered.messages, now))
    # What is to be told at once, and nobody was there to hear of, is told when somebody is: it is looked for until then.
    notified = [each for each in gathered.notified if each.kind not in AT_ONCE or each.number in audience.heard_of]
    if len(notified) < len(gathered.notified):
        gathered.watermark = None
    try:
        with transaction.atomic():
            Notified.objects.bulk_create(notified, batch_size=1000)
            Notice.objects.bulk_create(notices, ignore_conflicts=True, batch_size=500)
            _look_no_more(gathered)
            if any(notice.state == State.WAITING and notice.not_before is None for notice in notices):
                transaction.on_commit(lambda: outbox_filled.send_robust(Notice), robust=True)
    except IntegrityError:
        return 0
    return len(notices)


def _look_no_more(gathered: Gathered) -> None:
    if gathered.watermark:
        _looked([gathered.watermark])
    Notified.objects.bulk_update(gathered.told_before, ["again_at"])
    if gathered.passed_on:
        Notified.objects.filter(pk__in=gathered.passed_on).update(again_at=None)


def _looked(until: list[Watermark]) -> None:
    Watermark.objects.bulk_create(until, update_conflicts=True, unique_fields=["kind"], update_fields=["at"])


def ask_again(now: datetime) -> None:
    """For what need not have been done, and is to be done again: the check that did it, or the excuse, was struck out."""
    lately = Notice.objects.filter(state=State.NEEDLESS, answered=still_relevant.DONE, made_at__gt=now - LATELY)
    notices = list(lately.select_related("site"))
    done = {notice.pk for notice in still_relevant.done(notices, now)}
    if again := [notice.pk for notice in notices if notice.pk not in done]:
        Notice.objects.filter(pk__in=again, state=State.NEEDLESS).update(state=State.WAITING, answered="")


class Audience:
    """Who is at the places of some messages, in what role and with what wishes: two queries for any number."""

    def __init__(self, messages: Iterable[Message]):
        areas = {message.area_id for message in messages if message.area_id}
        places = Q(site__in={message.site.pk for message in messages if message.site}) | Q(area__in=areas)
        self.heard_of: set[int] = set()
        self._at, self._quiet = defaultdict(lambda: defaultdict(set)), {}
        held = Membership.objects.filter(places, role__gte=Role.MANAGER, person__is_active=True)
        for each in held.select_related("person__quiet_hours"):
            place = ("site", each.site_id) if each.site_id else ("area", each.area_id)
            self._at[place][each.person_id].add(each.role)
            self._quiet[each.person_id] = quiet_hours(each.person)
        choices = Choice.objects.filter(person__in={person for roles in self._at.values() for person in roles})
        self._choices = {(choice.person_id, Kind(choice.kind)): choice.as_wish() for choice in choices}

    def notices(self, messages: Iterable[Message], now: datetime) -> Iterator[Notice]:
        """Each message for each it is for; what is grouped for one person is one."""
        told: dict[tuple[Recipient, tuple], list[Message]] = defaultdict(list)
        for message in messages:
            for recipient in self._recipients(message):
                self.heard_of.update(message.facts)
                told[recipient, self._key(message, recipient.person)].append(message)
        texts: dict[tuple, tuple[str, str]] = {}
        for (recipient, _), theirs in told.items():
            message = grouped(theirs)
            which = message.kind, message.about  # another kind may be about the same
            texts[which] = texts.get(which) or wording.parts(message)
            zones = [zone for each in theirs for zone in each.zones]
            waits = not_before(message.kind, now, zones, self._quiet.get(recipient.person, USUAL_QUIET))
            yield _notice(message, recipient, texts[which], waits, now)

    def _recipients(self, message: Message) -> list[Recipient]:
        """By all that each holds at the site, of its own or by its area."""
        if message.person:
            return [Recipient(message.person.pk, MAIL)]
        roles = defaultdict(set)
        for place in (("area", message.area_id), ("site", message.site and message.site.pk)):
            for person, held in self._at[place].items():
                roles[person] |= held
        return recipients(message.kind, roles, self._choices)

    def _key(self, message: Message, person: int) -> tuple:
        """What is grouped is about an area, which is shown to those alone who have a role there."""
        return key_of(message, of_area=person in self._at["area", message.area_id])


def _notice(
    message: Message, recipient: Recipient, parts: tuple[str, str], waits: datetime | None, now: datetime
) -> Notice:
    mail = recipient.wish.mail and settings.MAIL_WORKS
    return Notice(
        person_id=recipient.person,
        subject=wording.in_one_line(message.subject),
        text=parts[0],
        html=parts[1],
        made_at=now,
        in_page=recipient.wish.page or not mail,
        state=State.WAITING if mail else State.PAGE,
        not_before=waits if mail else None,
        **{name: getattr(message, name) for name in SHARED},
    )
