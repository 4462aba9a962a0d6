"""Rows of before they lay ahead stay, with reasons and excuses; what is to come is derived from then on (see migrating.py)."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_what_is_stored_stands_and_rows_are_laid_ahead_of_it(empty_database_url, tmp_path):
    environment = {
        "DATABASE_URL": empty_database_url,
        "NOUGHTBOOK_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "compliance.settings",
    }
    command = [sys.executable, "-m", "tests.plans.migrating"]
    done = subprocess.run(command, cwd=ROOT, env=os.environ | environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    migrated, settled, checked = map(json.loads, done.stdout.splitlines())
    assert migrated["rows"] == [
        [-4.0, "zero", "", 0, True, True],
        [-3.0, "zero", "", 1, True, True],
        [-2.0, "zero", "withdrawn from use", 0, True, True],
        [-1.0, "zero", "", 0, True, True],
        [-0.5, "boiling", "", 0, True, True],
        [0.0, "zero", "", 0, True, True],
    ]
    assert (migrated["ahead"], migrated["waiting"]) == (0, 1)
    assert settled == {"same": True, "ahead": [False], "rows": 41, "ends": True, "said": "No difference.", "waiting": 0}
    assert checked == {"same": True, "due": True}
