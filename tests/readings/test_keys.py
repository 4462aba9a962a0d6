"""No form keeps a reading of a file out, and nothing is taken for known that the record tells otherwise."""

import uuid
from hashlib import blake2b

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from compliance.readings.actions import AlreadySent, void
from compliance.readings.importing import import_file
from compliance.readings.importing.book import Book
from compliance.readings.importing.layout import open_table, read_through
from compliance.readings.importing.rows import batches
from compliance.readings.keys import form_key, row_key
from compliance.readings.models import Reading, ReadingVoid
from tests.readings.files import START, csv_file, row
from tests.readings.helpers import EARLIER, correct, form_data, take
from tests.world import make_limit, make_person, make_probe

pytestmark = pytest.mark.usefixtures("clock")
LOGGED = csv_file(row(item="walk-in fridge", value="9.0"))


def bring(by, content):
    return import_file(by=by, file_name="logger.csv", content=content)


def logged_key(world) -> str:
    [batch] = batches(open_table(LOGGED), Book(world.manager, read_through(LOGGED)))
    return batch.rows[0][0]


def digest_of(world) -> str:
    """The key that the row had while rows and forms shared theirs."""
    told = f"{world.site.pk}|{world.probe.pk}|{world.limit.pk}|2026-01-05 08:00:00|9000|walk-in fridge"
    return blake2b(told.encode(), digest_size=16).hexdigest()


@pytest.mark.parametrize("key_of", [logged_key, digest_of])
def test_a_reading_saved_under_the_key_of_a_row_keeps_the_row_out_no_more(key_of, world, as_person):
    client = as_person(world.cook)
    assert client.post(reverse("reading_add"), form_data(world, key=key_of(world))).status_code == 302
    made = bring(world.manager, LOGGED)
    assert (made.added, made.known, made.breaches, made.refused) == (1, 0, 1, [])
    assert Reading.objects.count() == 2


@given(st.text(max_size=40), st.integers(1, 3), st.text(max_size=40), st.integers(1, 3))
def test_a_key_that_a_browser_sends_is_never_that_of_a_row_or_of_another_form(sent, site, other, at):
    assert form_key(site, sent) != row_key(site, 1, 1, "2026-01-05 08:00:00", sent, 4000)
    same = (sent.replace("-", ""), site) == (other.replace("-", ""), at)
    assert (form_key(site, sent) == form_key(at, other)) == same
    assert len(form_key(site, sent)) == len(row_key(site, 1, 1, "", sent, 4000)) == 32


def test_the_same_key_at_another_site_is_another_reading(world):
    key = uuid.uuid4()
    there = {"site": world.other_site, "limit": make_limit(world.other_site, by=world.manager)}
    first, second = (
        take(world, key=key),
        take(world, key=key, probe=make_probe(world.other_site, "P2", by=world.manager), **there),
    )
    assert (first.site, second.site) == (world.site, world.other_site)


def stored(world, key, **facts):
    told = {
        "probe": world.probe,
        "site": world.site,
        "limit_version": world.limit.versions.get(),
        "item": "milk",
        "typed": "4.0",
        "unit": "C",
        "value_milli": 4000,
        "taken_at": EARLIER,
        "taken_by": world.cook,
        "recorded_by": world.cook,
    }
    return Reading.objects.create(key=key, **told | facts)


def test_a_form_that_was_saved_under_its_key_as_it_was_sent_is_known(world, as_person):
    key = uuid.uuid4()
    old = stored(world, key.hex)
    assert take(world, key=key) == old
    with pytest.raises(AlreadySent):
        take(world, key=key, typed="4.1")
    answer = as_person(world.cook).post(reverse("reading_add"), form_data(world, key=str(key)))  # now, and not before
    assert answer.url == reverse("reading_detail", args=[old.pk])


def test_a_file_of_before_adds_nothing(world):
    first = bring(world.manager, csv_file(row(item="soup")))
    stored(
        world,
        digest_of(world),
        item="walk-in fridge",
        typed="9.0",
        value_milli=9000,
        taken_at=START,
        taken_by=world.manager,
        source=first.first,
    )
    made = bring(world.manager, LOGGED)
    assert (made.added, made.known, made.refused) == (0, 1, [])


BESIDE = {"held_s": "15", "since_start_s": "60", "note": "top shelf", "taken_by": "col.esker@example.test"}


@pytest.mark.parametrize("column", BESIDE)
def test_a_row_that_the_record_tells_otherwise_is_refused_by_its_line(column, world):
    bring(world.manager, csv_file(row(item="soup"), row()))
    changed = csv_file(row(item="soup"), row(**{column: BESIDE[column]}), row(item="rice"), row(item=""))
    made = bring(world.manager, changed)
    assert (made.rows, made.added, made.known, made.refused_count) == (4, 1, 1, 2)
    assert [line for line, _ in made.refused] == [3, 5]
    assert "in the record already, but with another" in made.refused[0][1] and column in made.refused[0][1]
    assert not Reading.objects.exclude(hold_s=None, since_start_s=None, note="", taken_by=world.manager).exists()


def test_a_form_that_tells_a_reading_of_a_logger_otherwise_is_seen(world):
    take(world, item="walk-in fridge", typed="9.0", taken_at=START, hold_s=15, taken_by=world.manager)
    assert bring(world.manager, LOGGED).refused[0][0] == 2
    assert bring(world.manager, csv_file(row(item="walk-in fridge", value="9.0", held_s="15"))).known == 1
    assert Reading.objects.count() == 1


def test_who_brings_the_same_file_once_more_need_not_be_who_took_it(world):
    bring(world.manager, LOGGED)
    made = bring(world.cook, LOGGED)
    assert (made.known, made.refused) == (1, [])
    other = csv_file(row(item="walk-in fridge", value="9.0", taken_by=world.supervisor.email))
    assert bring(world.cook, other).refused_count == 1


@pytest.mark.parametrize("how", ["struck out", "corrected"])
def test_what_was_put_right_since_does_not_come_back_with_its_file(how, world):
    bring(world.manager, LOGGED)
    reading = Reading.objects.get()
    if how == "struck out":
        void(by=world.manager, reading=reading, reason="another probe")
    else:
        mend(world, reading, uuid.uuid4())
    before = Reading.objects.count()
    made = bring(world.manager, LOGGED)
    assert (made.known, made.refused, Reading.objects.count()) == (1, [], before)


def mend(world, reading, key, reason="held for a minute"):
    return correct(
        by=world.manager,
        reading=reading,
        reason=reason,
        key=key,
        probe=reading.probe,
        site=reading.site,
        limit=world.limit,
        item=reading.item,
        typed=reading.typed,
        unit="C",
        taken_at=reading.taken_at,
        hold_s=60,
    )


def test_a_correction_under_a_used_key_is_taken_for_no_other_one(world):
    first, second, key = take(world), take(world), uuid.uuid4()
    new = mend(world, first, key)
    assert mend(world, first, key) == new
    for reading, reason in ((second, "held for a minute"), (first, "misread")):
        with pytest.raises(AlreadySent):
            mend(world, reading, key, reason)
    with pytest.raises(AlreadySent):
        take(world, key=key, hold_s=60)
    assert ReadingVoid.objects.count() == 1


@pytest.mark.parametrize("changed", [{"typed": "4"}, {"note": "x"}, {"hold_s": 5}, {"by": "other"}])
def test_a_form_sent_again_with_anything_else_is_said(changed, world):
    key, other = uuid.uuid4(), make_person("Ida Moss", 10, site=world.site)
    take(world, key=key)
    with pytest.raises(AlreadySent, match="already sent"):
        take(world, key=key, **{name: other if value == "other" else value for name, value in changed.items()})
