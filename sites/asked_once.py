"""What several parts of one page ask of the database about the person who opens it, and get from one query.

It is kept on the person that the page's session brought (`sites.backends`), so it is gone with the page; whoever changes
anything, and any other person in the program, has nothing kept (`sites.middleware.roles_of_then_change_nothing`).
"""

from collections.abc import Callable, Hashable
from typing import TypeVar

from shared.prepared import Prepared, Slot

from .models import Membership, Person, RoleHeld

Answer = TypeVar("Answer")
ROLES = "roles"


def once(person: Person, what: Hashable, ask: Callable[[], Answer]) -> Answer:
    """The answer to `what`: asked for the first time of a page only."""
    if person.answers is None:
        return ask()
    if what not in person.answers:
        person.answers[what] = ask()
    return person.answers[what]


def roles_held(person: Person) -> tuple[RoleHeld, ...]:
    """Of a page without a query."""
    return once(person, ROLES, lambda: tuple(RoleHeld(*row) for row in _ROLES.rows(person=person.pk)))


_ROLES = Prepared(
    lambda: Membership.objects.order_by().filter(person=Slot("person")).values_list("site_id", "area_id", "role")
)
