"""What README and DEVELOPERS say is there, is there; what is there, they say."""

import re
import subprocess
from pathlib import Path

import pytest
from django.core.management import get_commands

from compliance.celery import app

ROOT = Path(__file__).resolve().parent.parent
README, DEVELOPERS = ((ROOT / name).read_text() for name in ("README.md", "DEVELOPERS.md"))
OURS = [p for folder in ("compliance", "sites", "shared") for p in (ROOT / folder).rglob("*.py")]
READ = re.compile(r"""environ(?:\.get\(|\[)\s*["']([A-Z_]+)["']""")
SETTINGS = sorted({name for path in OURS for name in READ.findall(path.read_text())} - {"DJANGO_SETTINGS_MODULE"})
COMMANDS = sorted(n for n, app in get_commands().items() if app.split(".")[0] in {"compliance", "sites", "shared"})


def test_settings_and_commands_are_found():
    assert {"DATABASE_URL", "NOUGHTBOOK_DATA"} <= set(SETTINGS)
    assert "start" in COMMANDS


@pytest.mark.parametrize("name", SETTINGS)
def test_a_setting_is_in_the_readme(name):
    assert f"`{name}`" in README


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_is_described(name):
    assert f"`{name}`" in README or f"`{name}`" in DEVELOPERS


ROOMS = ("compliance/checks", "compliance/plans", "compliance/records", "compliance/service", "shared")
TEXTS = {"README": README, "DEVELOPERS": DEVELOPERS} | {room: (ROOT / room / "README.md").read_text() for room in ROOMS}


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_nothing_is_named_that_is_gone(text):
    assert set(re.findall(r"NOUGHTBOOK_[A-Z_]+", text)) <= set(SETTINGS)
    assert set(re.findall(r"manage\.py ([a-z_]+)", text)) <= set(get_commands())
    paths = re.findall(r"`((?:compliance|sites|shared|tests|fixtures|templates|\.ci)/[\w./*-]+)`", text)
    assert [path for path in paths if not any(ROOT.glob(path.rstrip("/")))] == []


def test_each_test_that_a_text_names_is_there():
    named = {name for text in TEXTS.values() for name in re.findall(r"`(test_\w+)`", text)}
    tests = "".join(path.read_text() for path in (ROOT / "tests").rglob("test_*.py"))
    assert named and [name for name in sorted(named) if f"def {name}(" not in tests] == []


def test_the_readme_gives_one_command_to_start_and_one_to_test():
    blocks = re.findall(r"```(?:sh|bash)?\n(.*?)```", README, re.DOTALL)
    assert (
        "python3 -m venv .venv && .venv/bin/pip install -q -e . && .venv/bin/python manage.py start --demo\n" in blocks
    )
    install = ".venv/bin/pip install -q -U pip && .venv/bin/pip install -q -e '.[test]'"
    assert f"tests/prepare && python3 -m venv .venv && {install} && .venv/bin/pytest\n" in blocks


def test_the_steps_of_an_installation_are_a_shell_script():
    steps = "".join(re.findall(r"```sh\n(.*?)```", README[README.index("### On Debian") :], re.DOTALL))
    assert "systemctl enable --now" in steps
    assert subprocess.run(["sh", "-n"], input=steps, text=True, capture_output=True).stderr == ""


def test_a_worker_has_the_time_to_end_what_it_is_doing():
    """systemd.kill(5): only with `mixed` is the main process told to stop, and not all of its children at once."""
    assert "\nKillMode=mixed\n" in README
    [seconds] = re.findall(r"^unit worker '.*' (\d+)$", README, re.MULTILINE)
    assert int(seconds) > app.conf.task_time_limit == 480
    assert "480 seconds" in README


def test_the_table_of_the_measurement_names_each_of_its_modules():
    table = (ROOT / "compliance/metrology/README.md").read_text()
    modules = {path.stem for path in (ROOT / "compliance/metrology").glob("*.py")} - {"__init__"}
    assert set(re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE)) == modules


def test_the_guide_is_read_in_one_sitting():
    assert len(DEVELOPERS) <= 9_000, "longer matter goes into the README of its room"
