"""What a form was shown: it brings back the number of the newest record that its page knew of. A form that is sent twice, or from
a page that somebody else has overtaken, then changes nothing, and says what is so.
"""

from collections.abc import Callable

from django.core.exceptions import ValidationError
from django.db.models import Model, QuerySet

ANEW = "Nothing was changed. Look at it, and send this again only if you want it all the same."


class Newer(ValidationError):
    """There is something newer than the form was shown; `after` is its number."""

    def __init__(self, newest: Model, told: str):
        self.after = newest.pk
        super().__init__(f"{told} {ANEW}", code="newer")


def newest(records: QuerySet) -> int:
    """The number that a form about these records brings back; 0 for none."""
    return records.order_by("-pk").values_list("pk", flat=True).first() or 0


def refuse_newer(after: int | None, records: QuerySet, told: Callable[[Model], str]) -> None:
    """Raises Newer where one of these was made since a form was shown `after` as the newest; None asks nothing. `told`: which.

    Of two at once the second is told only if what both write to is locked.
    """
    latest = None if after is None else records.filter(pk__gt=after).order_by("-pk").first()
    if latest:
        raise Newer(latest, told(latest))


def entered(fact: Model, words: object) -> str:
    return f"{fact.recorded_by or 'Somebody'} has entered this meanwhile: {words}."
