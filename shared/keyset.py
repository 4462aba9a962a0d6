"""Pages of records by key, newest first: as quick on the last page as on the first, and no count of everything."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from django.core import signing
from django.db.models import F, Q, QuerySet
from django.db.models.functions import Coalesce
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


# From a list, whether the newest are wanted (else the oldest), and how many: fewer rows, with these among them.
Narrowing = Callable[[QuerySet, bool, int], QuerySet]


def page_by_key(
    queryset: QuerySet,
    request: HttpRequest,
    time_field: str,
    size: int = 50,
    shown: QuerySet | None = None,
    narrowing: Narrowing = lambda queryset, newest, most: queryset,
) -> Page:
    """The page that the request's `after` or `before` names. A mangled name gives the first page.

    `shown`: give it where the list has few of all rows, which then are found first and put in order; from it come those of
    the page. Else a database goes through all rows in the order of time until it has met a page of the list.
    `narrowing` may leave out what is not on the page before the rest is put in order.
    """
    first = partial(_first, time_field=time_field, most=size + 1, shown=shown, narrowing=narrowing)
    after, before = _position(request.GET.get("after")), _position(request.GET.get("before"))
    if before:
        rows = first(queryset.filter(_newer_than(before, time_field)), newest=False)
        more_newer, rows = len(rows) > size, rows[:size][::-1]
        newer = _link(request, "before", rows if more_newer else [], 0, time_field)
        return Page(rows, _link(request, "after", rows, -1, time_field), newer)
    if after:
        queryset = queryset.filter(_older_than(after, time_field))
    rows = first(queryset, newest=True)
    more_older, rows = len(rows) > size, rows[:size]
    older = _link(request, "after", rows if more_older else [], -1, time_field)
    return Page(rows, older, _link(request, "before", rows if after else [], 0, time_field))


def _first(
    queryset: QuerySet, *, newest: bool, time_field: str, most: int, shown: QuerySet | None, narrowing: Narrowing
) -> list:
    queryset = narrowing(queryset, newest, most)
    # No index has the order of the second.
    by_time = F(time_field) if shown is None else Coalesce(F(time_field), F(time_field))
    ordered = queryset.order_by(by_time.desc(), "-pk") if newest else queryset.order_by(by_time.asc(), "pk")
    if shown is None:
        return list(ordered[:most])
    keys = list(ordered.values_list("pk", flat=True)[:most])
    rows = shown.in_bulk(keys)
    return [rows[key] for key in keys]


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
