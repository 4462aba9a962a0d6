"""A program that starts, and opens the page of a day, loads nothing that draws, prints or counts what is not asked for."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HEAVY = ("numpy", "scipy", "reportlab", "PIL", "arabic_reshaper", "bidi", "matplotlib", "icalendar")
OF_POSTGRES = ("psycopg",)
OPENS = """
import json, sys
from django.core.wsgi import get_wsgi_application
get_wsgi_application()
import compliance.service.management.commands.start
from django.test import Client
from django.urls import reverse
from tests.world import World
world, client = World.build(), Client(headers={"host": "localhost"})
client.force_login(world.manager)
opened = [client.get(reverse(name, args=args)).status_code for name, args in (
    ("today_site", [world.site.pk]), ("probe_list", []), ("reading_list", []), ("record_form", []))]
print(json.dumps({"opened": opened, "loaded": sorted(sys.modules)}))
"""


def test_pages_of_the_day_load_nothing_heavy(database_url, tmp_path):
    named = {
        "DATABASE_URL": database_url,
        "NOUGHTBOOK_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "compliance.settings",
    }
    command, environment = [sys.executable, "-c", OPENS], os.environ | named
    done = subprocess.run(command, cwd=ROOT, env=environment, check=True, capture_output=True, text=True)
    found = json.loads(done.stdout)
    assert found["opened"] == [200] * 4
    heavy = HEAVY if database_url.startswith("postgres") else HEAVY + OF_POSTGRES
    assert [name for name in found["loaded"] if name.startswith(heavy)] == []


def test_nothing_of_ours_loads_scipy_stats():
    files = [file for folder in ("compliance", "sites", "shared") for file in (ROOT / folder).rglob("*.py")]
    assert [file for file in files if "scipy.stats" in file.read_text()] == []
