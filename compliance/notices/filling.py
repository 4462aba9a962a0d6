"""Writing notices into the outbox: set by set, the same however often it is done, and in one transaction with the marks."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta

from django.conf import settings
from django.db import DatabaseError, connection, transaction
from django.db.models import Q

from sites.models import Membership, Role

from . import needs, telling, wording
from .digests import digests
from .gathering import Found, Message, failures, mornings, overdue, unanswered
from .joining import alone, joined, key_of
from .models import Choice, Mark, Notice, QuietHours, State
from .passwords import tell_owners
from .rounds import still_untaken, untaken
from .telling import Kind, Quiet, Told, Wish

SOURCES = (failures, overdue, unanswered, untaken, still_untaken, mornings, digests)
LATELY = timedelta(days=2)  # after which what was done is not asked for again by an old mail
LOCK = 0x6E6F7469  # any number, the same in all processes


def fill(now: datetime) -> int:
    """Write what is to be told now to whom; gives how many notices there were to write.

    Run again, or twice at the same moment, it adds nothing: a notice is once per kind, person and what it is about. What goes
    wrong in one source is raised when what the others have to tell is written, for that must not wait for it.
    """
    broken: list[Exception] = []
    with transaction.atomic():
        _take_turns()
        found = [_asked(source, now, broken) for source in SOURCES]
        withdraw(now)
        written = _write(found, now) if any(each.marks for each in found) else 0
        written += tell_owners(now)
    if broken:
        raise broken[0]
    return written


def _asked(source: Callable[[datetime], Found], now: datetime, broken: list[Exception]) -> Found:
    try:
        return source(now)
    except DatabaseError:  # nothing can be written either
        raise
    except Exception as error:
        broken.append(error)
        return Found()


def _take_turns() -> None:
    """Or one would write of two probes in one notice, the other of the first alone, and the second would be told to nobody.
    SQLite has one writer anyway."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])


def _write(found: list[Found], now: datetime) -> int:
    messages = [message for each in found for message in each.messages]
    people = _People(messages)
    notices = list(people.notices(messages, now))
    Notice.objects.bulk_create(notices, ignore_conflicts=True, batch_size=500)
    marks = [
        mark for each in found for mark in each.marks if mark.kind != Kind.FAILED or mark.number in people.heard_of
    ]
    Mark.objects.bulk_create(marks, ignore_conflicts=True, batch_size=1000)
    return len(notices)


def withdraw(now: datetime) -> None:
    """Mail that waits for quiet hours to end, or for the mail server, and asks for what need not be done any more; and back,
    where the check that did it was struck out."""
    lately = Q(state=State.NEEDLESS, answered=needs.DONE, made_at__gt=now - LATELY)
    asking = Notice.objects.filter(Q(state=State.WAITING) | lately, kind__in=needs.ASKING)
    told = list(asking.select_related("site"))
    done = {notice.pk for notice in needs.done(told, now)}
    gone = [each.pk for each in told if each.state == State.WAITING and each.pk in done]
    back = [each.pk for each in told if each.state == State.NEEDLESS and each.pk not in done]
    if gone:
        Notice.objects.filter(pk__in=gone, state=State.WAITING).update(state=State.NEEDLESS, answered=needs.DONE)
    if back:
        Notice.objects.filter(pk__in=back, state=State.NEEDLESS).update(state=State.WAITING, answered="")


class _People:
    """Who is at the places of some messages, in what role and with what wishes: three queries for any number."""

    def __init__(self, messages: Iterable[Message]):
        areas = {m.area.pk if m.area else m.site.area_id for m in messages}
        sites = {m.site.pk for m in messages if m.site}
        self._at = defaultdict(lambda: defaultdict(set))
        self.heard_of: set[int] = set()  # failed checks: one that nobody was there to hear of is told when somebody is
        held = Membership.objects.filter(
            Q(site__in=sites) | Q(area__in=areas), role__gte=Role.MANAGER, person__is_active=True
        )
        for person, role, site, area in held.values_list("person", "role", "site", "area"):
            self._at["site" if site else "area", site or area][person].add(role)
        everybody = {person for roles in self._at.values() for person in roles}
        self._choices: dict[tuple[int, Kind], Wish] = {
            (choice.person_id, Kind(choice.kind)): choice.as_wish()
            for choice in Choice.objects.filter(person__in=everybody)
        }
        self._quiet: dict[int, Quiet] = {q.pk: q.as_quiet() for q in QuietHours.objects.filter(person__in=everybody)}

    def _roles(self, message: Message) -> dict[int, set[int]]:
        """All that each holds at the site, of its own or by its area."""
        roles = defaultdict(set)
        places = [("area", message.area.pk if message.area else message.site.area_id)]
        for place in (*places, *([("site", message.site.pk)] if message.site else [])):
            for person, held in self._at[place].items():
                roles[person] |= held
        return roles

    def notices(self, messages: Iterable[Message], now: datetime) -> Iterator[Notice]:
        """Each message for each it is for; what is joined for one person is one."""
        told: dict[tuple, list[Message]] = defaultdict(list)
        for message in messages:
            for each in telling.audience(message.kind, self._roles(message), self._choices):
                self.heard_of.update(message.checks)
                told[each, self._key(message, each.person)].append(message)
        written: dict[tuple[str, str], tuple[str, str]] = {}
        for (each, _), theirs in told.items():
            message = joined(theirs)
            which = message.kind, message.about  # another kind may be about the same
            if which not in written:
                written[which] = wording.parts(message)
            yield self._notice(message, each, *written[which], now, self._waits(each, theirs, now))

    def _key(self, message: Message, person: int) -> tuple:
        """What is joined is about an area, which is shown to those alone who have a role there."""
        area = message.area.pk if message.area else message.site.area_id
        return key_of(message) if person in self._at["area", area] else alone(message)

    def _waits(self, told: Told, messages: list[Message], now: datetime) -> datetime | None:
        """Until when its mail waits: no longer than that of any of these alone."""
        quiet = self._quiet.get(told.person, telling.USUAL_QUIET)
        waits = [telling.not_before(message.kind, now, message.zone, quiet) for message in messages]
        return None if None in waits else min(waits)

    def _notice(self, message: Message, told: Told, text: str, html: str, now: datetime, waits) -> Notice:
        mail = told.wish.mail and settings.MAIL_WORKS
        return Notice(
            kind=message.kind, person_id=told.person, about=message.about, site=message.site, area=message.area,
            subject=wording.in_one_line(message.subject), text=text, html=html, link=message.link, probes=message.probes,
            reminders=message.reminders, checks=message.checks, made_at=now, in_page=told.wish.page or not mail,
            state=State.WAITING if mail else State.PAGE, not_before=waits if mail else None,
        )  # fmt: skip
