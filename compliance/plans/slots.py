"""The table of due times ahead: one row a site, plan and day, made again set by set. Only rows that differ are written."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, timedelta

from django.db import models, transaction

from compliance.limits.models import Limit
from compliance.limits.queries import effective_at
from compliance.probes.models import Probe
from shared import clock
from sites.models import Site

from .calendar import DAY, Calendar
from .fallen import lift_rounds, move_ends_of_rounds, write_down_rounds
from .models import Round, RoundSlot, Slot
from .queries import PlanBook, Reach, calendars
from .schedule import Plan, counts_after, due_on, names_day, round_times, windows

AHEAD, ROUNDS_AHEAD, KEPT = 40, 8, 60
BATCH = 200  # sites at a time, so that memory does not grow with the business


def expand(site_ids: Iterable[int], from_day: date, days: int = AHEAD) -> None:
    """Make the slots of these sites from a day on what their plans and calendars say; run again it changes nothing.

    The readings that have fallen due by the slots there were are written down first.
    A plan with a longer interval than `days` reaches one interval ahead. Slots of the 60 days before `from_day` stay as they
    are, older ones go.
    """
    chosen = sorted(set(site_ids))
    for start in range(0, len(chosen), BATCH):
        with transaction.atomic():
            _expand(chosen[start : start + BATCH], from_day, days)


def _expand(site_ids: list[int], from_day: date, days: int) -> None:
    sites = list(
        Site.objects.select_for_update(of=("self",)).filter(pk__in=site_ids).select_related("area").order_by("pk")
    )
    by_site, now = calendars(sites), clock.now()
    write_down_rounds(now, site_ids)
    _store(
        Slot,
        ("site_id", "plan_key", "day"),
        _slots(by_site, _plans(site_ids, from_day), from_day, days),
        site_ids,
        from_day,
    )
    rounds = _round_slots(by_site, site_ids, from_day, min(days, ROUNDS_AHEAD))
    _store(RoundSlot, ("round_id", "due_at"), rounds, site_ids, from_day)
    move_ends_of_rounds(now, site_ids)
    lift_rounds(by_site, now)


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


def _slots(by_site: dict[int, Calendar], plans: dict, from_day: date, days: int) -> Iterator[Slot]:
    for site_id, calendar in by_site.items():
        for plan in plans.get(site_id, {}).values():
            for ahead in range(max(days, plan.every_days + 7)):
                day = from_day + DAY * ahead
                if due := due_on(plan, calendar, day):
                    yield Slot(site_id=site_id, plan_key=plan.key, day=day, named=names_day(plan, day), due_at=due.at,
                               because=due.because, opens_at=counts_after(plan, calendar, day))  # fmt: skip


def _round_slots(by_site: dict[int, Calendar], site_ids, from_day: date, days: int) -> Iterator[RoundSlot]:
    """A moment belongs to the round in force on its day; a round of a limit that is retired by then is none."""
    chains = defaultdict(list)
    for each in Round.objects.filter(limit__site__in=site_ids).select_related("limit").order_by("effective_from", "pk"):
        chains[each.limit].append(each)
    retired = _retired(site_ids) if chains else set()
    for limit, chain in chains.items():
        if limit.pk not in retired:
            yield from _of_limit(chain, limit, by_site[limit.site_id], from_day, days)


def _of_limit(chain: list[Round], limit: Limit, calendar: Calendar, from_day: date, days: int) -> list[RoundSlot]:
    """The slots of one limit, each with the time within which a reading is for it."""
    slots = []
    for day in (from_day + DAY * ahead for ahead in range(days)):
        begun = [each for each in chain if each.effective_from <= day]
        if begun and begun[-1].in_force:
            slots += _of_day(begun[-1], limit, calendar, day)
    slots.sort(key=lambda slot: slot.due_at)
    for slot, (opens, closes) in zip(slots, windows([(s.due_at, s.grace_at) for s in slots]), strict=True):
        slot.opens_at, slot.closes_at = opens, closes
    return slots


def _of_day(each: Round, limit: Limit, calendar: Calendar, day: date) -> Iterator[RoundSlot]:
    plan = each.as_plan()
    grace = timedelta(minutes=plan.grace_minutes)
    for at, due in {due.at: due for due in round_times(plan, calendar, day, day)}.items():
        yield RoundSlot(site_id=limit.site_id, round=each, day=day, due_at=at, grace_at=at + grace, because=due.because)


def _retired(site_ids: list[int]) -> set[int]:
    """The limits of these sites that are not in force now."""
    counts = effective_at(clock.now()).filter(limit=models.OuterRef("pk")).values("in_force")[:1]
    limits = Limit.objects.filter(site__in=site_ids).annotate(counts=models.Subquery(counts))
    return set(limits.exclude(counts=True).values_list("pk", flat=True))


def _store(model, unique: tuple[str, ...], wanted: Iterable, site_ids: list[int], from_day: date) -> None:
    told = [field.attname for field in model._meta.concrete_fields if not field.primary_key]
    fields = [
        field.name for field in model._meta.concrete_fields if not field.primary_key and field.attname not in unique
    ]
    rows = {_values(row, unique): row for row in wanted}
    stored = {_values(row, unique): row for row in model.objects.filter(site__in=site_ids, day__gte=from_day)}
    gone = [row.pk for key, row in stored.items() if key not in rows]
    model.objects.filter(models.Q(pk__in=gone) | models.Q(site__in=site_ids, day__lt=from_day - DAY * KEPT)).delete()
    changed = [
        row for key, row in rows.items() if key not in stored or _values(row, told) != _values(stored[key], told)
    ]
    names = [model._meta.get_field(name).name for name in unique]
    model.objects.bulk_create(
        changed, update_conflicts=True, unique_fields=names, update_fields=fields, batch_size=5000
    )


def _values(row, names: Iterable[str]) -> tuple:
    return tuple(getattr(row, name) for name in names)
