"""Every reason that is typed says something, by whatever way it reaches the record."""

import inspect
from dataclasses import fields, replace
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from shared.audit.trail import registry
from tests.audit.samples import SAMPLES
from tests.audit.test_actions import FUNCTIONS
from tests.checks import making

NAMES = ("reason", "why", "risk", "evidence", "cause", "action", "used_despite")
# Their words are made by the program, which knows why.
BY_THE_PROGRAM = {("check.record_unfinished", "reason"), ("check.record_unfinished", "why")}


# Those that people call by another function, which prepares and hands on.
CALLED = {
    f"{noun}.{verb}": f"compliance.readings.actions.{name}"
    for noun, verb, name in (
        ("reading", "record", "record"),
        ("reading", "correct", "correct"),
        ("deviation", "act", "act_on_deviation"),
    )
}


def takes(name: str) -> list[str]:
    act = FUNCTIONS[CALLED[name]] if name in CALLED else registry[name]
    parameters = inspect.signature(act).parameters
    said = {each.name for each in fields(parameters["data"].annotation)} if "data" in parameters else set()
    return [each for each in NAMES if each in {*parameters, *said} and (name, each) not in BY_THE_PROGRAM]


def with_reason(given: dict, reason: str, text: str) -> dict:
    """The same call with this text for its reason, wherever it is said."""
    if "data" in given and hasattr(given["data"], reason):
        return given | {"data": replace(given["data"], **{reason: text})}
    return given | {reason: text}


TYPED = [(name, reason) for name in sorted(SAMPLES) for reason in takes(name)]


@pytest.mark.parametrize(("name", "reason"), TYPED)
def test_a_reason_that_says_nothing_is_refused(name, reason, world):
    given = SAMPLES[name](world)
    act = given.pop("call", registry[name])
    if reason == "used_despite":
        making.bad(world.probe, world.cook, given["data"].taken_at - timedelta(hours=1))
    for text in ("xx", "...", "ok"):
        with pytest.raises(ValidationError) as refused:
            act(**with_reason(given, reason, text))
        assert "word" in " ".join(refused.value.messages), text


def test_there_are_reasons_of_every_kind():
    assert len(TYPED) > 25 and {reason for _, reason in TYPED} == set(NAMES)
