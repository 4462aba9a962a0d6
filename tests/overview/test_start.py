"""The start command, as a newcomer runs it: in a process of its own."""

import os
import re
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture
def start(database_url):
    """Run the command; gives the process. It is stopped when the test ends."""
    running = []

    def run(*arguments, **settings):
        command = [sys.executable, "-u", "manage.py", "start", *arguments]
        environment = os.environ | {"DATABASE_URL": database_url} | settings
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


def address_of(process) -> tuple[str, str]:
    """Where it serves, and what it said until then."""
    said = ""
    for line in process.stdout:
        said += line
        if address := re.search(r"http://127\.0\.0\.1:\d+/", line):
            return address[0], said
    pytest.fail(f"The server did not start:\n{said}")


def test_two_that_are_started_at_once_make_the_tables_once_and_both_serve(start, empty_database_url):
    both = [start("--port", "0", DATABASE_URL=empty_database_url) for _ in range(2)]
    for process in both:
        _, said = address_of(process)
        assert "Traceback" not in said and "found_business" in said


def test_what_lay_open_is_kept_from_others_behind_a_proxy_https_is_known_and_a_doubtful_setting_is_said_once(
    start, tmp_path
):
    """And what is too large for it is refused."""
    lay_open(tmp_path)
    settings = {"DATABASE_URL": "", "NOUGHTBOOK_DATA": str(tmp_path), "NOUGHTBOOK_HTTPS": "1", "NOUGHTBOOK_HOSTS": "*"}
    process = start("--port", "0", **settings)
    address, said = address_of(process)
    modes = {path.name: path.stat().st_mode & 0o777 for path in (tmp_path, *tmp_path.iterdir())}
    files = {"", "-wal", "-shm", "-start"}
    assert modes == {tmp_path.name: 0o700, "static": 0o700, "secret_key": 0o600} | {
        f"noughtbook.sqlite3{end}": 0o600 for end in files
    }
    asked = urllib.request.Request(address, headers={"X-Forwarded-Proto": "https"})
    with urllib.request.urlopen(asked) as answer:
        assert answer.headers["Strict-Transport-Security"]
        assert answer.url.partition("?")[0].endswith("/sign-in/") and 'type="password"' in answer.read().decode()
    with socket.create_connection(("127.0.0.1", int(re.search(r":(\d+)/", address)[1])), timeout=20) as large:
        large.sendall(b"POST /sign-in/ HTTP/1.1\r\nHost: localhost\r\nContent-Length: 150000000\r\n\r\n")
        assert b" 413 " in large.recv(100)
    process.terminate()
    said += process.communicate(timeout=60)[0]
    assert said.count("noughtbook.W001") == 1


def lay_open(folder: Path) -> None:
    """The records and the key, for all on the machine to read."""
    for path in (folder / "secret_key", folder / "noughtbook.sqlite3", folder / "static" / "kept.css"):
        path.parent.mkdir(mode=0o755, exist_ok=True)
        if not path.exists():  # SQLite's tables may be there
            path.write_text("x" * 50 if path.name == "secret_key" else "")
        path.chmod(0o644)
    folder.chmod(0o755)


def test_a_port_in_use_is_said_with_what_to_do():
    """Before a database is looked at."""
    with socket.create_server(("127.0.0.1", 0)) as other, pytest.raises(CommandError) as refused:
        call_command("start", port=other.getsockname()[1])
    assert "Choose another with --port" in str(refused.value)
