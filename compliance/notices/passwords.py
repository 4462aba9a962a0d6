"""Mail to people whose password was set by a link. The pages tell them by themselves, at the next sign-in."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import QuerySet
from django.urls import reverse

from shared.templatetags.noughtbook import when
from sites.access import clock_of
from sites.models import PasswordLink

from . import wording
from .gathering import Item, Message, untold
from .models import Mark, Notice, State
from .telling import Kind

NEWS = timedelta(days=7)
WHOSE = "Was it not you? Then somebody else could write under your name. Tell your supervisor at once."


def untold_passwords(now: datetime) -> QuerySet[PasswordLink]:
    """Passwords set lately by a link, whose owners have not been told by mail."""
    used = PasswordLink.objects.filter(untold(Kind.PASSWORD, "pk"), used_at__gt=now - NEWS, person__is_active=True)
    return used if settings.MAIL_WORKS else used.none()


def tell_owners(now: datetime) -> int:
    """Write the mail and its marks, within the transaction of `filling.fill`; gives how many there were to write."""
    links = list(untold_passwords(now).select_related("person", "made_by"))
    Notice.objects.bulk_create([_notice(link, now) for link in links], ignore_conflicts=True)
    marks = [Mark(kind=Kind.PASSWORD, number=link.pk, at=link.used_at) for link in links]
    Mark.objects.bulk_create(marks, ignore_conflicts=True)
    return len(links)


def _notice(link: PasswordLink, now: datetime) -> Notice:
    message = _message(link)
    text, html = wording.parts(message)
    return Notice(
        kind=Kind.PASSWORD, person=link.person, about=message.about, subject=message.subject, text=text, html=html,
        link=message.link, in_page=False, state=State.WAITING, made_at=now,
    )  # fmt: skip


def _message(link: PasswordLink) -> Message:
    zone = clock_of(link.person)
    made, used = (wording.plain(when(moment, zone)) for moment in (link.made_at, link.used_at))
    lead = f"It was set on {used}, by a link that {link.maker} made on {made}."
    account = reverse("account")
    sign_ins = Item("Your account", "See when and from where you signed in last.", account)
    return Message(
        Kind.PASSWORD, str(link.pk), "Your password was set anew", lead, [sign_ins], account, after=[WHOSE]
    )  # fmt: skip
