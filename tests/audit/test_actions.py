"""No writing action can forget the trail: all are found, all are registered, each is called once and seen in it."""

import importlib
import inspect
import pkgutil

import pytest

import compliance
import shared
import sites
from shared.audit.digests import records_there
from shared.audit.models import Entry
from shared.audit.trail import registry
from shared.audit.verifying import Wrong, findings
from tests.audit.samples import SAMPLES


def modules():
    """Every module of ours, loaded: an action registers itself when its module is."""
    for package in (compliance, shared, sites):
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if (
                "migrations" not in found.name and found.name != "compliance.wsgi"
            ):  # which asks the database when it is loaded
                yield importlib.import_module(found.name)


def public_functions():
    for module in modules():
        for name, function in inspect.getmembers(module, inspect.isfunction):
            own = inspect.unwrap(function).__module__ == module.__name__
            if "actions" in module.__name__.split(".") and own and not name.startswith("_"):
                yield f"{module.__name__}.{name}", function


FUNCTIONS = dict(public_functions())


def is_action(function) -> bool:
    return registry.get(getattr(function, "action_name", None)) in layers(function)


def layers(function):
    """The function with what its decorators wrap."""
    while function:
        yield function
        function = getattr(function, "__wrapped__", None)


def hands_on(function) -> bool:
    """Whether it only prepares, and calls an action of its own module by name."""
    named = (function.__globals__.get(name) for name in function.__code__.co_names)
    return any(inspect.isfunction(other) and is_action(other) for other in named)


def test_the_walk_finds_the_actions():
    assert "compliance.quarantine.actions.decide" in FUNCTIONS


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=FUNCTIONS)
def test_every_public_function_of_an_actions_room_is_an_action(function):
    assert is_action(function) or hands_on(function), "Decorate it with @action, or begin its name with an underscore."


def test_a_function_that_is_no_action_is_told_from_one():
    def pretends():
        return sorted([])

    pretends.action_name = next(iter(registry))
    assert not is_action(pretends)
    assert not hands_on(pretends)


def test_every_sample_is_of_an_action():
    assert set(SAMPLES) <= set(registry)


@pytest.mark.parametrize("name", sorted(registry))
def test_an_action_leaves_its_entry(name, world):
    sample = SAMPLES.get(name)
    assert sample, f"Add a sample call of “{name}” to tests/audit/samples.py."
    arguments = sample(world)
    call = arguments.pop("call", registry[name])
    there, before = rows_there(), set(Entry.objects.values_list("pk", flat=True))
    call(**arguments)
    written = Entry.objects.exclude(pk__in=before).filter(action=name)
    assert written, f"“{name}” wrote no entry under its own name."
    actor = arguments["by"]
    assert {entry.actor_id for entry in written} == {actor.pk if actor else None}
    assert all(entry.subject and entry.subject_type and entry.subject_id for entry in written)
    alleged = [str(each) for each in findings() if each.wrong != Wrong.INSERTED or each.row not in there]
    assert not alleged, f"“{name}” made records that no entry holds."


def rows_there() -> set[str]:
    """What findings call the rows that stand in no chain because the sample wrote them past every action."""
    models = (*records_there(), Entry)
    return {
        f"{model._meta.verbose_name} {pk}"
        for model in models
        for pk in model._base_manager.values_list("pk", flat=True)
    }
