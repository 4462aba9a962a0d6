"""The door to a case: whoever has a role where its probe was read, or is now, sees it."""

from dataclasses import dataclass

from django.core.exceptions import PermissionDenied
from django.http import Http404

from sites.access import sites_of
from sites.models import Person, Role

from .cases import Case, load_case


@dataclass(frozen=True, slots=True)
class CaseAccess:
    """A case with what this person may see, decide on and sign."""

    case: Case
    seen: tuple[int, ...]
    decides: tuple[int, ...]
    signs: bool


def get_case(person: Person, slug: str, role: int = Role.READER) -> CaseAccess:
    """Raises Http404 for strangers and PermissionDenied where the role held at its sites is not enough."""
    case = load_case(slug.replace("-", ":"))
    if case is None:
        raise Http404
    touched = set(case.sites) | {case.probe.site_id}
    seen = _held(person, touched, Role.READER)
    if not seen:
        raise Http404
    if role > Role.READER and not _held(person, touched, role):
        raise PermissionDenied(f"This needs the role of {Role(role).label} at a site of the case.")
    supervised = _held(person, touched, Role.SUPERVISOR)
    decides = _held(person, set(case.sites), Role.MANAGER)
    return CaseAccess(case=case, seen=seen, decides=decides, signs=bool(supervised))


def _held(person: Person, touched: set[int], role: int) -> tuple[int, ...]:
    return tuple(sites_of(person, role).filter(pk__in=touched).order_by("pk").values_list("pk", flat=True))
