"""Checks that nobody finished: given up with a number, or left with one beyond the tolerance, they are kept as inconclusive."""

import logging
from collections.abc import Iterator
from datetime import datetime, timedelta
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import DateTimeField
from django.utils import timezone

from compliance.probes.models import Probe
from shared.prepared import Prepared, Slot
from shared.reasons import as_reason
from shared.time_text import stopwatch
from sites.models import Person

from . import actions, draft_numbers, drafts
from .models import Check, CheckDraft
from .timeline import lock

LEFT_AFTER = timedelta(minutes=15)
LEFT, GIVEN_UP = f"left unfinished for {LEFT_AFTER.seconds // 60} minutes", "given up"
logger = logging.getLogger(__name__)


def store_left(now: datetime, probe: Probe | None = None) -> list[Check]:
    """Keep every check, or those of one probe, that showed a number beyond the tolerance and that nobody has touched since.

    Safe to run again and at the same time. One that cannot be kept holds up no other; the first such error is raised.
    """
    kept, errors = [], []
    if probe and not _OF_PROBE.rows(probe=probe.pk, left=now - LEFT_AFTER):
        return []
    for draft in _left(now).filter(**{"probe": probe} if probe else {}).select_related("probe", "person"):
        try:
            kept.append(_store(draft, by=None, reason=LEFT, now=now))
        except Exception as error:
            if isinstance(error, ValidationError) and not _left(now).filter(pk=draft.pk).exists():
                continue  # somebody went on with it, finished it or gave it up at this very moment
            logger.exception("The unfinished check %s of probe %s could not be kept.", draft.key, draft.probe_id)
            errors.append(error)
    if errors:
        raise errors[0]
    return kept


def give_up(*, by: Person, probe: Probe, key: UUID, reason: str = "") -> Check | None:
    """End a check that this person has begun: kept as inconclusive from its first number on, forgotten before.

    Or a series that does not please could be begun again until one does, and nobody would see it.
    """
    mine = CheckDraft.objects.filter(person=by, probe=probe, key=key)
    mine.filter(outside_since=None, readings=[], struck=[]).delete()
    draft = mine.select_related("probe", "person").first()
    if draft is None:
        return Check.objects.filter(probe=probe, key=key).first()
    reason = as_reason(reason).rstrip(".")[:300]
    return _store(draft, by=by, reason=f"{GIVEN_UP}: {reason}" if reason else GIVEN_UP)


def _left(now: datetime):
    return _since(now - LEFT_AFTER)


def _since(moment: datetime | Slot):
    return CheckDraft.objects.filter(outside_since__isnull=False, tapped_at__lte=moment).order_by("pk")


_OF_PROBE = Prepared(
    lambda: _since(Slot("left", DateTimeField())).filter(probe=Slot("probe")).values_list("pk")
)  # asked at each tap


@transaction.atomic
def _store(draft: CheckDraft, *, by: Person | None, reason: str, now: datetime | None = None) -> Check:
    """With the probe held, then its draft. Raises ValidationError where it is gone, or touched again since it was left."""
    lock(draft.probe)
    draft = drafts.hold(draft)
    if now and (draft.outside_since is None or draft.tapped_at > now - LEFT_AFTER):
        raise ValidationError("Somebody went on with this check.")
    first = draft_numbers.first_outside(draft)
    if draft.outside_since and first is None:
        first = draft_numbers.typed_at(draft, draft.outside_since)
    showed = {"showed": first.shown} if first else {}
    data = drafts.data_of(draft, min(draft_numbers.last_at(draft), timezone.now()), **showed)
    why = tuple(_why(draft, first, reason))
    return actions.record_unfinished(by=by, began_by=draft.person, probe=draft.probe, data=data, reason=reason, why=why)


def _why(draft: CheckDraft, first: draft_numbers.TypedAt | None, reason: str) -> Iterator[str]:
    yield f"Inconclusive: this check was {reason}."
    if first:
        yield f"It had shown {first.shown} at {stopwatch(first.reading.elapsed_ms / 1000)}, beyond what is allowed."
    if draft_numbers.unit_question(draft):
        yield "Nobody said which unit the display shows."
