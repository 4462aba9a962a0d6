"""That somebody has read what they were shown. It is nobody else's business, so the trail does not tell of it."""

from django.utils import timezone

from sites.models import Person

from .queries import inbox


def mark_read(*, by: Person, pk: int | None = None, until: int | None = None) -> None:
    """One of their notices, or all up to the one that they were shown as the newest."""
    mine = inbox(by).filter(read_at=None)
    (mine.filter(pk__lte=until or 0) if pk is None else mine.filter(pk=pk)).update(read_at=timezone.now())
