"""The door to printed records: whoever may read at a site may print its record."""

from django.http import Http404

from shared.bounds import number_in
from sites.access import get_site
from sites.models import Person, Site


def get_site_to_print(person: Person, asked: str) -> Site:
    """The site that an address names by its number. Raises Http404 for strangers and for what is no number."""
    pk = number_in(asked)
    if pk is None:
        raise Http404
    return get_site(person, pk)
