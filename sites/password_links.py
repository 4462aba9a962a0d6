"""One-time links by which people choose their own passwords. The secret in one is worked out from the secret key and what the
person's password is now; it is kept nowhere."""

from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone

from .models import PasswordLink, Person
from .ranks import is_below

HOLDS = timedelta(seconds=settings.PASSWORD_RESET_TIMEOUT)
TOLD_AGAIN = timedelta(days=30)
GONE = "This link does not work any more. Ask for a new one."


class LinkTokens(PasswordResetTokenGenerator):
    """Django's, for a link in place of a user: ended by another password or e-mail and by stopping the person, but not by
    signing in, or somebody who knows the old password could keep its owner from choosing another."""

    key_salt = "noughtbook.password_link"

    def _make_hash_value(self, link, timestamp):
        person = link.person
        return f"{link.pk}:{person.get_session_auth_hash()}:{person.email}:{timestamp}"


tokens = LinkTokens()


def link_path(link: PasswordLink) -> str:
    return reverse("new_password", args=[link.pk, tokens.make_token(link)])


def ends_at(link: PasswordLink) -> datetime:
    return link.made_at + HOLDS


def newest_link(person: Person) -> PasswordLink | None:
    return PasswordLink.objects.filter(person=person).select_related("made_by").order_by("-pk").first()


def holding_link(person: Person) -> PasswordLink | None:
    """The link that another one would end, as far as can be told without its secret."""
    link = newest_link(person)
    return link if link and link.used_at is None and ends_at(link) > timezone.now() else None


def live_link(pk: int, token: str) -> PasswordLink | None:
    """The link of this number and secret, if it holds: the newest of its person, not used, not ended, not too old."""
    unused = PasswordLink.objects.filter(pk=pk, used_at=None, person__is_active=True)
    link = unused.select_related("person", "made_by").first()
    if link is None or not tokens.check_token(link, token):
        return None
    return None if PasswordLink.objects.filter(person=link.person_id, pk__gt=pk).exists() else link


def may_make_link(by: Person, person: Person) -> bool:
    """Whether `by` may have a person choose a password: those who rank below, and a newcomer that `by` has invited."""
    return is_below(person, by) or invited(by, person)


def invited(by: Person, person: Person) -> bool:
    """Whether it was `by` who invited somebody who has not chosen a password yet."""
    link = None if person.has_usable_password() else newest_link(person)
    return bool(link and link.made_by_id == by.pk)


def used_links(person: Person) -> QuerySet[PasswordLink]:
    """The links that passwords were chosen by, the last first."""
    return person.password_links.filter(used_at__isnull=False).select_related("made_by").order_by("-used_at", "-pk")


def to_be_told(person: Person) -> list[PasswordLink]:
    """Those that a person has not said to know of, with all of the last days: whoever used one wrongly may have said so."""
    used = used_links(person)
    if not used.filter(seen_at=None).exists():
        return []
    return list(used.filter(seen_at=None) | used.filter(used_at__gt=timezone.now() - TOLD_AGAIN))


def mark_seen(person: Person, links: list[int]) -> None:
    """That somebody knows of the links that they were told of. It is nobody else's business, so the trail does not tell of it."""
    used_links(person).filter(seen_at=None, pk__in=links).update(seen_at=timezone.now())
