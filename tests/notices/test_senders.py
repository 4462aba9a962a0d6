"""Programs at one outbox at the same moment, one of which is killed (see senders.py), and a real mail server."""

import json
import os
import signal
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import pytest

from tests.service.programs import until

ROOT = Path(__file__).resolve().parents[2]
MANY = 40
pytestmark = pytest.mark.django_db


@dataclass
class Deed:
    """One that is being done, by a process of this number."""

    pid: int
    told: Path

    def words(self) -> str:
        """What it said, once it has ended; nothing where it failed."""
        until(lambda: not Path(f"/proc/{self.pid}").exists(), 300)
        return self.told.read_text()

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        self.words()


@pytest.fixture(scope="module")
def program(module_database_url, tmp_path_factory):
    """Starts one, which works on a database of its own."""
    folder = tmp_path_factory.mktemp("senders")
    environment = os.environ | {
        "DATABASE_URL": module_database_url,
        "NOUGHTBOOK_DATA": str(folder),
        "DJANGO_SETTINGS_MODULE": "compliance.settings",
        "NOUGHTBOOK_MAIL_FROM": "book@kitchen.example",
    }
    command = [sys.executable, "-m", "tests.notices.senders"]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen(command, cwd=ROOT, env=environment, **pipes) as starter:
        numbers = count()

        def start(*deed) -> Deed:
            told = folder / f"said-{next(numbers)}"
            starter.stdin.write(json.dumps([str(told), *map(str, deed)]) + "\n")
            starter.stdin.flush()
            return Deed(int(starter.stdout.readline()), told)

        yield start


@pytest.fixture(scope="module")
def prepared(program):
    return json.loads(program("prepare").words())


def test_what_two_runs_find_at_one_moment_is_told_once_each(prepared):
    assert prepared == [[True, False], [False, True]]


def test_each_notice_is_sent_once_by_one_of_two_senders(prepared, program, office):
    office.open()
    office.mode = "accept"
    office.letters.clear()
    for sender in [program("send", office.port, MANY) for _ in range(2)]:
        assert sender.words()
    assert json.loads(program("send", office.port).words()) == [["sent", 1]]
    assert sorted(Counter(letter.number for letter in office.letters).values()) == [1] * 2 * MANY


def test_what_a_killed_sender_held_is_sent_again_a_quarter_of_an_hour_later_with_the_same_number(
    prepared, program, office
):
    office.open()
    office.mode = "accept"
    office.letters.clear()
    office.reads_for = 60
    killed = program("send", office.port, 1)
    until(lambda: office.letters)
    killed.kill()
    office.reads_for = 0
    assert '["waiting", 1]' in program("send", office.port).words()
    assert len(office.letters) == 1, "it may be alive for all that the next one knows"
    assert program("send", office.port, 0, 16).words().strip() == '[["sent", 1], ["sent", 2]]'
    assert len(office.letters) == 2 and len({letter.number for letter in office.letters}) == 1
