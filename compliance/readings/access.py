"""The door to readings, deviations and imports: seen by whoever has a role at their site."""

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404

from shared.prepared import Prepared, Slot
from sites.access import reach, sites_of
from sites.models import Person, Role, Site

from .imported_file import ImportedFile
from .models import Deviation, Import, PendingUpload, Reading
from .queries import recording_sites

BEHIND = ("site__area", "probe", "limit_version__limit", "appliance", "taken_by")
VOIDS = ("void__recorded_by", "void__replacement", "corrects__voids", "corrects__recorded_by")
_READING = Prepared(
    lambda: Reading.objects.select_related(*BEHIND, "recorded_by", "deviation", "source", *VOIDS).filter(pk=Slot("pk"))
)
_DEVIATION = Prepared(
    lambda: Deviation.objects.select_related(*(f"reading__{name}" for name in (*BEHIND, "void"))).filter(pk=Slot("pk"))
)


def get_reading(person: Person, pk: int, role: int = Role.READER) -> Reading:
    """One reading. Raises Http404 for strangers and PermissionDenied where the role is not enough."""
    return reach(person, _READING.objects(pk=pk), lambda reading: reading.site, role)


def get_deviation(person: Person, pk: int, role: int = Role.READER) -> Deviation:
    """One deviation. Raises Http404 for strangers and PermissionDenied where the role is not enough."""
    return reach(person, _DEVIATION.objects(pk=pk), lambda deviation: deviation.reading.site, role)


def get_import(person: Person, pk: int) -> ImportedFile:
    """A file by any of its pieces: for whoever brought it in, and for those with a role at one of its sites. Raises Http404
    for strangers."""
    part = Import.objects.filter(pk=pk).first()
    if part is None:
        raise Http404
    found = ImportedFile.of(part)
    if part.recorded_by_id != person.pk and not sites_of(person).filter(pk__in=found.sites).exists():
        raise Http404
    return found


def get_upload(person: Person, key) -> PendingUpload:
    """A file that waits for this person's yes. Nobody else's: raises Http404."""
    found = PendingUpload.objects.filter(key=key, person=person).first()
    if found is None:
        raise Http404
    return found


def sites_to_record_at(person: Person) -> QuerySet[Site]:
    """Where this person may record. Raises PermissionDenied for readers, who have sites but may not write."""
    sites = recording_sites(person)
    if not sites.exists():
        if sites_of(person).exists():
            raise PermissionDenied("This needs the role of cook at a site.")
        raise Http404
    return sites
