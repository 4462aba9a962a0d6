"""The door to people: supervisors reach those who work in the businesses of their areas."""

from dataclasses import dataclass

from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import Http404

from .access import areas_of
from .models import Area, Membership, Person, Role
from .password_links import invited
from .ranks import is_below, may_rename_themselves, works_within


@dataclass(frozen=True, slots=True)
class PersonInReach:
    """A person, the areas that whoever asks supervises, and whether all the work of that person lies within them.

    `below`: they rank below whoever asks, too. `may_link`: whoever asks may make them a link to choose a password;
    `may_rename`: change their name.
    """

    person: Person
    areas: list[Area]
    whole: bool
    below: bool
    may_link: bool
    may_rename: bool


def working_in(areas: QuerySet[Area] | list[Area]) -> QuerySet[Person]:
    """People with a role in these areas or at their sites."""
    there = Membership.objects.filter(Q(area__in=areas) | Q(site__area__in=areas))
    return Person.objects.filter(pk__in=there.values("person"))


def people_of(supervisor: Person) -> QuerySet[Person]:
    """The people with a role in the areas that `supervisor` supervises."""
    return working_in(areas_of(supervisor))


def colleagues_of(supervisor: Person) -> QuerySet[Person]:
    """All people of the businesses in which `supervisor` supervises an area."""
    return working_in(Area.objects.filter(business__in=areas_of(supervisor).values("business")))


def get_person(supervisor: Person, pk: int) -> PersonInReach:
    """Raises Http404 where the person works in no business of `supervisor`, PermissionDenied for who supervises nothing."""
    areas = require_supervisor(supervisor)
    person = colleagues_of(supervisor).filter(pk=pk).first()
    if person is None:
        raise Http404
    below = is_below(person, supervisor)
    return PersonInReach(
        person,
        areas,
        below or works_within(person, areas),
        below,
        below or invited(supervisor, person),
        below or may_rename_themselves(supervisor, person),
    )


def get_whole_person(supervisor: Person, pk: int) -> PersonInReach:
    """As `get_person`; raises PermissionDenied also for those who work in areas that are not the supervisor's."""
    reach = get_person(supervisor, pk)
    if not reach.whole:
        raise PermissionDenied(f"{reach.person} also works in areas that are not yours.")
    return reach


def get_person_to_link(supervisor: Person, pk: int) -> Person:
    """Somebody to make a link for, to choose a password. Raises PermissionDenied also for peers and for oneself."""
    reach = get_person(supervisor, pk)
    if not reach.may_link:
        raise PermissionDenied(f"{reach.person} does not rank below you in all their areas.")
    return reach.person


def get_person_to_rename(supervisor: Person, pk: int) -> Person:
    """Somebody to give another name. Raises PermissionDenied also for peers, and for oneself unless nobody ranks above."""
    reach = get_person(supervisor, pk)
    if not reach.may_rename:
        raise PermissionDenied(f"{reach.person} does not rank below you in all their areas.")
    return reach.person


def get_membership(supervisor: Person, pk: int) -> Membership:
    """One role in the supervisor's own areas. Raises Http404 or PermissionDenied."""
    areas = require_supervisor(supervisor)
    mine = Membership.objects.filter(Q(area__in=areas) | Q(site__area__in=areas))
    membership = mine.select_related("person", "site", "area").filter(pk=pk).first()
    if membership is None:
        raise Http404
    return membership


def require_supervisor(person: Person) -> list[Area]:
    """The areas that a person supervises. Raises PermissionDenied where there is none."""
    areas = list(areas_of(person).select_related("business"))
    if not areas:
        raise PermissionDenied(f"This needs the role of {Role.SUPERVISOR.label}.")
    return areas
