"""A file between its preview and the yes or no of whoever sent it: working state, kept for a day."""

import zlib
from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from compliance.readings.models import Import, PendingUpload
from sites.models import Person

from .bring import import_file

KEPT_FOR = timedelta(days=1)


def keep(*, by: Person, file_name: str, content: bytes) -> PendingUpload:
    """Keep a file until its sender answers; what nobody answered within a day is forgotten."""
    PendingUpload.objects.filter(uploaded_at__lt=timezone.now() - KEPT_FOR).delete()
    return PendingUpload.objects.create(person=by, file_name=file_name[-200:], packed=zlib.compress(content, 1))


def content_of(upload: PendingUpload) -> bytes:
    return zlib.decompress(bytes(upload.packed))


def discard(upload: PendingUpload) -> None:
    PendingUpload.objects.filter(pk=upload.pk, became__isnull=True).delete()


def bring_in(*, by: Person, upload: PendingUpload) -> Import:
    """Bring in a file that was kept, once: a second yes gives what the first one made. Raises FileRefused."""
    with transaction.atomic():
        held = PendingUpload.objects.select_for_update().get(pk=upload.pk)
        if held.became is None:
            held.became = import_file(by=by, file_name=held.file_name, content=content_of(held))
            held.packed = b""
            held.save(update_fields=["became", "packed"])
        return held.became
