"""Which appliances a site has, and when each was in use: reads that pages and the folds share."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from django.db.models import DateTimeField, Q, QuerySet

from shared.prepared import Prepared, Slot, keys
from sites.models import Site

from .models import Appliance, ApplianceSettings, OutOfUse

Presence = list[tuple[datetime, bool]]  # whether it is measured, from the recording of that on
Absence = tuple[datetime, datetime | None]  # from when up to when it is not in use


def appliances_at(site: Site) -> QuerySet[Appliance]:
    """Those that are measured at a site, by name."""
    return Appliance.objects.filter(site=site, retired=False).select_related("limit").order_by("name", "pk")


def presence_of(limit_ids: Iterable[int]) -> dict[int, dict[int, Presence]]:
    """By the limit's key and the appliance's: since when it is measured, and since when no longer. One query."""
    found: dict[int, dict[int, Presence]] = defaultdict(lambda: defaultdict(list))
    for limit, pk, at, retired in _PRESENT.rows(limit_ids):
        found[limit][pk].append((at, not retired))
    return found


_PRESENT = Prepared(
    lambda: (
        ApplianceSettings.objects.filter(appliance__limit__in=keys())
        .order_by("recorded_at", "pk")
        .values_list("appliance__limit", "appliance", "recorded_at", "retired")
    )
)


def absences_of(limit_ids: Iterable[int]) -> dict[int, list[Absence]]:
    """When each appliance of these limits was out of use, by its key. One query."""
    found: dict[int, list[Absence]] = defaultdict(list)
    for each in _ABSENT.objects(limit_ids):
        found[each.appliance_id].append((each.starts_at, each.ended_at))
    return found


_ABSENT = Prepared(
    lambda: (
        OutOfUse.objects.live().filter(appliance__limit__in=keys()).select_related("back").order_by("starts_at", "pk")
    )
)


def out_of_use_at(appliances: Iterable[int], at: datetime) -> dict[int, OutOfUse]:
    """Why and until when each of these that is out of use at a moment is so, by its key. One query, none for none."""
    pks = list(appliances)
    return {each.appliance_id: each for each in _OUT_OF_USE.objects(pks, at=at)} if pks else {}


def _out_of_use() -> QuerySet[OutOfUse]:
    at = Slot("at", DateTimeField())
    begun = OutOfUse.objects.live().filter(appliance__in=keys(), starts_at__lte=at)
    lasting = begun.filter(
        Q(ends_at__isnull=True) | Q(ends_at__gt=at), Q(back__isnull=True) | Q(back__recorded_at__gt=at)
    )
    return lasting.select_related("appliance").order_by("starts_at", "pk")


_OUT_OF_USE = Prepared(_out_of_use)
