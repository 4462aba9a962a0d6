"""What the whole tree keeps to: said once in one place, functions that can be called, names that mean one thing."""

import ast
import re
from enum import Enum
from importlib import import_module
from pathlib import Path

import pytest

from tests.source import parsed, statements

ROOT = Path(__file__).resolve().parent.parent
FILES = [
    file
    for folder in ("compliance", "sites", "shared")
    for file in sorted((ROOT / folder).rglob("*.py"))
    if "migrations" not in file.parts
]


def place(file: Path) -> str:
    return str(file.relative_to(ROOT))


def holding(pattern: str) -> set[str]:
    return {place(file) for file in FILES if re.search(pattern, file.read_text())}


# Typed once: what holds a moment in a span, and how a time is put into words. The pure modules of plans import nothing of
# ours; the commands of the start and of backups write to a terminal; the trail and the facts keep times for programs.
SPAN = r"taken_at > \w+\.starts_at|taken_at__gt=F\(\"\w+__spans|ends_at__gte=OuterRef|starts_at__lt=at"
WORDS = r"\b(strftime|MONTHS)\b|:%[aAbBdHI]"
# A left join where nothing is to be found: `live()`, `is_live` and `current()` ask for what does not exist.
LEFT_JOIN = r"(void|replaced_by)(__isnull|=None)"
ELSEWHERE = {
    LEFT_JOIN: set(),
    SPAN: {"compliance/checks/span_times.py"},
    WORDS: {
        "shared/time_text.py",
        "shared/charts/axes.py",
        "compliance/plans/schedule.py",
        "compliance/plans/actions.py",
        "compliance/notices/actions.py",
        "compliance/reminders/database_clock.py",
        "compliance/service/management/commands/backup.py",
        "compliance/service/management/commands/restore.py",
    },
}


@pytest.mark.parametrize("pattern", ELSEWHERE)
def test_it_is_typed_once(pattern):
    assert holding(pattern) - ELSEWHERE[pattern] == set()


MOST_PARAMETERS = 6
WIDER = {"compliance/notices/forms.py": {"create_option"}}  # as Django calls it


def parameters(function: ast.FunctionDef) -> list[str]:
    given = function.args
    names = [each.arg for each in (*given.posonlyargs, *given.args, *given.kwonlyargs)]
    return names[1:] if names[:1] in (["self"], ["cls"]) else names


def wide(tree: ast.AST) -> set[str]:
    functions = (node for node in statements(tree) if isinstance(node, ast.FunctionDef))
    return {function.name for function in functions if len(parameters(function)) > MOST_PARAMETERS}


def test_no_function_takes_more_than_six_parameters():
    found = {place(file): wide(parsed(file)) for file in FILES if "metrology" not in file.parts}
    assert {at: names for at, names in found.items() if names} == WIDER


def test_every_parameter_counts_but_self():
    assert wide(ast.parse("def f(a, b, c, /, d, *, e, f, g): ...")) == {"f"}
    assert wide(ast.parse("try: ...\nfinally:\n    def f(a, b, c, d, e, f, g): ...")) == {"f"}
    assert not wide(ast.parse("class C:\n    def f(self, a, b, c, d, e, f): ..."))


BY_CUSTOM = {"Command"}  # Django asks for this name


def classes() -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for file in FILES:
        for node in parsed(file).body:
            if isinstance(node, ast.ClassDef):
                found.setdefault(node.name, set()).add(place(file))
    return found


def loaded(at: str, name: str):
    return getattr(import_module(at.removesuffix(".py").replace("/", ".")), name)


def same_choices(name: str, places: set[str]) -> bool:
    """Whether a field of a model offers the very words of the measurement, which knows no Django."""
    kinds = [loaded(at, name) for at in places]
    told = [{member.value for member in kind} for kind in kinds if issubclass(kind, Enum)]
    return len(told) == len(places) == 2 and told[0] == told[1] and any("metrology" in at for at in places)


def test_a_name_of_a_class_means_one_thing():
    twice = {name: places for name, places in classes().items() if len(places) > 1 and name not in BY_CUSTOM}
    assert {name: places for name, places in twice.items() if not same_choices(name, places)} == {}


def test_choices_of_other_words_are_another_thing():
    assert same_choices("Verdict", {"compliance/checks/models.py", "compliance/metrology/vocabulary.py"})
    assert not same_choices("Point", {"compliance/checks/models.py", "compliance/plans/models.py"})


def test_lines_are_laid_out_by_ruff_alone():
    layout = "fmt: " + "skip"
    files = [file for folder in ("compliance", "sites", "shared", "tests") for file in (ROOT / folder).rglob("*.py")]
    assert [place(file) for file in files if layout in file.read_text()] == []
