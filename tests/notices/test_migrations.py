"""The outbox of before, when senders held leases (see migrating.py)."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_what_was_leased_is_claimed_and_all_else_stays_as_it_was(empty_database_url, tmp_path):
    environment = {
        "DATABASE_URL": empty_database_url,
        "NOUGHTBOOK_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "compliance.settings",
    }
    command = [sys.executable, "-m", "tests.notices.migrating"]
    done = subprocess.run(command, cwd=ROOT, env=os.environ | environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    forwards, back = map(json.loads, done.stdout.splitlines())
    assert forwards["notified"] == [["failed", 7]]
    assert forwards["notices"] == [
        ["failed", "failed", 2, 1, None],
        ["leased", "waiting", 3, 3, "2026-01-14T12:00:00+00:00"],
        ["needless", "needless", 2, 1, None],
        ["page", "page", 2, 1, None],
        ["sent", "sent", 2, 1, None],
        ["waiting", "waiting", 2, 1, None],
    ]
    assert back == [["leased", 3, ""]]
