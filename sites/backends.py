"""Who a session belongs to: the person comes with their roles, in one query a request."""

from django.contrib.auth.backends import ModelBackend

from shared.prepared import Prepared, Slot

from .asked_once import ROLES
from .models import Person, RoleHeld

COLUMNS = [field.attname for field in Person._meta.concrete_fields]
HELD = ("memberships__site", "memberships__area", "memberships__role")
_WITH_ROLES = Prepared(lambda: Person.objects.order_by().filter(pk=Slot("person")).values_list(*COLUMNS, *HELD))


class PeopleWithRoles(ModelBackend):
    def get_user(self, user_id):
        """The person of a session with all roles of this moment, for this request and no other; None for who may not sign in."""
        rows = _WITH_ROLES.rows(person=user_id)
        if not rows:
            return None
        person = Person.from_db("default", COLUMNS, rows[0][: len(COLUMNS)])
        roles = (RoleHeld(*row[len(COLUMNS) :]) for row in rows)
        person.answers = {ROLES: tuple(each for each in roles if each.role is not None)}
        return person if self.user_can_authenticate(person) else None
