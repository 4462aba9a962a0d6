"""The procedure of each kind of check has a version, and no word of it changes without another one."""

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from hashlib import sha256

import pytest

from compliance.checks.kinds import KINDS
from compliance.checks.kinds.steps import Task
from shared.cautions import caution
from tests.checks.making import correct_zero, good
from tests.records.making import at

SHORT = 16


def phrases(part) -> Iterator[str]:
    """Every word of a procedure, in an order that stays."""
    if isinstance(part, str):
        yield part
    elif isinstance(part, Mapping):
        for key, value in part.items():
            yield from (*phrases(key), *phrases(value))
    elif isinstance(part, frozenset):
        yield from sorted(part)
    elif isinstance(part, tuple):
        for each in part:
            yield from phrases(each)
    elif is_dataclass(part):
        for field in fields(part):
            yield from phrases(getattr(part, field.name))
        if isinstance(part, Task):
            yield from (caution(key).text for key in part.cautions)


def digest_of(kind) -> str:
    """Of the steps; of a kind that is entered by a form, of what the form asks."""
    asked = [(str(each.label), str(each.help_text)) for each in kind.form.base_fields.values()] if kind.form else ()
    words = [*phrases(kind.guidance), *phrases(tuple(asked)), *kind.afterwards]
    return sha256("\n".join(words).encode()).hexdigest()[:SHORT]


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_no_word_of_a_procedure_changes_without_another_version(kind):
    told = f"The words of this procedure have changed: raise `version` by one, and let `phrases` be {digest_of(kind)}."
    assert kind.version >= 1 and kind.phrases == digest_of(kind), told


def test_every_phrase_of_a_step_counts():
    task = KINDS["zero"].guidance.before["packed_crushed"][1]
    assert {task.title, task.how, caution("ice_bath").text} <= set(phrases(KINDS["zero"].guidance))
    assert len(set(phrases(KINDS["boiling"].guidance))) > 60


def test_a_check_keeps_the_version_by_which_it_was_made(world, clock, monkeypatch):
    clock.move_to(at(10))
    old = good(world.probe, world.cook, at(3))
    monkeypatch.setattr(KINDS["zero"], "version", 7)
    assert (old.procedure_version, good(world.probe, world.cook, at(4)).procedure_version) == (1, 7)
    assert correct_zero(old, world.cook).procedure_version == 1
