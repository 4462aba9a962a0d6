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


def refuse_newer(after: int | None, records: QuerySet | Model | None, told: Callable[[Model], str]) -> None:
    """Raises Newer where one of these was made since a form was shown `after` as the newest; None asks nothing. `told`: which.
    `records`: all of them, or the newest where it is known.

    Of two at once the second is told only if what both write to is locked.
    """
    if after is None:
        return
    latest = records.order_by("-pk").first() if isinstance(records, QuerySet) else records
    if latest and latest.pk > after:
        raise Newer(latest, told(latest))


def entered(fact: Model, words: object) -> str:
    return f"{fact.recorded_by or 'Somebody'} has entered this meanwhile: {words}."
