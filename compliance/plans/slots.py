"""The table of due times ahead: one row a site, plan and day, made again set by set. Only rows that differ are written."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date

from django.db import models, transaction
from django.db.models.functions import Coalesce

from compliance.probes.models import Probe
from sites.models import Site

from .calendar import DAY, Calendar
from .models import CheckPlan, Round, Slot
from .queries import PlanBook, Reach, calendars
from .schedule import Plan, counts_after, due_on, names_day

AHEAD, KEPT = 40, 60
SLOTS = 40_000  # at a time, so that memory grows neither with the business nor with its plans


def expand(site_ids: Iterable[int], from_day: date, days: int = AHEAD) -> None:
    """Make the slots of these sites from a day on what their plans and calendars say; run again it changes nothing.

    Days before that which have no slots yet, after a standstill, are made up for. A plan with a longer interval than `days`
    reaches one interval ahead. Slots of the 60 days before `from_day` stay as they are, older ones go.
    """
    for some in _batches(sorted(set(site_ids)), days):
        with transaction.atomic():
            _expand(some, from_day, days)


def _batches(site_ids: list[int], days: int) -> Iterator[list[int]]:
    """Sites together that have not too many slots, and one at least."""
    some, many = [], 0
    for pk, plans in _own_plans(site_ids):
        if some and many + plans * days > SLOTS:
            yield some
            some, many = [], 0
        some.append(pk)
        many += plans * days
    if some:
        yield some


def _own_plans(site_ids: list[int]) -> list[tuple[int, int]]:
    """How many plans and rounds each site may have slots of, at most."""
    of_probes = CheckPlan.objects.filter(probe__site=models.OuterRef("pk")).order_by().values("probe__site")
    of_rounds = Round.objects.filter(limit__site=models.OuterRef("pk")).order_by().values("limit__site")
    counts = [Coalesce(models.Subquery(found.annotate(n=models.Count("pk")).values("n")), 0)
              for found in (of_probes, of_rounds)]  # fmt: skip
    sites = Site.objects.filter(pk__in=site_ids).order_by("pk").annotate(own=counts[0], asked=counts[1])
    return [(pk, own + asked + 2) for pk, own, asked in sites.values_list("pk", "own", "asked")]


def _expand(site_ids: list[int], from_day: date, days: int) -> None:
    held = Site.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=site_ids)
    by_site = calendars(held.select_related("area").order_by("pk"))
    _store(_slots(by_site, _plans(site_ids, from_day), _made(site_ids), from_day, days), site_ids, from_day)


def _made(site_ids: list[int]) -> dict[tuple[int, int], date]:
    """The last day of each plan at each site that has its slot."""
    last = Slot.objects.filter(site__in=site_ids).order_by().values("site", "plan_key").annotate(last=models.Max("day"))
    return {(site, key): day for site, key, day in last.values_list("site", "plan_key", "last")}


def _plans(site_ids: list[int], from_day: date) -> dict[int, dict[int, Plan]]:
    """The plans that count at each site from a day on, by their keys."""
    book, found = PlanBook.of_sites(site_ids), defaultdict(dict)
    for reach in _reaches(site_ids):
        told = book.stretches(reach)
        begun = [stretch for stretch in told if stretch.since <= from_day][-1:]
        for stretch in (*begun, *(stretch for stretch in told if stretch.since > from_day)):
            found[reach.site_id][stretch.plan.key] = stretch.plan
    return found


def _reaches(site_ids: list[int]) -> set[Reach]:
    """Withdrawn probes too, which may return before the slots are made again."""
    probes = Probe.objects.filter(site__in=site_ids)
    return {Reach(*row) for row in probes.values_list("business_id", "site_id", "sensor", "pk")}


def _slots(by_site: dict[int, Calendar], plans: dict, made: dict, from_day: date, days: int) -> Iterator[Slot]:
    for site_id, calendar in by_site.items():
        for plan in plans.get(site_id, {}).values():
            first = min(from_day, made.get((site_id, plan.key), from_day) + DAY)
            for ahead in range((from_day - first).days + max(days, plan.every_days + 7)):
                day = first + DAY * ahead
                if due := due_on(plan, calendar, day):
                    yield Slot(site_id=site_id, plan_key=plan.key, day=day, named=names_day(plan, day), due_at=due.at,
                               because=due.because, opens_at=counts_after(plan, calendar, day))  # fmt: skip


def _store(wanted: Iterable[Slot], site_ids: list[int], from_day: date) -> None:
    rows = {_key(slot): slot for slot in wanted}
    stored, gone, same = Slot.objects.filter(site__in=site_ids, day__gte=from_day), [], set()
    for row in stored.iterator(chunk_size=2000):
        slot = rows.get(_key(row))
        if slot is None:
            gone.append(row.pk)
        elif _told(slot) == _told(row):
            same.add(_key(row))
    old = models.Q(site__in=site_ids, day__lt=from_day - DAY * KEPT)
    Slot.objects.filter(models.Q(pk__in=gone) | old).delete()
    changed = [slot for key, slot in rows.items() if key not in same]
    names = ["named", "due_at", "because", "opens_at"]
    Slot.objects.bulk_create(
        changed, update_conflicts=True, unique_fields=["site", "plan_key", "day"], update_fields=names, batch_size=5000
    )


def _key(slot: Slot) -> tuple:
    return slot.site_id, slot.plan_key, slot.day


def _told(slot: Slot) -> tuple:
    return slot.named, slot.due_at, slot.because, slot.opens_at
