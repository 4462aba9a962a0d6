"""The door to notices: one's own; the mail about what one supervises; the feeds of one's sites."""

from django.shortcuts import get_object_or_404

from sites.access import reach
from sites.models import Person, Role

from .models import FeedKey, Notice, State
from .queries import inbox, mail_of


def get_own(person: Person, pk: int) -> Notice:
    """One notice to this very person. Raises Http404 for anybody else's."""
    return get_object_or_404(inbox(person), pk=pk)


def get_failed(supervisor: Person, pk: int) -> Notice:
    """One that could not be sent, about what this person supervises. Raises Http404 for others."""
    return get_object_or_404(mail_of(supervisor), pk=pk, state=State.FAILED)


def get_feed_key(person: Person, pk: int) -> FeedKey:
    """Raises Http404 for strangers, PermissionDenied for less than a site manager."""
    return reach(person, FeedKey.objects.select_related("site").filter(pk=pk), lambda key: key.site, Role.MANAGER)
