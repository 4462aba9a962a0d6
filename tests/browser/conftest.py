"""A real server process, and a real Chromium at phone and at desktop width. Both are started once; each test finds the database
as it was first.
"""

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from compliance.overview.demo import scenario
from compliance.overview.demo.setting import SIGN_INS
from tests.conftest import own_database, put_back

ROOT = Path(__file__).resolve().parents[2]
PHONE, DESK = {"width": 360, "height": 740}, {"width": 1280, "height": 800}
# Chromium heeds the last such list alone, so this one repeats Playwright's. The popups of its own address bar, which nobody sees,
# would be made with each context, and take longer than most pages.
FEATURES_OFF = (
    "WebUIOmniboxPopup",
    "WebUIOmniboxAimPopup",
    "WebUIOmniboxFullPopup",
    "AimEnabled",
    "AvoidCorsURLLoaderRestartOnRedirect",
    "AvoidUnnecessaryBeforeUnloadCheckSync",
    "DestroyProfileOnBrowserClose",
    "HttpsFirstBalancedModeAutoEnable",
    "HttpsUpgrades",
    "LensOverlay",
    "MediaRouter",
    "NetworkTimeServiceQuerying",
    "OptimizationHints",
    "PaintHolding",
    "PreconnectToSearch",
    "ThirdPartyStoragePartitioning",
)
# As root in a bare machine there is no sandbox to be had; the rest keeps it from calling home.
FLAGS = (
    f"--disable-features={','.join(FEATURES_OFF)}",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)
expect.set_options(timeout=15_000)


# Runs what it is sent, a line of JSON each, and answers with a line: what it printed, or how it went wrong.
BESIDE = """
import contextlib, io, json, sys, traceback
import django
from django.db import connection
django.setup()
for line in sys.stdin:
    with contextlib.redirect_stdout(io.StringIO()) as printed:
        try:
            exec(json.loads(line), {"io": io, "json": json})
            answer = printed.getvalue()
        except Exception:
            answer = json.dumps({"wrong": traceback.format_exc()})
        connection.close()
    print(answer.strip(), flush=True)
"""


# What the server does at its start, and what its thread has noted a moment ago, are not in a database that is put back.
TASKS_RAN = """
from compliance.celery import app
from compliance.service import task_runs
for entry in app.conf.beat_schedule.values():
    task_runs.note(entry["task"])
print(json.dumps(None))
"""
AS_STARTED = """
from django.core.management import call_command
call_command("load_rules", stdout=io.StringIO())
print(json.dumps(None))
"""

# All sites of one area, and of each other area one to which something happens that is told of no other.
SITES = ("Alderbrook", "Bramley", "Copperfield", "Dunlin", "Hazelmoor", "Juniper")
OF_FEWER = """
import sys
from pathlib import Path
from django.core.management import execute_from_command_line
from compliance.overview.demo import scenario
scenario.FILE = Path(sys.argv.pop(1))
execute_from_command_line(sys.argv)
"""

# The form and its hashing take a second each time; tests of signing in fill it in.
SESSION = """
from django.conf import settings
from django.test import Client
from sites.models import Person
(client := Client()).force_login(Person.objects.get(email="{email}"))
print(json.dumps([settings.SESSION_COOKIE_NAME, client.cookies[settings.SESSION_COOKIE_NAME].value]))
"""


@dataclass
class Served:
    """A running Noughtbook."""

    address: str
    environment: dict[str, str]
    said: str
    database_url: str
    beside: subprocess.Popen | None = None

    def ask(self, code: str):
        """What Python code prints as one line of JSON, run beside the server on the same database."""
        if self.beside is None:
            settings = {"DJANGO_SETTINGS_MODULE": "compliance.settings", "PYTHONPATH": str(ROOT)}
            pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
            command = [sys.executable, "-c", BESIDE]
            self.beside = subprocess.Popen(command, cwd=ROOT, env=self.environment | settings, **pipes)
        print(json.dumps(code), file=self.beside.stdin, flush=True)
        answer = json.loads(self.beside.stdout.readline())
        assert not (isinstance(answer, dict) and "wrong" in answer), answer["wrong"]
        return answer

    def end(self) -> None:
        if self.beside:
            self.beside.communicate(timeout=20)


@pytest.fixture(scope="package")
def demo_url(tmp_path_factory, django_db_setup) -> Iterator[str]:
    """The address of a database of this run's engine that was empty, filled once by `manage.py start --demo 60`, with the
    business of half the sites."""
    folder = tmp_path_factory.mktemp("demo")
    fewer = ("-c", OF_FEWER, str(half_the_business(folder)))
    with own_database(folder, django_db_setup) as url:
        with started(url, folder, "--demo", "60", program=fewer) as made:
            assert "Making the demo" in made.said
        yield url


def half_the_business(folder: Path) -> Path:
    told = json.loads(scenario.FILE.read_text(encoding="utf-8"))
    told["sites"] = [site for site in told["sites"] if site["name"].split()[0] in SITES]
    told["probes"] = [probe for probe in told["probes"] if probe["site"].split()[0] in SITES]
    (file := folder / "scenario.json").write_text(json.dumps(told), encoding="utf-8")
    return file


@pytest.fixture(scope="package")
def server(demo_url, tmp_path_factory) -> Iterator[Served]:
    """`manage.py start --demo` as the README has it, on a copy of the demo."""
    folder = tmp_path_factory.mktemp("server")
    with own_database(folder, demo_url) as url, started(url, folder, "--demo") as server:
        yield server


@pytest.fixture
def served(server, demo_url) -> Served:
    """With the demo as it was made."""
    put_back(server.database_url, demo_url)
    server.ask(TASKS_RAN)
    return server


@pytest.fixture
def bare(server, django_db_setup) -> Served:
    """Nobody is in the book."""
    put_back(server.database_url, django_db_setup)
    server.ask(AS_STARTED)
    return server


@contextmanager
def started(database_url: str, folder: Path, *options: str, program=("manage.py",)) -> Iterator[Served]:
    """`manage.py start` as the README has it, on a database of this run's engine."""
    environment = os.environ | {"DATABASE_URL": database_url, "NOUGHTBOOK_DATA": str(folder), "PYTHONUNBUFFERED": "1"}
    environment["DJANGO_SETTINGS_MODULE"] = "compliance.settings"
    command = [sys.executable, *program, "start", *options, "--port", "0"]
    process = subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    said = ""
    for line in process.stdout:
        said += line
        if found := re.search(r"is at (http://\S+/)", line):
            break
    else:
        pytest.fail(f"The server did not start:\n{said}")
    served = Served(found[1], environment, said, database_url)
    yield served
    served.end()
    process.terminate()
    process.wait(timeout=20)


@pytest.fixture(scope="package")
def chromium(django_db_setup) -> Iterator[Browser]:
    """After the tables are made, and over before other tests: while Playwright runs, Django takes its thread for one that may not
    wait for a database."""
    light = shutil.which("chromium-headless-shell")  # without windows of its own: it takes half the time
    path = light or shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    assert path, "The browser tests need Chromium: apt-get install chromium-headless-shell"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def sign_in(chromium, served) -> Iterator:
    """A page of somebody's own browser, signed in: `sign_in("manager", PHONE)`; with `at=None` on no page yet. What a script
    complains about fails the test."""
    contexts, complaints = [], []

    def open_page(who: str, size: dict, at: str | None = "/") -> Page:
        like = {"viewport": size, "base_url": served.address, "has_touch": size is PHONE}
        context = chromium.new_context(**like, service_workers="block")  # it has a story of its own: test_offline.py
        contexts.append(context)
        page = context.new_page()
        page.on(
            "console",
            lambda m: complaints.append(m.text) if m.type == "error" and "Failed to load" not in m.text else None,
        )
        page.on(
            "response",
            lambda r: complaints.append(f"{r.status} {r.url}") if r.status >= 400 and "favicon" not in r.url else None,
        )
        page.on("pageerror", lambda error: complaints.append(str(error)))
        cookie = served.ask(SESSION.format(email=SIGN_INS[who]))
        context.add_cookies([{"name": cookie[0], "value": cookie[1], "url": served.address}])
        if at:
            page.goto(at)
            assert "sign-in" not in page.url, "the session was refused"
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []
