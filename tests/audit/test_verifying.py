"""`verify_records` says what was done behind the program's back; a head that was printed before finds what was hashed anew."""

from io import StringIO
from random import Random

import pytest
from django.core.management import CommandError, call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.readings.models import Reading
from shared.audit.models import Entry
from shared.audit.opening import seal_what_is_there
from shared.audit.verifying import findings, standing_of
from sites.actions import add_area
from tests.audit.altering import _plain, alter, hash_anew, keep_a_book, printed_heads, unguarded
from tests.audit.samples import SAMPLES
from tests.remembered import remembered

FEW = settings(max_examples=3, suppress_health_check=[HealthCheck.function_scoped_fixture])


def kept(world) -> list[str]:
    keep_a_book(world, SAMPLES)
    return printed_heads()


@pytest.fixture
def heads(world):
    """A book in which people have done most of what they do, and the heads that it printed."""
    return remembered(kept, world)


def told():
    return [str(finding) for finding in findings()]


def fallen(heads):
    wrong = list(findings())
    return [head for head in heads if not standing_of(head, wrong).stands]


def test_nothing_is_alleged_of_a_book_as_it_was_kept(heads):
    wrong = list(findings())
    assert not wrong
    assert all(standing_of(head, wrong).stands for head in heads)


@FEW
@given(seed=st.integers(0, 10**6))
def test_an_alteration_is_told_and_named(heads, seed):
    with unguarded():
        done = alter(Random(seed), again=False)
        wrong = list(findings())
        assert [head for head in heads if not standing_of(head, wrong).stands], done
        if done.row:
            assert done.row in {finding.row for finding in wrong}


@FEW
@given(seed=st.integers(0, 10**6))
def test_where_the_chain_was_hashed_anew_the_printed_head_tells(heads, seed):
    with unguarded():
        done = alter(Random(seed), again=True)
        assert fallen(heads), done


def test_to_hash_an_untouched_book_anew_changes_no_head(heads):
    with unguarded():
        hash_anew()
        assert printed_heads() == heads


def test_a_book_that_was_hashed_anew_is_found_by_nothing_but_paper(heads):
    reading = Reading.objects.first()
    with unguarded():
        _plain(Reading).filter(pk=reading.pk).update(value_milli=reading.value_milli + 1000)
        hash_anew()
        wrong = list(findings())
        assert not wrong
        assert not all(standing_of(head, wrong).stands for head in heads)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda rows: rows.update(typed="99"), "altered: reading {pk}, which entry"),
        (lambda rows: rows._raw_delete("default"), "removed: reading {pk}, which entry"),
        (lambda rows: rows.update(id=9_999_999), "inserted: reading 9999999, which no entry of the trail holds"),
    ],
)
def test_it_is_told_of_which_row(world, change, said):
    add_area(by=world.supervisor, business=world.business, name="One")
    arguments = SAMPLES["reading.record"](world)
    seal_what_is_there()
    made = arguments.pop("call")(**arguments)
    with unguarded():
        change(_plain(Reading).filter(pk=made.pk))
        assert any(each.startswith(said.format(pk=made.pk)) for each in told())


def test_an_entry_that_was_put_elsewhere_is_told_with_its_place(world):
    seal_what_is_there()
    for name in ("One", "Two", "Three"):
        add_area(by=world.supervisor, business=world.business, name=name)
    second, third = Entry.objects.filter(action="area.add").order_by("number")[1:]
    with unguarded():
        _plain(Entry).filter(pk=third.pk).update(number=None)
        _plain(Entry).filter(pk=second.pk).update(number=third.number)
        _plain(Entry).filter(pk=third.pk).update(number=second.number)
        found = told()
    assert any(each.startswith("reordered") and f"stood at place {third.number}" in each for each in found)


def test_what_came_after_a_print_says_nothing_against_it(world):
    seal_what_is_there()
    add_area(by=world.supervisor, business=world.business, name="One")
    [head] = [entry.hash for entry in Entry.objects.filter(subject="One")]
    add_area(by=world.supervisor, business=world.business, name="Two")
    with unguarded():
        _plain(Entry).filter(subject="Two").update(subject="Three")
        assert not fallen([head])
        assert len(told()) == 1


def run(*arguments):
    out = StringIO()
    call_command("verify_records", *arguments, stdout=out)
    return out.getvalue()


def test_the_command_says_that_nothing_is_wrong(heads):
    grouped = " ".join(heads[0][n : n + 8] for n in range(0, 64, 8))
    said = run("--head", grouped)
    assert "stands." in said
    assert "Nothing is wrong." in said


def test_the_command_fails_where_something_is(heads):
    with unguarded():
        _plain(Entry).filter(hash=heads[0])._raw_delete("default")
        with pytest.raises(CommandError, match="1 of 1 heads do not stand"):
            run("--head", heads[0])


def test_the_command_refuses_what_is_no_head(db):
    with pytest.raises(CommandError, match="no head"):
        run("--head", "12ab")
