"""Pages by number, for short lists (sites, people, cases). Records go by key: shared.keyset."""

from dataclasses import dataclass

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest


@dataclass(frozen=True, slots=True)
class NumberedPage:
    """What components/pager.html shows, and the rows."""

    rows: list
    newer: str | None
    older: str | None
    text: str
    newer_label: str = "Previous"
    older_label: str = "Next"


def numbered_page(queryset: QuerySet | list, request: HttpRequest, size: int = 50) -> NumberedPage:
    """The page that the request's `page` names; the nearest one where it names none."""
    page = Paginator(queryset, size).get_page(request.GET.get("page"))
    return NumberedPage(
        rows=list(page.object_list),
        newer=_link(request, page.previous_page_number()) if page.has_previous() else None,
        older=_link(request, page.next_page_number()) if page.has_next() else None,
        text=f"Page {page.number} of {page.paginator.num_pages}",
    )


def _link(request: HttpRequest, number: int) -> str:
    query = request.GET.copy()
    query["page"] = number
    return f"?{query.urlencode()}"
