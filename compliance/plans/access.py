"""The door to closures: those of a site are its manager's, those of an area or a business their supervisors'."""

from django.shortcuts import get_object_or_404

from sites.access import get_area, get_business, reach
from sites.models import Person, Role

from .models import Closure


def get_closure(person: Person, pk: int) -> Closure:
    """One closure to be changed. Raises Http404 for strangers and PermissionDenied where the role is not enough."""
    closure = get_object_or_404(Closure.objects.select_related("site__area", "area", "business"), pk=pk)
    if closure.site_id:
        return reach(person, [closure], lambda each: each.site, Role.MANAGER)
    if closure.area_id:
        get_area(person, closure.area_id)
    else:
        get_business(person, closure.business_id)
    return closure
