"""A file on its way in: where it may be sent to, and its time between the preview and the yes or no of whoever sent it."""

import zlib
from contextlib import suppress
from datetime import timedelta

from django.core.signing import BadSignature, TimestampSigner
from django.urls import reverse
from django.utils import timezone

from compliance.readings.models import Import, PendingUpload
from sites.models import Person

from .bring import import_parts

MOST_SENT = 16 * 1024 * 1024  # in bytes; a hundred thousand readings. The command takes more.
SENT_WITHIN = timedelta(hours=12)
KEPT_FOR = timedelta(days=1)
signer = TimestampSigner(salt="readings.upload")


def address_for_files() -> str:
    """Where whoever sees the page may send a file to. Its query is signed, so that all others are refused by it alone."""
    return f"{reverse('reading_import')}?{signer.sign('file')}"


def takes_files(path: str, query: str) -> bool:
    """Whether that is such an address, shown to somebody not long ago. Asks no database."""
    try:
        return path == reverse("reading_import") and bool(signer.unsign(query, max_age=SENT_WITHIN))
    except BadSignature:
        return False


def forget_unanswered() -> None:
    """What nobody answered within a day."""
    PendingUpload.objects.filter(uploaded_at__lt=timezone.now() - KEPT_FOR).delete()


def keep(*, by: Person, file_name: str, content: bytes) -> PendingUpload:
    """Keep a file until its sender answers, for a day."""
    forget_unanswered()
    return PendingUpload.objects.create(person=by, file_name=file_name[-200:], packed=zlib.compress(content, 1))


def content_of(upload: PendingUpload) -> bytes:
    return zlib.decompress(bytes(upload.packed))


def discard(upload: PendingUpload) -> None:
    PendingUpload.objects.filter(pk=upload.pk, became__isnull=True).delete()


class BroughtInAlready(Exception):
    """Somebody said yes to it before, or at the same moment."""


def bring_in(*, by: Person, upload: PendingUpload) -> Import:
    """Bring in a file that was kept, once: a second yes gives what the first one made. Raises FileRefused."""
    kept = PendingUpload.objects.filter(pk=upload.pk)

    def begin(first: Import) -> None:
        if not kept.filter(became=None).update(became=first):
            raise BroughtInAlready

    with suppress(BroughtInAlready):
        for _ in import_parts(by=by, file_name=upload.file_name, content=content_of(upload), begin=begin):
            pass
        kept.update(packed=b"")
    return kept.get().became
