"""Nobody who writes waits while much is worked out beside them (see monday.py)."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_while_digests_rows_ahead_and_a_file_are_worked_out_nobody_waits_to_write(database_url, tmp_path):
    own = {
        "DATABASE_URL": database_url,
        "NOUGHTBOOK_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "compliance.settings",
    }
    command = [sys.executable, "-m", "tests.concurrency.monday"]
    done = subprocess.run(command, cwd=ROOT, env=os.environ | own, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["wrong"] == []
    assert told["digests"] and told["laid"] and told["readings"] == 200
    assert told["written"] > 10 and told["longest"] < 1, told
