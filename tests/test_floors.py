"""The floors hold, the measurement is pure, and the code keeps to its own sizes and style."""

import ast
import pkgutil
import re
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest
from django.core.management import call_command
from importlinter.cli import lint_imports

import compliance.metrology
from tests.source import parsed, statements
from tests.statements import ON_BOTH, ON_POSTGRES

ROOT = Path(__file__).resolve().parent.parent
TOP_LEVEL = {
    *("README.md", "DEVELOPERS.md", "manage.py", "pyproject.toml"),
    *("compliance", "sites", "templates", "tests", "fixtures", "shared"),
}
# What draws, prints or solves is heavy, and loaded when it is first asked for (tests/service/test_weight.py).
LATE = re.compile(
    r"scipy\.(optimize|linalg(\.lapack)?|special)|statsmodels\.[\w.]+|matplotlib|shared\.charts\.\w+|pictures|record|check_record"
    r"|haccp|several|twin\.writing|singles|blank_forms|labels|tag|distribution|forecast|icalendar|holidays(\.registry)?"
)
LONGEST_FUNCTION, LONGEST_FILE, LONGEST_TEMPLATE = 60, 500, 160
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text())
OURS = [
    path
    for folder in ("compliance", "sites", "shared", "tests")
    for path in sorted((ROOT / folder).rglob("*.py"))
    if "migrations" not in path.parts
]


def run(*arguments):
    return subprocess.run([sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True)


def test_every_import_runs_downwards(capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert lint_imports(no_cache=True, no_logo=True) == 0, capsys.readouterr().out


def test_every_feature_is_listed_once_among_the_floors():
    floors = next(c for c in SETTINGS["tool"]["importlinter"]["contracts"] if c["id"] == "floors")
    assert floors["exhaustive"] is True
    listed = [name.strip("( )") for layer in floors["layers"] for name in re.split("[|:]", layer)]
    present = {module.name for module in pkgutil.iter_modules([str(ROOT / "compliance")])}
    assert len(listed) == len(set(listed))
    assert present <= set(listed)


def test_the_top_level_holds_nothing_else():
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    names = {Path(line).parts[0] for line in tracked.stdout.splitlines()} or {p.name for p in ROOT.iterdir()}
    assert {name for name in names if not name.startswith(".") and not name.endswith(".egg-info")} == TOP_LEVEL


METROLOGY = sorted(m.name for m in pkgutil.walk_packages(compliance.metrology.__path__, "compliance.metrology."))


LOADING = """
import importlib, sys
for module in sys.argv[1:]:
    importlib.import_module(module)
    found = {name.partition(".")[0] for name in sys.modules} & {"django", "celery"}
    assert not found, f"{module} loads {found}"
"""


def test_no_module_of_the_measurement_loads_django_or_celery():
    answer = run("-c", LOADING, *METROLOGY)
    assert answer.returncode == 0, answer.stderr


def test_the_measurement_passes_strict_types():
    assert SETTINGS["tool"]["mypy"]["strict"] is True
    answer = run("-m", "mypy", "-p", "compliance.metrology")
    assert answer.returncode == 0, answer.stdout


def test_the_linter_finds_nothing():
    answer = run("-m", "ruff", "check", "--output-format=concise", ".")
    assert answer.returncode == 0, answer.stdout


def test_everything_is_formatted():
    answer = run("-m", "ruff", "format", "--check", ".")
    assert answer.returncode == 0, answer.stdout


@cache
def functions() -> list[tuple[Path, ast.FunctionDef | ast.AsyncFunctionDef]]:
    """Each with its file."""
    nodes = ((path, node) for path in OURS for node in statements(parsed(path)))
    return [(path, node) for path, node in nodes if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


def test_no_function_is_too_long():
    long = [
        f"{path.relative_to(ROOT)}:{node.lineno} {node.name}"
        for path, node in functions()
        if node.end_lineno - node.lineno + 1 > LONGEST_FUNCTION
    ]
    assert not long, f"Over {LONGEST_FUNCTION} lines: {long}"


def lines(path: Path) -> int:
    return len(path.read_text().splitlines())


def test_no_file_is_too_long():
    long = [str(path.relative_to(ROOT)) for path in OURS if lines(path) > LONGEST_FILE]
    long += [str(p.relative_to(ROOT)) for p in (ROOT / "templates").rglob("*.html") if lines(p) > LONGEST_TEMPLATE]
    assert not long


def hides(node: ast.AST, path: Path, function: ast.FunctionDef) -> bool:
    late = isinstance(node, ast.ImportFrom) and LATE.fullmatch(node.module or "")
    imports = isinstance(node, ast.Import | ast.ImportFrom)
    return imports and not late and not (path.name == "apps.py" and function.name == "ready")


def test_no_import_hides_inside_a_function():
    hidden = [
        f"{path.relative_to(ROOT)}:{inner.lineno}"
        for path, node in functions()
        if "benchmarks" not in path.parts  # a benchmark sets Django up itself, and imports after that
        for inner in statements(node)
        if hides(inner, path, node)
    ]
    assert not hidden


def test_templates_carry_no_inline_style_or_script():
    pages = {path: path.read_text() for path in (ROOT / "templates").rglob("*.html")}
    assert pages
    assert not [str(path) for path, text in pages.items() if " style=" in text or "<style" in text]
    assert not [str(path) for path, text in pages.items() if "<script>" in text or " onclick=" in text]


@pytest.mark.django_db
def test_models_and_migrations_agree():
    call_command("makemigrations", "--check", "--dry-run")


def test_settings_pass_the_system_checks():
    call_command("check", fail_level="WARNING")


def test_what_is_listed_for_an_engine_is_there():
    """Where a chosen test got another name, give that to on_postgres.txt, or choose anew: `python -m tests.statements`."""
    assert [path for path in ON_BOTH if not (ROOT / path.partition("::")[0]).exists()] == []
    functions = {test: test.rpartition("::")[2] for test in ON_POSTGRES}
    there = {file: (ROOT / file).read_text() for file in {test.partition("::")[0] for test in ON_POSTGRES}}
    assert [test for test, name in functions.items() if f"def {name}(" not in there[test.partition("::")[0]]] == []
