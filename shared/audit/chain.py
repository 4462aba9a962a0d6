"""The chain: each entry's hash holds the hash of the one before it in its business, and the digests of the records it made.

It is put together at the very end of a transaction. On PostgreSQL that takes a lock on the chain of the business, which lasts
from there to the commit: everything that takes longer (the work itself, reading the records back, the checks of keys) is done
before, so writers hardly wait for each other. SQLite has one writer at a time.

What belongs to no business (rules, what was there before the chain) has a chain of its own, the house's; each entry of a
business holds the head of that one, too.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256

from django.db import connection, models

from .canonical import canonical
from .digests import groups, read_back
from .models import Entry

HOUSE = 0
START = "0" * 64  # before the first entry of a chain
FORM = 1  # of what is hashed
LOCK = 0x63686169  # any number, the same in all processes
TOLD = ("at", "actor_id", "actor", "action", "subject_type", "subject_id", "subject", "site_id", "reason", "data")

FEW = 10  # entries that are stored one by one
FIELDS = [field for field in Entry._meta.concrete_fields if not field.primary_key]
PLACED = ("number", "previous", "house", "hash")  # where it stands, which is known under the lock
GIVEN = [field for field in FIELDS if field.attname not in PLACED]

_NEWEST = """SELECT number, hash FROM audit_entry WHERE business_id = {} AND number IS NOT NULL ORDER BY number DESC LIMIT 1"""
_HEAD = f"""SELECT * FROM (SELECT number, hash FROM ({_NEWEST}) n UNION ALL SELECT 0, '{START}') h ORDER BY number DESC LIMIT 1"""
_INSERT = f"""INSERT INTO audit_entry ({", ".join(field.column for field in FIELDS)})
    VALUES ({", ".join(["%s"] * len(FIELDS))}) RETURNING id"""
_LOCK = f"""SET CONSTRAINTS ALL IMMEDIATE; SET CONSTRAINTS ALL DEFERRED; SELECT pg_advisory_xact_lock({LOCK}, {{}})"""

finders: list[Callable[[Entry, models.Model], int | None]] = []  # the business of an entry, and of what it is about


@dataclass(frozen=True, slots=True)
class Head:
    """The newest entry of a chain."""

    number: int = 0
    hash: str = START


@dataclass
class Unsealed:
    """Entries of a transaction that is not over, each with the records that it made; and records that none has yet.

    `depth`: how many savepoints the innermost action of now stands on.
    """

    entries: list[tuple[Entry, models.Model, list]] = field(default_factory=list)
    records: list[tuple[type[models.Model], Mapping[int, bytes | None]]] = field(default_factory=list)
    depth: int = 0

    def take(self, entry: Entry, subject: models.Model) -> None:
        self.entries.append((entry, subject, self.records))
        self.records = []


def seal(unsealed: Unsealed) -> None:
    """Number the entries, hash them with their records, and store them. To be the last thing in a transaction."""
    if not unsealed.entries:
        return
    unsealed.entries[-1][-1].extend(unsealed.records)
    chains = defaultdict(list)
    for entry, subject, records in unsealed.entries:
        entry.facts = [list(group) for group in groups(read_back(_by_model(records)))]
        entry.business_id = business_of(entry, subject)
        chains[entry.business_id].append(entry)
    for business in sorted(chains):
        _append(business, chains[business])


def _by_model(records) -> dict[type[models.Model], dict]:
    found = defaultdict(dict)
    for model, rows in records:
        found[model].update(rows)
    return found


def business_of(entry: Entry, subject: models.Model) -> int:
    return next((found for find in finders if (found := find(entry, subject)) is not None), HOUSE)


def _append(business: int, entries: list[Entry]) -> None:
    for entry in entries:
        entry.data = json.loads(json.dumps(entry.data))  # as it comes back
    if connection.vendor == "postgresql" and len(entries) <= FEW:
        _append_under_lock(business, entries)
        return
    head, house = heads(business, lock=True)
    for entry in entries:
        entry.number, entry.previous, entry.house = head.number + 1, head.hash, house.number
        entry.hash = entry_hash(entry, house.hash)
        head = Head(entry.number, entry.hash)
    if len(entries) > FEW:
        Entry.objects.bulk_create(entries, batch_size=500)
        return
    for entry in entries:
        with connection.cursor() as cursor:
            cursor.execute(_INSERT, _values(entry, FIELDS))
            (entry.pk,) = cursor.fetchone()
        _is_stored(entry)


def _append_under_lock(business: int, entries: list[Entry]) -> None:
    """Locked, placed and hashed in one message to the server: until the commit nobody waits for this process but for one turn."""
    sql, values = [_LOCK.format(business % 2**31)], []
    for entry in entries:
        sql.append(_placed_by_the_server(business))
        values += [*_values(entry, GIVEN), body_hash(entry)]
    with connection.cursor() as cursor:
        cursor.execute("; ".join(sql), values)
        found = []
        while cursor.nextset():
            found += cursor.fetchall() if cursor.description else []
    for entry, row in zip(entries, found[1:], strict=True):  # the first is the lock
        for name, value in zip(("pk", *PLACED), row, strict=True):
            setattr(entry, name, value)
        _is_stored(entry)


@cache
def _placed_by_the_server(business: int) -> str:
    """As `entry_hash` does, in SQL."""
    marks = ", ".join(f"%s::{field.db_type(connection)}" for field in GIVEN)
    columns = ", ".join([field.column for field in GIVEN] + list(PLACED))
    told = f"""'{{"body":"' || %s || '","business":{business},"house":[' || o.number || ',"' || o.hash || '"],"number":'
        || h.number + 1 || ',"previous":"' || h.hash || '"}}'"""
    return f"""INSERT INTO audit_entry ({columns}) SELECT {marks}, h.number + 1, h.hash, o.number,
        encode(sha256(convert_to({told}, 'UTF8')), 'hex') FROM ({_HEAD.format(business)}) h, ({_house_of(business)}) o
        RETURNING id, {", ".join(PLACED)}"""


def _values(entry: Entry, fields: Sequence[models.Field]) -> list:
    return [field.get_db_prep_save(getattr(entry, field.attname), connection) for field in fields]


def _is_stored(entry: Entry) -> None:
    entry._state.adding, entry._state.db = False, connection.alias


def heads(business: int, *, lock: bool = False) -> tuple[Head, Head]:
    """Of the chain of a business, and of the house. The lock lasts until the transaction ends."""
    with connection.cursor() as cursor:
        if lock and connection.vendor == "postgresql":
            cursor.execute(_LOCK.format(business % 2**31))
        cursor.execute(f"SELECT * FROM ({_HEAD.format(business)}) h, ({_house_of(business)}) o")
        number, own, of_house, house = cursor.fetchone()
    return Head(number, own), Head(of_house, house)


def _house_of(business: int) -> str:
    """The house's own entries name none of it."""
    return _HEAD.format(HOUSE) if business != HOUSE else f"SELECT 0 AS number, '{START}' AS hash"


def entry_hash(entry: Entry, house: str) -> str:
    """What the columns of an entry give; `house` is the hash of the house's entry that it names."""
    told = {
        "body": body_hash(entry),
        "business": entry.business_id,
        "number": entry.number,
        "previous": entry.previous,
        "house": [entry.house, house],
    }
    return sha256(canonical(told).encode()).hexdigest()


def body_hash(entry: Entry) -> str:
    """Of what an entry says and holds, wherever it stands."""
    told = {"form": FORM, "entry": {name: getattr(entry, name) for name in TOLD}, "facts": entry.facts}
    return sha256(canonical(told).encode()).hexdigest()


def newest_of(business: int) -> Entry | None:
    """The entry whose hash a page of this business prints: the last of its chain or, where that has none yet, of the house's."""
    of_both = Entry.objects.filter(business_id__in=(business, HOUSE), number__isnull=False)
    return of_both.order_by("-business_id", "-number").first()
