"""The chain: each entry's hash holds the hash of the one before it in its business, and the digests of the records it made.

It is put together at the very end of a transaction. On PostgreSQL that takes a lock on the chain of the business, which lasts
from there to the commit: everything that takes longer (the work itself, reading the records back, the checks of keys) is done
before, so writers hardly wait for each other. SQLite has one writer at a time.

What belongs to no business (rules, what was there before the chain) has a chain of its own, the house's; each entry of a
business holds the head of that one, too.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from hashlib import sha256

from django.db import connection, models

from .canonical import canonical
from .digests import digests_of, groups
from .models import Entry

HOUSE = 0
START = "0" * 64  # before the first entry of a chain
FORM = 1  # of what is hashed
LOCK = 0x63686169  # any number, the same in all processes
TOLD = ("at", "actor_id", "actor", "action", "subject_type", "subject_id", "subject", "site_id", "reason", "data")

_HEAD = """SELECT * FROM (SELECT business_id, number, hash FROM audit_entry WHERE business_id = {} AND number IS NOT NULL
    ORDER BY number DESC LIMIT 1) h{}"""
_FIRST = "SET CONSTRAINTS ALL IMMEDIATE; SET CONSTRAINTS ALL DEFERRED; SELECT pg_advisory_xact_lock({lock}, {business}); {sql}"

finders: list[Callable[[Entry], int | None]] = []  # which business an entry belongs to; the floor above knows


@dataclass(frozen=True, slots=True)
class Head:
    """The newest entry of a chain."""

    number: int = 0
    hash: str = START


@dataclass
class Unsealed:
    """Entries of a transaction that is not over, each with the records that it made; and records that none has yet."""

    entries: list[tuple[Entry, list]] = field(default_factory=list)
    records: list[tuple[type[models.Model], Sequence[int]]] = field(default_factory=list)

    def take(self, entry: Entry) -> None:
        self.entries.append((entry, self.records))
        self.records = []


def seal(unsealed: Unsealed) -> None:
    """Number the entries, hash them with their records, and store them. To be the last thing in a transaction."""
    if not unsealed.entries:
        return
    unsealed.entries[-1][1].extend(unsealed.records)
    made = [(entry, _by_model(records)) for entry, records in unsealed.entries]
    digests = digests_of(_by_model([each for _, records in unsealed.entries for each in records]))
    chains = defaultdict(list)
    for entry, records in made:
        entry.facts = [list(group) for group in groups(records, digests)]
        entry.business_id = business_of(entry)
        chains[entry.business_id].append(entry)
    for business in sorted(chains):
        _append(business, chains[business])


def _by_model(records) -> dict[type[models.Model], list[int]]:
    found = defaultdict(list)
    for model, pks in records:
        found[model].extend(pks)
    return found


def business_of(entry: Entry) -> int:
    return next((found for find in finders if (found := find(entry)) is not None), HOUSE)


def _append(business: int, entries: list[Entry]) -> None:
    head, house = heads(business, lock=True)
    for entry in entries:
        entry.number, entry.previous, entry.house = head.number + 1, head.hash, house.number
        entry.data = json.loads(json.dumps(entry.data))  # as it comes back
        entry.hash = entry_hash(entry, house.hash)
        head = Head(entry.number, entry.hash)
    if len(entries) == 1:
        entries[0].save()
    else:
        Entry.objects.bulk_create(entries, batch_size=500)


def heads(business: int, *, lock: bool = False) -> tuple[Head, Head]:
    """Of the chain of a business, and of the house. The lock lasts until the transaction ends."""
    both = f" UNION ALL {_HEAD.format(HOUSE, 'h')}" if business != HOUSE else ""
    sql = _HEAD.format(int(business), both)
    locked = lock and connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        cursor.execute(_FIRST.format(lock=LOCK, business=int(business) % 2**31, sql=sql) if locked else sql)
        while locked and cursor.nextset():  # the answers to what comes before it
            pass
        found = {row[0]: Head(*row[1:]) for row in cursor.fetchall()}
    return found.get(business, Head()), found.get(HOUSE, Head()) if business != HOUSE else Head()


def entry_hash(entry: Entry, house: str) -> str:
    """What the columns of an entry give; `house` is the hash of the house's entry that it names."""
    told = {
        "form": FORM,
        "business": entry.business_id,
        "number": entry.number,
        "previous": entry.previous,
        "house": [entry.house, house],
        "entry": {name: getattr(entry, name) for name in TOLD},
        "facts": entry.facts,
    }
    return sha256(canonical(told).encode()).hexdigest()


def newest_of(business: int) -> Entry | None:
    """The entry whose hash a page of this business prints: the last of its chain or, where that has none yet, of the house's."""
    of_both = Entry.objects.filter(business_id__in=(business, HOUSE), number__isnull=False)
    return of_both.order_by("-business_id", "-number").first()
