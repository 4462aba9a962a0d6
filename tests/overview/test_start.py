"""The start command, as a newcomer runs it: in a process of its own, on an empty database."""

import os
import re
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture
def start(database_url):
    """Run the command; gives the process. It is stopped when the test ends."""
    running = []

    def run(*arguments):
        command = [sys.executable, "-u", "manage.py", "start", *arguments]
        environment = os.environ | {"DATABASE_URL": database_url}
        running.append(
            subprocess.Popen(
                command, cwd=ROOT, env=environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
            )
        )
        return running[-1]

    yield run
    for process in running:
        process.kill()
        process.communicate()


def test_it_migrates_an_empty_database_and_serves(start):
    said = []
    for line in start("--port", "0").stdout:
        said.append(line)
        if address := re.search(r"http://127\.0\.0\.1:\d+/", line):
            break
    assert address, "".join(said)
    assert "found_business" in "".join(said)
    with urllib.request.urlopen(address[0]) as answer:
        page = answer.read().decode()
    assert answer.url.startswith(f"{address[0]}sign-in")
    assert 'type="password"' in page


def test_a_port_in_use_is_said_with_what_to_do(start):
    with socket.create_server(("127.0.0.1", 0)) as other:
        said, _ = start("--port", str(other.getsockname()[1])).communicate(timeout=60)
    assert "Choose another with --port" in said
    assert "Traceback" not in said
