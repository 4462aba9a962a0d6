"""No writing action can forget the trail: all are found, all are registered, each is called once and seen in it."""

import importlib
import inspect
import pkgutil

import pytest

import compliance
import shared
import sites
from shared.audit.models import Entry
from shared.audit.trail import registry
from tests.audit.samples import SAMPLES


def rooms():
    """Every actions.py and every module of an actions/ package, loaded."""
    for package in (compliance, shared, sites):
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if "actions" in found.name.split("."):
                yield importlib.import_module(found.name)


def public_functions():
    for module in rooms():
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if not name.startswith("_") and inspect.unwrap(function).__module__ == module.__name__:
                yield f"{module.__name__}.{name}", function


FUNCTIONS = dict(public_functions())


def test_the_walk_finds_the_actions():
    assert "compliance.quarantine.actions.decide" in FUNCTIONS


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=FUNCTIONS)
def test_every_public_function_of_an_actions_room_is_an_action(function):
    name = getattr(function, "action_name", None)
    assert name, "Decorate it with @action, or name it with a leading underscore and keep it to its module."
    assert registry[name] in layers(function)


def layers(function):
    """The function with what its decorators wrap."""
    while function:
        yield function
        function = getattr(function, "__wrapped__", None)


def test_every_action_lives_in_an_actions_room():
    found = {layer for function in FUNCTIONS.values() for layer in layers(function)}
    assert set(registry.values()) <= found


def test_every_sample_is_of_an_action():
    assert set(SAMPLES) <= set(registry)


@pytest.mark.parametrize("name", sorted(registry))
def test_an_action_leaves_its_entry(name, world):
    sample = SAMPLES.get(name)
    assert sample, f"Add a sample call of “{name}” to tests/audit/samples.py."
    arguments = sample(world)
    before = set(Entry.objects.values_list("pk", flat=True))
    registry[name](**arguments)
    written = Entry.objects.exclude(pk__in=before).filter(action=name)
    assert written, f"“{name}” wrote no entry under its own name."
    actor = arguments["by"]
    assert {entry.actor_id for entry in written} == {actor.pk if actor else None}
    assert all(entry.subject and entry.subject_type and entry.subject_id for entry in written)
