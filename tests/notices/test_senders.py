"""What several senders at one outbox send (see senders.py)."""

import json
import os
import subprocess
import sys
from pathlib import Path

from tests.notices import SENT

ROOT = Path(__file__).resolve().parents[2]


def test_each_notice_is_sent_once_by_one_of_them(database_url, tmp_path):
    told = {"NOUGHTBOOK_MAIL_FROM": "book@kitchen.example", "NOUGHTBOOK_ADDRESS": "https://kitchen.example"}
    settings = {
        "DATABASE_URL": database_url, "NOUGHTBOOK_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "compliance.settings"
    }  # fmt: skip
    command = [sys.executable, "-m", "tests.notices.senders"]
    done = subprocess.run(command, cwd=ROOT, env=os.environ | settings | told, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == {"wrong": [], "letters": SENT, "notices": SENT, "tries": [1]}
