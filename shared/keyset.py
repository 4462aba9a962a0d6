"""Pages of records by key, newest first: as quick on the last page as on the first, and no count of everything."""

from dataclasses import dataclass
from datetime import datetime

from django.core import signing
from django.db.models import Q, QuerySet
from django.http import HttpRequest

SALT = "noughtbook.page"


@dataclass(frozen=True, slots=True)
class Page:
    """What components/pager.html shows, and the rows."""

    rows: list
    older: str | None
    newer: str | None
    newer_label: str = "Newer"
    older_label: str = "Older"


def page_by_key(queryset: QuerySet, request: HttpRequest, time_field: str, size: int = 50) -> Page:
    """The page that the request's `after` or `before` names. A mangled name gives the first page."""
    after, before = _position(request.GET.get("after")), _position(request.GET.get("before"))
    if before:
        rows = list(queryset.filter(_newer_than(before, time_field)).order_by(time_field, "pk")[: size + 1])
        more_newer, rows = len(rows) > size, rows[:size][::-1]
        newer = _link(request, "before", rows if more_newer else [], 0, time_field)
        return Page(rows, _link(request, "after", rows, -1, time_field), newer)
    if after:
        queryset = queryset.filter(_older_than(after, time_field))
    rows = list(queryset.order_by(f"-{time_field}", "-pk")[: size + 1])
    more_older, rows = len(rows) > size, rows[:size]
    older = _link(request, "after", rows if more_older else [], -1, time_field)
    return Page(rows, older, _link(request, "before", rows if after else [], 0, time_field))


def _older_than(position, field):
    at, pk = position
    return Q(**{f"{field}__lte": at}) & (Q(**{f"{field}__lt": at}) | Q(pk__lt=pk))


def _newer_than(position, field):
    at, pk = position
    return Q(**{f"{field}__gte": at}) & (Q(**{f"{field}__gt": at}) | Q(pk__gt=pk))


def _position(text: str | None) -> tuple[datetime, int] | None:
    if not text:
        return None
    try:
        at, pk = signing.loads(text, salt=SALT)
        return datetime.fromisoformat(at), int(pk)
    except (signing.BadSignature, ValueError, TypeError):
        return None


def _link(request, direction, rows, index, field) -> str | None:
    if not rows:
        return None
    query = request.GET.copy()
    for name in ("after", "before"):
        query.pop(name, None)
    row = rows[index]
    query[direction] = signing.dumps([getattr(row, field).isoformat(), row.pk], salt=SALT)
    return f"?{query.urlencode()}"
