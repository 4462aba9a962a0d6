"""The settings of a book of before, when the trail alone told of their changes (see migrating.py)."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
WHY = "As its maker says."


@pytest.fixture
def book(empty_database_url, tmp_path):
    environment = {
        "DATABASE_URL": empty_database_url,
        "NOUGHTBOOK_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "compliance.settings",
    }
    command = [sys.executable, "-m", "tests.sites.migrating"]
    done = subprocess.run(command, cwd=ROOT, env=os.environ | environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_what_was_set_and_when_is_written_as_the_trail_tells_it(book):
    assert all(told["is_recorded"] and told["former"] for name, told in book.items() if name != "known")
    site, business, changed, plain = (book[name] for name in ("Alder Annexe", "Larkfield Kitchens", "P3", "Q1"))
    assert site["facts"] == [[1, 1, ""], [2, 1, WHY], [4, 1, WHY]]
    assert site["then"][1] == ["Alder School", "Alder Annexe", "Alder Annexe", "Alder Annexe"]
    assert site["then"][3] == ["Europe/London", "Europe/London", "Europe/Dublin", "Europe/Dublin"]
    assert book["known"] == [["North", False], ["South", False], ["South", True]]
    assert business["facts"] == [[3, None, ""], [3, 1, WHY]]
    assert business["then"][1] == ["non_binary", "non_binary", "guarded", "guarded"]
    assert changed["facts"] == [[2, 1, ""], [3, 1, WHY], [6, 1, WHY]]
    assert changed["then"][0] == ["P1", "P1", "P2", "P3"]
    assert len(plain["facts"]) == 1 and plain["facts"][0][1:] == [None, ""] and plain["then"][0] == ["Q1"] * 4
