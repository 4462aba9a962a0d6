"""Each entry's hash holds the one before it in its business, and the records that it made."""

from itertools import pairwise

import pytest

import compliance.limits.loading  # noqa: F401  registers its action
from compliance.readings.models import Reading
from shared.audit import digests
from shared.audit.chain import HOUSE, START
from shared.audit.digests import Columns, Group, as_ranges, from_ranges, layout_of
from shared.audit.models import Entry, HashedColumns
from shared.audit.opening import open_chain, seal_what_is_there
from shared.audit.trail import action, note, registry, together
from shared.audit.verifying import findings
from sites.actions import add_area, amend_business
from tests.audit.samples import SAMPLES
from tests.rows import fill


def act(name, world):
    arguments = SAMPLES[name](world)
    return arguments.pop("call", registry[name])(**arguments)


def chain(business):
    return list(Entry.objects.filter(business_id=business, number__isnull=False).order_by("number"))


def held(entry):
    return {
        (group.table, key)
        for group in (Group(*each) for each in entry.facts)
        for keys in from_ranges(group.keys)
        for key in keys
    }


def test_an_entry_holds_the_hash_of_the_one_before(world):
    for name in ("reading.record", "check.record", "area.add"):
        act(name, world)
    entries = chain(world.business.pk)
    assert [entry.number for entry in entries] == list(range(1, len(entries) + 1))
    assert entries[0].previous == START
    assert all(later.previous == earlier.hash for earlier, later in pairwise(entries))
    assert len({entry.hash for entry in entries}) == len(entries) >= 3


def test_an_entry_holds_the_records_of_its_action(world):
    made = act("reading.correct", world)
    entry = Entry.objects.get(action="reading.correct")
    assert {("readings_reading", made.pk), ("readings_readingvoid", made.corrects.pk)} <= held(entry)
    assert not held(Entry.objects.get(action="reading.replaced"))


def test_a_piece_of_a_file_holds_each_of_its_rows(world):
    act("reading.import", world)
    entry = Entry.objects.get(action="reading.import")
    read = Reading.objects.filter(source__isnull=False)
    assert {("readings_reading", pk) for pk in read.values_list("pk", flat=True)} <= held(entry)


def test_each_business_has_a_chain_of_its_own(world, rival):
    add_area(by=world.supervisor, business=world.business, name="One")
    add_area(by=rival, business=world.foreign_site.area.business, name="Two")
    add_area(by=world.supervisor, business=world.business, name="Three")
    first, second = chain(world.business.pk), chain(world.foreign_site.area.business_id)
    assert [entry.subject for entry in first if entry.action == "area.add"] == ["One", "Three"]
    assert [entry.subject for entry in second if entry.action == "area.add"] == ["Two"]
    assert not {entry.hash for entry in first} & {entry.previous for entry in second}


def test_what_belongs_to_no_business_is_held_by_every_later_entry(world):
    act("rules.load", world)
    add_area(by=world.supervisor, business=world.business, name="One")
    rules, entry = chain(HOUSE)[-1], chain(world.business.pk)[-1]
    assert (rules.action, entry.house) == ("rules.load", rules.number)


@pytest.fixture
def failing(monkeypatch):
    """An action whose inner one fails after it has written; the outer one goes on."""
    monkeypatch.setattr("shared.audit.trail.registry", {})

    @action("business.inner")
    def inner(*, by, world):
        fill(Reading, world)
        note("business.inner", by=by, subject=world.business)
        raise ValueError

    @action("business.outer")
    def outer(*, by, world):
        with pytest.raises(ValueError):
            inner(by=by, world=world)
        note("business.outer", by=by, subject=world.business)

    return outer


def test_what_is_taken_back_leaves_no_gap_and_no_record(world, failing):
    before = len(chain(world.business.pk))
    failing(by=world.manager, world=world)
    entries = chain(world.business.pk)[before:]
    assert [(entry.action, entry.facts, entry.number) for entry in entries] == [("business.outer", [], before + 1)]


def test_several_actions_of_one_transaction_are_chained_at_its_end(world):
    before = Entry.objects.count()
    with together():
        add_area(by=world.supervisor, business=world.business, name="One")
        assert Entry.objects.count() == before
        amend_business(by=world.supervisor, business=world.business, changes={"name": "Other"}, reason="Sold.")
    assert [entry.action for entry in chain(world.business.pk)[-3:]] == ["area.add", "role.grant", "business.amend"]


def test_what_was_there_before_gets_one_opening_seal(world):
    fill(Reading, world)
    Entry.objects.create(action="old", actor="Somebody", subject="x", subject_type="x.y", subject_id=1)
    seal_what_is_there()
    assert not list(findings())
    sealed = set().union(*map(held, chain(HOUSE)))
    assert ("audit_entry", Entry.objects.get(action="old").pk) in sealed


def test_migrate_seals_nothing_any_more_once_there_is_a_chain(world):
    add_area(by=world.supervisor, business=world.business, name="One")
    before = Entry.objects.count()
    fill(Reading, world)
    open_chain("default")
    assert Entry.objects.count() == before


def test_a_column_that_comes_later_breaks_no_hash_of_before(world, monkeypatch):
    seal_what_is_there()
    now = layout_of(Reading)
    before = Columns(now.table, tuple(name for name in now.columns if name not in ("note", "fitness")))
    HashedColumns.objects.create(code=before.code, table=before.table, columns=list(before.columns))
    with monkeypatch.context() as earlier:
        earlier.setattr(digests, "layout_of", lambda model: before if model is Reading else layout_of(model))
        made = act("reading.record", world)
    entry = Entry.objects.get(action="reading.record")
    assert Group(*entry.facts[-1]).columns == before.code, made
    assert not list(findings())


@pytest.mark.parametrize(("keys", "text"), [([7], "7"), ([3, 4, 5], "3-5"), ([1, 2, 9, 11, 12], "1-2,9,11-12")])
def test_keys_are_told_as_ranges(keys, text):
    assert as_ranges(keys) == text
    assert [key for each in from_ranges(text) for key in each] == keys
