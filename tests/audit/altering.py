"""What somebody may do to a record who has the whole database to himself: with the guards off, and the chain hashed anew or not.

`tests/benchmarks/bench_alterations.py` does a thousand, and counts what the heads that were printed before find.
"""

import uuid
from collections import Counter
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from random import Random

from django.db import DatabaseError, connection, models, transaction
from django.utils import timezone

import compliance.limits.loading  # noqa: F401  registers its action
from shared.audit.chain import HOUSE, START, entry_hash
from shared.audit.digests import from_ranges, groups, kept_records, model_of, row_digests
from shared.audit.models import Entry
from shared.audit.opening import seal_what_is_there
from shared.audit.trail import registry
from shared.audit.verifying import findings, standing_of

CHAIN = ("number", "previous", "house", "facts", "hash")
ACTS = (
    "reading.record",
    "reading.correct",
    "reading.void",
    "reading.import",
    "deviation.act",
    "case.decide",
    "check.record",
    "check.correct",
    "event.record",
    "plan.set",
    "closure.add",
    "person.rename",
    "limit.add",
    "rules.load",
    "business.amend",
)


def keep_a_book(world, samples) -> None:
    """What was there before the chain, and then what people do."""
    seal_what_is_there()
    for name in ACTS:
        with transaction.atomic():
            arguments = samples[name](world)
            seal_what_is_there()
            arguments.pop("call", registry[name])(**arguments)


def printed_heads() -> list[str]:
    """The last of each chain."""
    businesses = Entry.objects.filter(number__isnull=False).order_by().values_list("business_id", flat=True).distinct()
    return [Entry.objects.filter(business_id=each).order_by("number").last().hash for each in businesses]


@contextmanager
def unguarded():
    """All that is done inside is taken back at its end, the lack of guards too."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                cursor.execute("SET LOCAL session_replication_role = replica")
            else:
                cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
                for (name,) in cursor.fetchall():
                    cursor.execute(f"DROP TRIGGER {name}")
        yield
        transaction.set_rollback(True)


@dataclass(frozen=True)
class Done:
    """What was done to which row; empty `row` where it is not one."""

    act: str
    row: str


def alter(chance: Random, *, again: bool) -> Done:
    """One alteration of a random row; `again`: the chain is hashed anew afterwards."""
    acts = [_alter_record, _remove_record, _insert_record, _renumber_record, _swap_records]
    acts += [_alter_entry, _remove_entry, _swap_entries, _cut_off_the_end]
    while True:
        act = chance.choice(acts)
        try:
            with transaction.atomic():
                row = act(chance, again)
                if again:
                    hash_anew()
            return Done(act.__name__.strip("_"), row)
        except (DatabaseError, _Unchanged):
            pass  # a key in its way, or nothing to do it to: another one


class _Unchanged(Exception):
    pass


def _alter_record(chance: Random, again: bool) -> str:
    model, pk = _some_record(chance)
    _change(model, pk, chance.choice([f for f in model._meta.concrete_fields if not f.primary_key]))
    return f"{model._meta.verbose_name} {pk}"


def _remove_record(chance: Random, again: bool) -> str:
    model, pk = _some_record(chance)
    _plain(model).filter(pk=pk)._raw_delete(connection.alias)
    return f"{model._meta.verbose_name} {pk}"


def _insert_record(chance: Random, again: bool) -> str:
    """One like another, with the keys that must be its own made up."""
    model, pk = _some_record(chance)
    row = _plain(model).get(pk=pk)
    row.pk, row._state.adding = _beyond(model), True
    for field in model._meta.concrete_fields:
        if field.unique and not field.primary_key:
            setattr(row, field.attname, _other(field, getattr(row, field.attname)))
    models.Model.save(row, force_insert=True)
    return f"{model._meta.verbose_name} {row.pk}"


def _renumber_record(chance: Random, again: bool) -> str:
    model, pk = _some_record(chance)
    _plain(model).filter(pk=pk).update(**{model._meta.pk.attname: _beyond(model)})
    return f"{model._meta.verbose_name} {pk}"


def _swap_records(chance: Random, again: bool) -> str:
    """Two of one kind exchange their keys."""
    model, one = _some_record(chance)
    other = chance.choice(list(_plain(model).values_list("pk", flat=True)))
    if one == other:
        raise _Unchanged
    between = _beyond(model)
    for old, new in ((one, between), (other, one), (between, other)):
        _plain(model).filter(pk=old).update(**{model._meta.pk.attname: new})
    return f"{model._meta.verbose_name} {one}"


def _alter_entry(chance: Random, again: bool) -> str:
    """Hashed anew, what the chain itself says comes out as it was."""
    left = ("id", *Entry.CHAIN) if again else ("id",)
    _change(Entry, _some_entry(chance), chance.choice([f for f in Entry._meta.fields if f.attname not in left]))
    return ""


def _remove_entry(chance: Random, again: bool) -> str:
    _plain(Entry).filter(pk=_some_entry(chance))._raw_delete(connection.alias)
    return ""


def _swap_entries(chance: Random, again: bool) -> str:
    """Two of one chain exchange their places."""
    one = _plain(Entry).get(pk=_some_entry(chance))
    other = chance.choice(list(_plain(Entry).filter(business_id=one.business_id)))
    if one.pk == other.pk:
        raise _Unchanged
    _plain(Entry).filter(pk=one.pk).update(number=None)
    _plain(Entry).filter(pk=other.pk).update(number=one.number)
    _plain(Entry).filter(pk=one.pk).update(number=other.number)
    return ""


def _cut_off_the_end(chance: Random, again: bool) -> str:
    """The last entries of a chain with all that they hold; what is left is as it was."""
    one = _plain(Entry).get(pk=_some_entry(chance))
    for entry in _plain(Entry).filter(business_id=one.business_id, number__gte=one.number):
        for table, _, keys, *_ in entry.facts:
            for each in from_ranges(keys):
                _plain(model_of(table)).filter(pk__in=list(each))._raw_delete(connection.alias)
        _plain(Entry).filter(pk=entry.pk)._raw_delete(connection.alias)
    return ""


def _plain(model: type[models.Model]) -> models.QuerySet:
    """Without what the models refuse."""
    return models.QuerySet(model)


def _some_record(chance: Random) -> tuple[type[models.Model], int]:
    there = [model for model in kept_records() if _plain(model).exists()]
    model = chance.choice(there)
    return model, chance.choice(list(_plain(model).order_by("pk").values_list("pk", flat=True)))


def _some_entry(chance: Random) -> int:
    return chance.choice(list(_plain(Entry).filter(number__isnull=False).order_by("pk").values_list("pk", flat=True)))


def _beyond(model: type[models.Model]) -> int:
    return _plain(model).order_by("-pk").values_list("pk", flat=True).first() + 1000


def _change(model: type[models.Model], pk: int, field: models.Field) -> None:
    old = _plain(model).values_list(field.attname, flat=True).get(pk=pk)
    _plain(model).filter(pk=pk).update(**{field.attname: _other(field, old)})


def _other(field: models.Field, old):
    """Another value of a column."""
    kinds: dict[str, Callable] = {
        "BooleanField": lambda: not old,
        "DateTimeField": lambda: (old or timezone.now()) + timedelta(microseconds=1),
        "DateField": lambda: (old or timezone.now().date()) + timedelta(days=1),
        "TimeField": lambda: old.replace(second=(old.second + 1) % 60),
        "JSONField": lambda: {"was": old},
        "UUIDField": uuid.uuid4,
    }
    kind = (field.target_field if field.is_relation else field).get_internal_type()
    if kind in kinds:
        return kinds[kind]()
    if isinstance(old, str) or "Char" in kind or kind in ("TextField", "SlugField"):
        text, other = old or "", "y" if (old or "").endswith("x") else "x"
        return f"{text}{other}" if len(text) < (field.max_length or 10**9) else f"{text[:-1]}{other}"
    return (old or 0) + 1


def hash_anew() -> None:
    """As somebody would who knows how it is done: whatever there is now is in the chain, and each hash is right."""
    rows = {
        model: dict(row_digests(model, _plain(model).values_list("pk", flat=True)))
        for model in (*kept_records(), Entry)
    }
    entries = list(_plain(Entry).filter(number__isnull=False).order_by("business_id", "number"))
    made = {entry.pk: _still_there(entry, rows) for entry in entries}
    for model in kept_records():
        held = {pk for each in made.values() for pk in each.get(model, ())}
        if loose := {pk: digest for pk, digest in rows[model].items() if pk not in held}:
            made[entries[-1].pk].setdefault(model, {}).update(loose)
    house: dict[int, str] = {0: START}
    last: dict[int, tuple[int, str]] = {}
    before = {entry.pk: [getattr(entry, name) for name in CHAIN] for entry in entries}
    for entry in entries:
        number, previous = last.get(entry.business_id, (0, START))
        entry.number, entry.previous = number + 1, previous
        entry.facts = [list(group) for group in groups(made[entry.pk])]
        entry.house = min(entry.house, max(house)) if entry.business_id != HOUSE else 0
        entry.hash = entry_hash(entry, START if entry.business_id == HOUSE else house[entry.house])
        if entry.business_id == HOUSE:
            house[entry.number] = entry.hash
        last[entry.business_id] = entry.number, entry.hash
    changed = [entry for entry in entries if before[entry.pk] != [getattr(entry, name) for name in CHAIN]]
    for entry in changed:
        _plain(Entry).filter(pk=entry.pk).update(number=-entry.pk)
    models.QuerySet(Entry).bulk_update(changed, CHAIN, batch_size=50)


def _still_there(entry: Entry, rows: dict) -> dict[type[models.Model], dict[int, bytes]]:
    """What an entry holds, as it is now."""
    made = {}
    for table, _, keys, *_ in entry.facts:
        there = rows[model_of(table)]
        made[model_of(table)] = {pk: there[pk] for each in from_ranges(keys) for pk in each if pk in there}
    return made


def try_many(times: int, chance: Random) -> Counter:
    """How many alterations of each kind were found, and not found, by the heads of before; none may be alleged in between."""
    heads, counted = printed_heads(), Counter()
    for number in range(times):
        again = bool(number % 2)
        with unguarded():
            done = alter(chance, again=again)
            wrong = list(findings())
            fallen = [head for head in heads if not standing_of(head, wrong).stands]
            counted[done.act, "hashed anew" if again else "as it was", "found" if fallen else "NOT FOUND"] += 1
            if not fallen:
                print("NOT FOUND:", done, again, flush=True)
            if done.row and not again and not any(each.row == done.row for each in wrong):
                counted[done.act, "NOT NAMED"] += 1
        if number % 20 == 0:
            wrong = list(findings())
            counted["untouched", "alleged" if wrong else "nothing alleged"] += 1
            assert all(standing_of(head, wrong).stands for head in heads)
    return counted
