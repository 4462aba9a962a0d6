"""What two processes that fill the outbox at the same moment leave in it (see turns.py)."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_each_is_told_of_once_by_whoever_comes_first(database_url, tmp_path):
    settings = {
        "DATABASE_URL": database_url, "NOUGHTBOOK_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "compliance.settings"
    }  # fmt: skip
    command = [sys.executable, "-m", "tests.notices.turns"]
    done = subprocess.run(command, cwd=ROOT, env=os.environ | settings, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == [[True, False], [False, True]]
