"""Who ranks below whom, from reader, cook and site manager over the supervisor of a site and of an area to the head of all
areas of a business. A person's name, way in (password, e-mail) and rank are changed from above, never by a peer."""

from django.db.models import Count, QuerySet

from .access import areas_of, businesses_of
from .models import Area, Business, Person, Role


def works_within(person: Person, areas: QuerySet[Area] | list[Area]) -> bool:
    """Whether a person works somewhere, and nowhere but in these areas."""
    held = {area or of_site for area, of_site in person.memberships.values_list("area", "site__area")}
    return bool(held) and held <= {area.pk for area in areas}


def is_below(person: Person, supervisor: Person) -> bool:
    """Whether `supervisor` supervises all areas in which `person` works, and holds a higher rank there.

    Above somebody who supervises an area is only the head of its business, and above a head nobody, so that nobody is below
    themselves either. To supervise more areas than a colleague is not enough: one may have added them.
    """
    if not works_within(person, areas_of(supervisor)):
        return False
    supervised = set(areas_of(person).values_list("business", flat=True))
    return not supervised or supervised <= _heads(supervisor) - _heads(person)


def may_rename(by: Person, person: Person) -> bool:
    return is_below(person, by) or may_rename_themselves(by, person)


def may_rename_themselves(by: Person, person: Person) -> bool:
    """Nobody changes their own name, or they could hide behind another, unless nobody can rank above them."""
    return by.pk == person.pk and bool(_heads(person))


def heads_of(business: Business) -> QuerySet[Person]:
    """Who supervises every area of a business."""
    there = Person.objects.filter(memberships__role=Role.SUPERVISOR, memberships__area__business=business)
    counted = there.annotate(supervised=Count("memberships__area", distinct=True))
    return counted.filter(supervised=business.areas.count())


def _heads(person: Person) -> set[int]:
    return set(businesses_of(person).values_list("pk", flat=True))
