"""What the whole tree keeps to: said once in one place, functions that can be called, names that mean one thing."""

import re
from pathlib import Path

import pytest

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
ELSEWHERE = {
    SPAN: {"compliance/checks/span_times.py"},
    WORDS: {
        "shared/time_text.py",
        "shared/charts/axes.py",
        "compliance/plans/schedule.py",
        "compliance/plans/actions.py",
        "compliance/notices/actions.py",
        "compliance/checks/fallen.py",
        "compliance/reminders/database_clock.py",
        "compliance/engine/management/commands/backup.py",
        "compliance/engine/management/commands/restore.py",
    },
}


@pytest.mark.parametrize("pattern", ELSEWHERE)
def test_it_is_typed_once(pattern):
    assert holding(pattern) - ELSEWHERE[pattern] == set()
