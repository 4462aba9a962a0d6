"""Which span holds a moment: spans are half open, (starts_at, ends_at]. For queries and for SQL, and nowhere else."""

from django.db.models import F, OuterRef, Q, QuerySet

from .models import Span


def holds(at) -> Q:
    """Of spans: those that hold this moment."""
    return Q(starts_at__lt=at, ends_at__gte=at)


def inside(spans: str, at: str = "taken_at") -> Q:
    """Of what has the time `at`: whatever lies inside the joined spans."""
    return Q(**{f"{at}__gt": F(f"{spans}__starts_at"), f"{at}__lte": F(f"{spans}__ends_at")})


def holds_sql(span: str, at: str) -> str:
    return f"{at} > {span}.starts_at AND {at} <= {span}.ends_at"


def reached_at(at: str = "taken_at") -> QuerySet[Span]:
    """For a queryset that has `probe_id` and the time `at`: the span that holds it comes first, by one index look-up a row.

    The spans of a probe leave no gap between them, so the first that ends at or after a moment holds it.
    """
    return Span.objects.filter(probe=OuterRef("probe_id"), ends_at__gte=OuterRef(at)).order_by("ends_at")
